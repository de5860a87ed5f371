// Package examples carries the syllabus files that a school can start from.
package examples

import "embed"

// Files holds the example syllabus files.
//
//go:embed *.yaml
var Files embed.FS

// Translations holds translations of theirs, such as
// translations/otterlight.es.yaml.
//
//go:embed translations/*.yaml
var Translations embed.FS
