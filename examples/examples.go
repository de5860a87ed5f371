// Package examples carries the syllabus files that a school can start from.
package examples

import "embed"

// Files holds the example syllabus files.
//
//go:embed *.yaml
var Files embed.FS
