//go:build race

package app_test

const slower = 20
