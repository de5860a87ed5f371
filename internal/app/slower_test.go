//go:build !race

package app_test

// slower divides how often something is tried: the race detector makes SQLite
// about fourteen times slower.
const slower = 1
