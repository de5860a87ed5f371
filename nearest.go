package rankwright

import "strings"

// Nearest returns the word that a slip of the finger may have meant: the one
// that is at most two single-letter edits away, "" where none is. The words
// are in small letters.
func Nearest(s string, words []string) string {
	best, at := "", 3
	for _, w := range words {
		if d := edits(strings.ToLower(s), w); d < at && d < len(w) {
			best, at = w, d
		}
	}
	return best
}

// edits is the number of single-letter edits between two short words
// (Levenshtein 1966), cut off at words of 40 letters.
func edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 40 || len(y) > 40 {
		return 99
	}
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diag := row[0]
		row[0] = i + 1
		for j := range y {
			cost := diag
			if x[i] != y[j] {
				cost++
			}
			diag = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(y)]
}
