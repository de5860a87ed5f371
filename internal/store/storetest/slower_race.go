//go:build race

package storetest

const slower = 20
