//go:build !race

package storetest

// slower divides how often something is tried: the race detector makes SQLite
// about fourteen times slower.
const slower = 1
