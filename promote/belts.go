package promote

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// Kind is what sort of thing is handed out with a rank.
type Kind string

const (
	Belt  Kind = "belt"
	Shirt Kind = "shirt"
)

// Article is one sort of thing in one size, as it is ordered and as it lies on
// the shelf.
type Article struct {
	Kind Kind
	// Item is a belt's colour in words, with its tip; "" for a shirt.
	Item string
	// Size is a belt's length in whole centimetres, such as "220", or a
	// shirt's size.
	Size string
}

// ShirtRule says with which promotion a shirt is given.
type ShirtRule string

const (
	NoShirts   ShirtRule = ""
	FirstShirt ShirtRule = "first" // with the lowest rank of the ladder
	EachShirt  ShirtRule = "each"  // with every rank
)

// Supply is how a school gives out belts and shirts.
type Supply struct {
	// Taped says that tips are tape which the school puts on: belts are
	// ordered by their colour alone, and a rank that only adds a tip needs
	// no belt.
	Taped  bool
	Shirts ShirtRule
	// Lengths are the centimetres of the numbers by which the school's maker
	// counts belts; makers count differently.
	Lengths BeltNumbers
	// SpareBelts and SpareShirts are how many more than needed are to be
	// there of each article that is needed.
	SpareBelts, SpareShirts int
}

// BeltNumbers are lengths in centimetres by the number of a maker.
type BeltNumbers map[string]int

// Shortest and longest belt that is believed, in centimetres.
const (
	shortestBelt = 80
	longestBelt  = 400
)

// ParseBeltNumbers reads a school's table of its maker's numbers, one to a
// line, such as "3 = 260". Empty lines are passed over.
func ParseBeltNumbers(text string) (BeltNumbers, rankwright.Faults) {
	out := BeltNumbers{}
	var faults rankwright.Faults
	add := func(line int, code, do, say string, args ...any) {
		f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
		f.Where.Line = line
		faults = append(faults, f)
	}
	for i, line := range strings.Split(text, "\n") {
		if strings.TrimSpace(line) == "" {
			continue
		}
		number, length, ok := strings.Cut(line, "=")
		key := beltNumber(number)
		if !ok || key == "" {
			add(i+1, "no_length", "write the number, an equals sign and the centimetres, such as 3 = 260",
				"%q does not say how long a belt is", strings.TrimSpace(line))
			continue
		}
		cm, ok := centimetres(length)
		if !ok {
			add(i+1, "no_length", "write whole centimetres, such as 260",
				"the length of number %q is %q, which is no length from %d to %d cm", strings.TrimSpace(number), strings.TrimSpace(length), shortestBelt, longestBelt)
			continue
		}
		if have, twice := out[key]; twice && have != cm {
			add(i+1, "length_twice", "keep one of the two", "number %q is said to be %d cm and %d cm", strings.TrimSpace(number), have, cm)
			continue
		}
		out[key] = cm
	}
	return out, faults
}

// beltNumber is a maker's number without what people write around it.
func beltNumber(s string) string {
	s = strings.ToLower(strings.Join(strings.Fields(s), " "))
	for _, word := range []string{"size", "number", "no.", "nr.", "nr", "no", "talla", "n.º", "nº", "#"} {
		if rest, ok := strings.CutPrefix(s, word); ok && strings.TrimSpace(rest) != "" {
			return strings.TrimSpace(rest)
		}
	}
	return s
}

// Length reads a belt size of the roster in centimetres: "220", "220 cm",
// "2.2 m", "2,20 m", or a number of the school's maker. A number that could
// be anybody's is no length.
func (b BeltNumbers) Length(size string) (cm int, ok bool) {
	if cm, ok = b[beltNumber(size)]; ok {
		return cm, true
	}
	return centimetres(size)
}

func centimetres(s string) (int, bool) {
	s = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), ",", ".")
	hundredths := 100 // of what the number counts
	named := true
	switch {
	case strings.HasSuffix(s, "cm"):
		s = strings.TrimSuffix(s, "cm")
	case strings.HasSuffix(s, "m"):
		s, hundredths = strings.TrimSuffix(s, "m"), 10000
	default:
		named = false
	}
	whole, part, dotted := strings.Cut(strings.TrimSpace(s), ".")
	if dotted && (len(part) == 0 || len(part) > 4) || !digits(whole) || dotted && !digits(part) || len(whole) > 4 {
		return 0, false
	}
	n, _ := strconv.Atoi(whole)
	n *= hundredths
	for k, unit := 0, hundredths; k < len(part); k++ {
		if unit%10 != 0 {
			if part[k] != '0' {
				return 0, false
			}
			continue
		}
		unit /= 10
		n += int(part[k]-'0') * unit
	}
	if n%100 != 0 {
		return 0, false // belts are cut to whole centimetres
	}
	n /= 100
	if !named && (dotted || len(whole) != 3) {
		return 0, false // a bare number below 100 is a maker's
	}
	return n, n >= shortestBelt && n <= longestBelt
}

func digits(s string) bool {
	for _, r := range s {
		if r < '0' || r > '9' {
			return false
		}
	}
	return s != ""
}

// ShirtSize writes a shirt's size as it is counted, so that "m", "M" and
// " M " are one; "" where there is none.
func ShirtSize(size string) string {
	return strings.ToUpper(strings.Join(strings.Fields(size), " "))
}

// BeltItem names the belt of a rank: its colour, or the rank where the
// syllabus names none, and its tip.
func (s Supply) BeltItem(k *syllabus.Rank) string {
	item := k.Belt.Colour
	if item == "" {
		item = k.Name
	}
	if k.Belt.Tip != "" && !s.Taped {
		item += ", " + k.Belt.Tip + " tip"
	}
	return item
}

// Recipient is somebody who gets a rank, or may get it.
type Recipient struct {
	Entry   rankwright.EntryID
	Student rankwright.StudentID
	Name    string
	// Held is the rank before; nil where there was none.
	Held *syllabus.Rank
	Next *syllabus.Rank
	// Lowest says that Next is the first rank of its ladder.
	Lowest bool
	// Has says what was handed out already.
	Has []Kind
	// BeltSize and ShirtSize as the roster has them.
	BeltSize, ShirtSize string
}

// Lack is a thing that cannot be ordered, because its size is not known.
type Lack struct {
	Entry   rankwright.EntryID
	Student rankwright.StudentID
	Name    string
	Kind    Kind
	Item    string
	Size    string // what the roster says instead; "" where it says nothing
}

// Things says what somebody still gets with the rank, and what of it has no
// size.
func (s Supply) Things(r Recipient) (things []Article, lacks []Lack) {
	item := s.BeltItem(r.Next)
	if !slices.Contains(r.Has, Belt) && (r.Held == nil || s.BeltItem(r.Held) != item) {
		if cm, ok := s.Lengths.Length(r.BeltSize); ok {
			things = append(things, Article{Belt, item, strconv.Itoa(cm)})
		} else {
			lacks = append(lacks, Lack{r.Entry, r.Student, r.Name, Belt, item, strings.TrimSpace(r.BeltSize)})
		}
	}
	if !slices.Contains(r.Has, Shirt) && (s.Shirts == EachShirt || s.Shirts == FirstShirt && r.Lowest) {
		if size := ShirtSize(r.ShirtSize); size != "" {
			things = append(things, Article{Kind: Shirt, Size: size})
		} else {
			lacks = append(lacks, Lack{Entry: r.Entry, Student: r.Student, Name: r.Name, Kind: Shirt})
		}
	}
	return things, lacks
}

// Stock is how many of an article lie on the shelf, and how many are ordered
// and on their way. Neither is below zero.
type Stock struct {
	Article
	Shelf, Coming int
}

// OrderLine is one article that is needed, and how many of it to order.
type OrderLine struct {
	Article
	Need, Spare   int
	Shelf, Coming int
	Order         int
	For           []string // the names of those who need it
}

// ToOrder says of each article that somebody needs how many to order: what is
// needed and the spares, less what is there and on its way, and never less
// than none. Lines stand in the order in which belts are first needed, the
// shorter first; shirts come last.
func (s Supply) ToOrder(recipients []Recipient, stock []Stock) (lines []OrderLine, lacks []Lack) {
	at := map[Article]int{}
	first := map[string]int{}
	for _, r := range recipients {
		things, lack := s.Things(r)
		lacks = append(lacks, lack...)
		for _, a := range things {
			i, ok := at[a]
			if !ok {
				i = len(lines)
				at[a] = i
				lines = append(lines, OrderLine{Article: a})
				if _, known := first[a.Item]; !known {
					first[a.Item] = len(first)
				}
			}
			lines[i].Need++
			lines[i].For = append(lines[i].For, r.Name)
		}
	}
	for _, x := range stock {
		if i, ok := at[x.Article]; ok {
			lines[i].Shelf += max(0, x.Shelf)
			lines[i].Coming += max(0, x.Coming)
		}
	}
	for i := range lines {
		l := &lines[i]
		l.Spare = max(0, s.SpareBelts)
		if l.Kind == Shirt {
			l.Spare = max(0, s.SpareShirts)
		}
		l.Order = max(0, l.Need+l.Spare-l.Shelf-l.Coming)
	}
	slices.SortStableFunc(lines, func(a, b OrderLine) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(first[a.Item], first[b.Item]), CompareSizes(a.Size, b.Size))
	})
	return lines, lacks
}

// CompareSizes puts sizes in the order in which people look for them: numbers
// by their value, then letters from the smallest.
func CompareSizes(a, b string) int {
	x, y := sizeKey(a), sizeKey(b)
	return cmp.Or(cmp.Compare(x.group, y.group), cmp.Compare(x.value, y.value), cmp.Compare(a, b))
}

type sizeOrder struct{ group, value int }

func sizeKey(s string) sizeOrder {
	n := 0
	for n < len(s) && n < 6 && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	value, _ := strconv.Atoi(s[:n])
	letters := s[n:]
	if n > 0 && letters != "XL" && letters != "XS" {
		return sizeOrder{0, value}
	}
	times := max(1, value)
	if n == 0 {
		for strings.HasPrefix(letters, "XX") {
			times, letters = times+1, letters[1:]
		}
	}
	switch letters {
	case "XS":
		return sizeOrder{1, -times}
	case "S":
		return sizeOrder{1, 0}
	case "M":
		return sizeOrder{1, 1}
	case "L":
		return sizeOrder{1, 2}
	case "XL":
		return sizeOrder{1, 2 + times}
	}
	return sizeOrder{2, 0}
}

// String names an article, such as "amber belt, 220 cm" and "shirt, size M".
func (a Article) String() string {
	if a.Kind == Shirt {
		return "shirt, size " + a.Size
	}
	return fmt.Sprintf("%s belt, %s cm", a.Item, a.Size)
}
