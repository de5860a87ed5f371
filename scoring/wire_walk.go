package scoring

import (
	"encoding/json"
	"fmt"
)

// encoding/json lets keys stand twice and in other letters, and its reader of
// tokens costs more than all else that is done with a mark. What is here walks
// over text that is known to be JSON (json.Valid), and so meets no other fault
// than those it names.

// part is a value as it is written, without spaces around it; nil is none.
type part []byte

// key is a key that an object may have.
type key struct {
	name   string
	to     *part
	needed bool
}

// object finds the values of the keys, and says what is wrong with the object.
func object(p part, keys []key) (why string) {
	if p[0] != '{' {
		return "there should be {, not " + short(p)
	}
	for rest := next(p[1:]); rest[0] != '}'; rest = next(rest) {
		var name, val part
		name, rest = value(rest)
		val, rest = value(next(rest))
		at := -1
		for i := range keys {
			if len(name) == len(keys[i].name)+2 && string(name[1:len(name)-1]) == keys[i].name {
				at = i
			}
		}
		switch {
		case why != "": // the first fault is told
		case at < 0:
			why = fmt.Sprintf("there is no key %s", short(name))
		case *keys[at].to != nil:
			why = fmt.Sprintf("the key %s stands there twice", name)
		}
		if at >= 0 && *keys[at].to == nil {
			*keys[at].to = val
		}
	}
	for _, k := range keys {
		if why == "" && k.needed && *k.to == nil {
			why = fmt.Sprintf("the key %q is missing", k.name)
		}
	}
	return why
}

// next is what follows spaces, commas and colons.
func next(p part) part {
	for len(p) > 0 {
		switch p[0] {
		case ' ', '\t', '\r', '\n', ',', ':':
			p = p[1:]
		default:
			return p
		}
	}
	return p
}

func trim(data []byte) part {
	p := next(data)
	one, _ := value(p)
	return one
}

// value cuts the value off that stands at the beginning.
func value(p part) (one, rest part) {
	depth := 0
	for i := 0; i < len(p); i++ {
		switch p[i] {
		case '"':
			for i++; p[i] != '"'; i++ {
				if p[i] == '\\' {
					i++
				}
			}
		case '{', '[':
			depth++
			continue
		case '}', ']':
			depth--
		default:
			if depth == 0 { // a number or a word
				end := i
				for end < len(p) && p[end] != ',' && p[end] != ']' && p[end] != '}' && p[end] > ' ' {
					end++
				}
				return p[:end], p[end:]
			}
			continue
		}
		if depth == 0 {
			return p[:i+1], p[i+1:]
		}
	}
	return p, nil
}

// str reads a text.
func str(p part) (string, bool) {
	if p[0] != '"' {
		return "", false
	}
	plain := p[1 : len(p)-1]
	for _, b := range plain {
		if b == '\\' {
			var s string
			err := json.Unmarshal(p, &s)
			return s, err == nil
		}
	}
	return string(plain), true
}

// short is a value as it is written, as much of it as a sentence holds.
func short(p part) string {
	const most = 40
	if r := []rune(string(p[:min(len(p), 4*most)])); len(r) > most {
		return string(r[:most]) + "…"
	}
	return string(p)
}
