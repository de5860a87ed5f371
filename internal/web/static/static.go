// Package static holds the files that every page links to: the style sheets,
// the two typefaces with their licences, and the icon. Nothing
// is built: the program itself leaves out comments as it serves them.
package static

import "embed"

// Files holds the style sheets, the icon and the folder "fonts".
//
//go:embed *.css icon.svg fonts
var Files embed.FS
