package web

import (
	"strconv"
	"time"
)

func itoa(n int) string { return strconv.Itoa(n) }

func number(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

// plural writes a number with the words for one or for many.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return itoa(n) + " " + many
}

// when writes a moment in the zone of the machine.
func when(ms int64) string { return time.UnixMilli(ms).Format("2006-01-02 15:04:05") }
