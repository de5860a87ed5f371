//go:build race

package faults

const slower = 10
