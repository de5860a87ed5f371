package roster

import (
	"strings"
	"unicode"
)

// Plain letters below the accented ones of two Unicode blocks, by position;
// '.' where there is none. Generated from the NFKD decompositions of
// golang.org/x/text/unicode/norm, against which roster/table tests them.
const (
	latinFrom00C0 = "aaaaaa.ceeeeiiii.nooooo..uuuuy..aaaaaa.ceeeeiiii.nooooo..uuuuy.y" +
		"aaaaaaccccccccdd..eeeeeeeeeegggggggghh..iiiiiiiii...jjkk.llllll....nnnnnn...oooooo..rrrrrr" +
		"sssssssstttt..uuuuuuuuuuuuwwyyyzzzzzzs................................oo.............uu" +
		"............................aaiioouuuuuuuuuu.aaaa....ggkkoooo..j...gg..nnaa....aaaaeeeeiiii" +
		"oooorrrruuuusstt..hh......aaeeooooooooyy............................"
	latinFrom1E00 = "aabbbbbbccddddddddddeeeeeeeeeeffgghhhhhhhhhhiiiikkkkkkllllllllmmmmmmnnnnnnnnoooooooopppp" +
		"rrrrrrrrssssssssssttttttttuuuuuuuuuuvvvvwwwwwwwwwwxxxxyyzzzzzzhtwy.s...." +
		"aaaaaaaaaaaaaaaaaaaaaaaaeeeeeeeeeeeeeeeeiiiioooooooooooooooooooooooouuuuuuuuuuuuuuyyyyyyyy......"
)

var latinWhole = map[rune]string{
	'æ': "ae", 'œ': "oe", 'ø': "o", 'đ': "d", 'ð': "d", 'þ': "th", 'ß': "ss",
	'ł': "l", 'ħ': "h", 'ı': "i", 'ŧ': "t", 'ŋ': "ng", 'ĸ': "k", 'ŀ': "l",
}

// Fold writes text in the form in which headings and names are compared:
// lower case, Latin letters without marks, words parted by one space, and
// without punctuation. Other scripts keep their letters. Two texts that fold
// alike look alike to a reader; a folded text is never shown or stored.
func Fold(s string) string {
	var b strings.Builder
	gap := false
	for _, r := range s {
		r = unicode.ToLower(r)
		switch {
		case r >= 0x300 && r <= 0x36F, r == '\'', r == '’', r == 'ʻ', r == '`', r == '.', r == 'º', r == 'ª':
			continue
		case !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.IsMark(r):
			gap = b.Len() > 0
			continue
		}
		if gap {
			b.WriteByte(' ')
			gap = false
		}
		if c := plainLatin(r); c != '.' {
			b.WriteByte(c)
		} else if w, ok := latinWhole[r]; ok {
			b.WriteString(w)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

func plainLatin(r rune) byte {
	if i := int(r) - 0xC0; i >= 0 && i < len(latinFrom00C0) {
		return latinFrom00C0[i]
	}
	if i := int(r) - 0x1E00; i >= 0 && i < len(latinFrom1E00) {
		return latinFrom1E00[i]
	}
	return '.'
}

// distance counts the letters to add, drop, change or swap with a neighbour
// to make one text into the other (optimal string alignment, Damerau 1964);
// anything over limit is reported as limit+1.
func distance(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if d := len(x) - len(y); d > limit || -d > limit {
		return limit + 1
	}
	before, prev, cur := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		cur[0] = i
		least := i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d := min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d = min(d, before[j-2]+1)
			}
			cur[j] = d
			least = min(least, d)
		}
		if least > limit {
			return limit + 1
		}
		before, prev, cur = prev, cur, before
	}
	return min(prev[len(y)], limit+1)
}
