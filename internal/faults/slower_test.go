//go:build !race

package faults

// slower divides how often something is tried: under the race detector, which
// does not look into the program that is started, it shows little more.
const slower = 1
