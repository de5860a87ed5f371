package promote

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright/syllabus"
)

func rank(name, colour, tip string) *syllabus.Rank {
	return &syllabus.Rank{Name: name, Belt: syllabus.Belt{Colour: colour, Tip: tip}}
}

// What people write into a roster; common practice, no published source. Two
// metres are two hundred centimetres by the definition of the SI.
func TestABeltSizeIsALengthOrItIsNot(t *testing.T) {
	numbers, faults := ParseBeltNumbers("000 = 180\n00=200 cm\n\n 3 = 2,60 m \nSize 4 = 280")
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, tt := range []struct {
		name, size string
		cm         int
	}{
		{"centimetres alone", "220", 220},
		{"centimetres by name", "220 cm", 220},
		{"centimetres without a space", "95CM", 95},
		{"metres", "2.4 m", 240},
		{"metres with a comma", "2,45m", 245},
		{"metres in whole", "2 m", 200},
		{"a maker's number of the school", "3", 260},
		{"the same with a word before it", "size 3", 260},
		{"and the same in another writing", "No. 00", 200},
		{"noughts are a number, not a length", "000", 180},
		{"a number of another maker", "5", 0},
		{"nothing", "", 0},
		{"a word", "large", 0},
		{"half a centimetre", "220.5 cm", 0},
		{"millimetres of a metre", "2.455 m", 0},
		{"noughts at the end change nothing", "2.4500 m", 245},
		{"longer than any belt", "999", 0},
		{"shorter than any belt", "12 cm", 0},
		{"below nothing", "-220", 0},
		{"a number to fill the memory", strings.Repeat("9", 400), 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cm, ok := numbers.Length(tt.size)
			if ok != (tt.cm != 0) || ok && cm != tt.cm {
				t.Errorf("%q is %d, %v; want %d", tt.size, cm, ok, tt.cm)
			}
		})
	}
}

func TestAMakersTableSaysWhatIsWrongWithIt(t *testing.T) {
	for text, want := range map[string]string{
		"3 260":           `"3 260" does not say how long a belt is`,
		"1 = 240\n3 = ?":  `the length of number "3" is "?"`,
		"3 = 260\n3=280":  `number "3" is said to be 260 cm and 280 cm`,
		"= 260":           `does not say how long`,
		"3 = 2600 cm":     `no length from 80 to 400 cm`,
		"size 3 = 900 km": `no length`,
	} {
		_, faults := ParseBeltNumbers(text)
		if len(faults) != 1 || !strings.Contains(faults[0].Error(), want) || faults[0].Where.Line != 1+strings.Count(strings.TrimSuffix(text, "\n"), "\n") {
			t.Errorf("%q: %v", text, faults)
		}
	}
}

func TestWhatSomebodyGetsWithARank(t *testing.T) {
	reed, amber, amberTip, noColour := rank("Reed", "pale green", ""), rank("Amber", "amber", ""), rank("Amber 2", "amber", "white"), rank("Brown", "", "")
	for _, tt := range []struct {
		name   string
		supply Supply
		who    Recipient
		things string
		lacks  string
	}{
		{"a belt of the new colour in the child's length", Supply{}, Recipient{Held: reed, Next: amber, BeltSize: "220"}, "amber belt, 220 cm", ""},
		{"a first belt", Supply{}, Recipient{Next: reed, BeltSize: "2 m"}, "pale green belt, 200 cm", ""},
		{"a belt whose syllabus names no colour", Supply{}, Recipient{Held: amber, Next: noColour, BeltSize: "240"}, "Brown belt, 240 cm", ""},
		{"a belt with a tip is a belt of its own", Supply{}, Recipient{Held: amber, Next: amberTip, BeltSize: "240"}, "amber, white tip belt, 240 cm", ""},
		{"a tip of tape needs no belt", Supply{Taped: true}, Recipient{Held: amber, Next: amberTip, BeltSize: "240"}, "", ""},
		{"with tape a new colour needs one all the same", Supply{Taped: true}, Recipient{Held: reed, Next: amberTip, BeltSize: "240"}, "amber belt, 240 cm", ""},
		{"a shirt with every rank", Supply{Shirts: EachShirt}, Recipient{Held: reed, Next: amber, BeltSize: "220", ShirtSize: " m"}, "amber belt, 220 cm; shirt, size M", ""},
		{"a shirt with the first rank alone", Supply{Shirts: FirstShirt}, Recipient{Next: reed, Lowest: true, BeltSize: "220", ShirtSize: "128"}, "pale green belt, 220 cm; shirt, size 128", ""},
		{"and none with the second", Supply{Shirts: FirstShirt}, Recipient{Held: reed, Next: amber, BeltSize: "220"}, "amber belt, 220 cm", ""},
		{"what was handed out is not given again", Supply{Shirts: EachShirt}, Recipient{Held: reed, Next: amber, Has: []Kind{Belt}, BeltSize: "220", ShirtSize: "M"}, "shirt, size M", ""},
		{"no sizes at all are named", Supply{Shirts: EachShirt}, Recipient{Held: reed, Next: amber}, "", "belt amber ; shirt  "},
		{"a number of a maker that nobody told is named", Supply{}, Recipient{Held: reed, Next: amber, BeltSize: "3"}, "", "belt amber 3"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			things, lacks := tt.supply.Things(tt.who)
			var have, lack []string
			for _, a := range things {
				have = append(have, a.String())
			}
			for _, l := range lacks {
				lack = append(lack, string(l.Kind)+" "+l.Item+" "+l.Size)
			}
			if got := strings.Join(have, "; "); got != tt.things {
				t.Errorf("gets %q, want %q", got, tt.things)
			}
			if got := strings.Join(lack, "; "); got != tt.lacks {
				t.Errorf("lacks %q, want %q", got, tt.lacks)
			}
		})
	}
}

func TestTheOrderIsWhatIsNeededLessWhatIsThere(t *testing.T) {
	reed, amber := rank("Reed", "pale green", ""), rank("Amber", "amber", "")
	children := []Recipient{
		{Name: "Inti", Next: reed, BeltSize: "200"}, {Name: "Zofia", Held: reed, Next: amber, BeltSize: "240", ShirtSize: "XL"},
		{Name: "Ana", Held: reed, Next: amber, BeltSize: "220", ShirtSize: "s"}, {Name: "Ben", Held: reed, Next: amber, BeltSize: "220 cm", ShirtSize: "128"},
	}
	stock := []Stock{
		{Article{Belt, "amber", "220"}, 1, 0}, {Article{Belt, "amber", "240"}, 3, 0},
		{Article{Belt, "pale green", "200"}, 0, 1}, {Article{Belt, "plum", "220"}, 9, 0},
	}
	write := func(lines []OrderLine) string {
		var out []string
		for _, l := range lines {
			out = append(out, strconv.Itoa(l.Order)+" "+l.String()+" for "+strings.Join(l.For, " and "))
		}
		return strings.Join(out, "\n")
	}
	lines, lacks := Supply{Shirts: EachShirt}.ToOrder(children, stock)
	want := `0 pale green belt, 200 cm for Inti
1 amber belt, 220 cm for Ana and Ben
0 amber belt, 240 cm for Zofia
1 shirt, size 128 for Ben
1 shirt, size S for Ana
1 shirt, size XL for Zofia`
	if got := write(lines); got != want {
		t.Errorf("ordered are\n%s", got)
	}
	if len(lacks) != 1 || lacks[0].Name != "Inti" || lacks[0].Kind != Shirt {
		t.Errorf("without a size: %+v", lacks)
	}
	lines, _ = Supply{SpareBelts: 2}.ToOrder(children, stock)
	if lines[0].Order != 2 || lines[1].Order != 3 || lines[2].Order != 0 {
		t.Errorf("with two spares of each: %s", write(lines))
	}
}

func TestNobodyGoesWithoutABeltAndNoneIsOrderedForNothing(t *testing.T) {
	colours := []string{"pale green", "amber", "plum"}
	sizes := []string{"", "200", "220 cm", "2.2 m", "3", "size 4", "260"}
	rapid.Check(t, func(t *rapid.T) {
		s := Supply{
			Taped: rapid.Bool().Draw(t, "taped"), Shirts: rapid.SampledFrom([]ShirtRule{NoShirts, FirstShirt, EachShirt}).Draw(t, "shirts"),
			SpareBelts: rapid.IntRange(-1, 3).Draw(t, "spare belts"), SpareShirts: rapid.IntRange(0, 2).Draw(t, "spare shirts"), Lengths: BeltNumbers{"3": 260},
		}
		draw := func(label string) *syllabus.Rank {
			return rank("Rank", rapid.SampledFrom(colours).Draw(t, label), rapid.SampledFrom([]string{"", "white"}).Draw(t, label+"'s tip"))
		}
		var all []Recipient
		for i := range rapid.IntRange(0, 12).Draw(t, "children") {
			r := Recipient{Name: strconv.Itoa(i), Next: draw("next"), Lowest: rapid.Bool().Draw(t, "lowest"),
				BeltSize: rapid.SampledFrom(sizes).Draw(t, "belt size"), ShirtSize: rapid.SampledFrom([]string{"", "m", "M", "128"}).Draw(t, "shirt size")}
			if rapid.Bool().Draw(t, "held one") {
				r.Held = draw("held")
			}
			all = append(all, r)
		}
		var stock []Stock
		for range rapid.IntRange(0, 6).Draw(t, "kinds in stock") {
			a := Article{Belt, rapid.SampledFrom(colours).Draw(t, "colour"), rapid.SampledFrom([]string{"200", "220", "260"}).Draw(t, "length")}
			if slices.ContainsFunc(stock, func(x Stock) bool { return x.Article == a }) {
				continue
			}
			stock = append(stock, Stock{a, rapid.IntRange(0, 4).Draw(t, "shelf"), rapid.IntRange(0, 4).Draw(t, "coming")})
		}
		lines, lacks := s.ToOrder(all, stock)
		needed := map[Article]int{}
		without := 0
		for _, r := range all {
			things, lack := s.Things(r)
			without += len(lack)
			for _, a := range things {
				needed[a]++
			}
		}
		if without != len(lacks) {
			t.Fatalf("%d things have no size, and %d are named", without, len(lacks))
		}
		for _, l := range lines {
			spare := max(0, s.SpareBelts)
			if l.Kind == Shirt {
				spare = s.SpareShirts
			}
			have := l.Shelf + l.Coming
			switch {
			case l.Need != needed[l.Article] || len(l.For) != l.Need:
				t.Fatalf("%v: %d needed, %d counted, for %v", l.Article, needed[l.Article], l.Need, l.For)
			case l.Order < 0:
				t.Fatalf("%v: %d are ordered", l.Article, l.Order)
			case l.Order+have < l.Need+spare:
				t.Fatalf("%v: with %d ordered and %d there, %d and %d spare are short", l.Article, l.Order, have, l.Need, spare)
			case l.Order > 0 && l.Order+have != l.Need+spare:
				t.Fatalf("%v: %d are ordered beside %d, for %d and %d spare", l.Article, l.Order, have, l.Need, spare)
			}
			delete(needed, l.Article)
		}
		if len(needed) > 0 {
			t.Fatalf("not on the list: %v", needed)
		}
		// What is ordered is on its way afterwards, and nothing is ordered twice.
		for _, l := range lines {
			at := slices.IndexFunc(stock, func(x Stock) bool { return x.Article == l.Article })
			if at < 0 {
				stock = append(stock, Stock{Article: l.Article})
				at = len(stock) - 1
			}
			stock[at].Coming += l.Order
		}
		again, _ := s.ToOrder(all, stock)
		for _, l := range again {
			if l.Order != 0 {
				t.Fatalf("%v is ordered twice", l.Article)
			}
		}
	})
}

func TestSizesStandInTheOrderInWhichPeopleLookForThem(t *testing.T) {
	want := []string{"98", "116", "128", "5-6 Y", "XXS", "XS", "S", "M", "L", "XL", "XXL", "3XL", "4XL", "KIDS"}
	want[0], want[1], want[2], want[3] = "5-6 Y", "98", "116", "128"
	got := slices.Clone(want)
	slices.Reverse(got)
	slices.SortFunc(got, CompareSizes)
	if !slices.Equal(got, want) {
		t.Errorf("they stand as %q, want %q", got, want)
	}
}
