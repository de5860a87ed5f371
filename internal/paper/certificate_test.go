package paper

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

var update = flag.Bool("update", false, "write testdata/certificate.sha256")

func TestTheSameCertificatesGiveTheSameBytes(t *testing.T) {
	certs := []Certificate{sample("Linh-Đan Phùng"), sample("Igor Krajewik")}
	for _, opt := range []Options{{}, {Plain: true}, {Paper: Letter, Turn: Portrait}} {
		if !bytes.Equal(certificates(t, opt, certs...), certificates(t, opt, certs...)) {
			t.Errorf("%+v: two runs differ", opt)
		}
	}
}

func TestSeveralDocumentsAreWrittenAtOnce(t *testing.T) {
	want := certificates(t, Options{}, sample("Linh-Đan Phùng"))
	same := make(chan bool)
	for range 4 {
		go func() {
			var b bytes.Buffer
			err := WriteCertificates(&b, []Certificate{sample("Linh-Đan Phùng")}, Options{})
			same <- err == nil && bytes.Equal(b.Bytes(), want)
		}()
	}
	for range 4 {
		if !<-same {
			t.Error("a document written beside others differs")
		}
	}
}

// The uncompressed file is hashed, since compressors may change between
// releases of Go.
func TestTheCertificateIsTheOneThatWasLookedAt(t *testing.T) {
	const golden = "testdata/certificate.sha256"
	c := sample("Linh-Đan Phùng")
	c.Belt.Tip, c.Honour = "#ffffff", "with commendation"
	got := fmt.Sprintf("%x\n", sha256.Sum256(certificates(t, Options{Plain: true}, c)))
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Error("the certificate has changed: look at the page, and if it is right, run this test with -update")
	}
}

// Page sizes in points: ISO 216 for A4, 8.5 by 11 inches for Letter.
func TestPagesHaveTheSizeOfTheirPaper(t *testing.T) {
	tests := []struct {
		name string
		opt  Options
		want string
	}{
		{"A4 is held on its side", Options{}, "841.89 x 595.276 pts (A4)"},
		{"A4 upright", Options{Turn: Portrait}, "595.276 x 841.89 pts (A4)"},
		{"Letter is held on its side", Options{Paper: Letter}, "792 x 612 pts (letter)"},
		{"Letter upright", Options{Paper: Letter, Turn: Portrait}, "612 x 792 pts (letter)"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			out := poppler(t, "pdfinfo", save(t, certificates(t, tt.opt, sample("Inti Quispaya"))))
			if !strings.Contains(out, tt.want) {
				t.Errorf("pdfinfo does not say %q:\n%s", tt.want, out)
			}
		})
	}
}

func TestFilesAreSoundAndCarryTheirFonts(t *testing.T) {
	c := sample("Amira أميرة आरुष M̀bɔ̃́")
	c.Second, c.SecondLang = "đã đạt mọi yêu cầu", "vi"
	for _, plain := range []bool{false, true} {
		file := save(t, certificates(t, Options{Fonts: scripts(t), Plain: plain}, c, sample("Jonah Ekholmsson")))
		qpdfCheck(t, file)
		out := poppler(t, "pdffonts", file)
		rows := strings.Split(strings.TrimSpace(out), "\n")[2:]
		if len(rows) != 6 {
			t.Errorf("the file has %d fonts, want 6:\n%s", len(rows), out)
		}
		for _, row := range rows {
			// emb, sub and uni: embedded, a subset, mapped to Unicode.
			if !regexp.MustCompile(`^[A-Z]{6}\+Noto\S+ +CID TrueType +Identity-H +yes yes yes `).MatchString(row) {
				t.Errorf("not embedded as it should be: %s", row)
			}
		}
	}
}

func TestCertificatesAreTaggedForThoseWhoListen(t *testing.T) {
	file := save(t, certificates(t, Options{Lang: "en-GB"}, sample("Linh-Đan Phùng")))
	info := poppler(t, "pdfinfo", file)
	for _, want := range []string{"Title:           Certificate of rank – Linh-Đan Phùng", "Tagged:          yes"} {
		if !strings.Contains(info, want) {
			t.Errorf("pdfinfo does not say %q:\n%s", want, info)
		}
	}
	tags := strings.Join(strings.Fields(poppler(t, "pdfinfo", "-struct-text", file)), " ")
	for _, want := range []string{`H1 (block) "Certificate of rank"`, `P (block) "Linh-Đan Phùng"`, `P (block) "Amber"`} {
		if !strings.Contains(tags, want) {
			t.Errorf("the structure lacks %s:\n%s", want, tags)
		}
	}
}

// inventedNames spells the letters of every alphabet that the shipped fonts
// promise, five and a vowel to a word, composed and taken apart.
func inventedNames() []string {
	blocks := []struct {
		from, to rune
		vowel    string
	}{
		{0x00C0, 0x024F, "a"}, // Latin-1 letters, Latin Extended-A and -B
		{0x1E00, 0x1EFF, "a"}, // Latin Extended Additional, with Vietnamese
		{0x0386, 0x03CE, "α"}, // Greek
		{0x1F00, 0x1FFC, "α"}, // Greek Extended
		{0x0400, 0x045F, "а"}, // Cyrillic
		{0x0490, 0x04FF, "а"}, // Cyrillic of other languages
	}
	names := []string{
		"Linh-Đan Phùng", "Maélle Vandestraete", "Zofia Krajewik", "Eilidh MacAskaig", "Lucio Arriagada-Poe",
		"Siosifa Mahe-Tonga", "Þórunn Æsa Ðurðardóttir", "Ngu\u0302\u0303yễn Thị Ổi", "M\u0300bɔ\u0303\u0301 O'Neillson",
		"Αλέξανδρος Ξυλάς", "Святослав Їжаченко", "Jo\u0301zef Za\u0328bek",
	}
	for _, b := range blocks {
		var letters []rune
		for r := b.from; r <= b.to; r++ {
			if scriptOf(r) != "" && norm.NFC.String(string(r)) == string(r) {
				letters = append(letters, r)
			}
		}
		for i := 0; i < len(letters); i += 5 {
			name := "A" + b.vowel
			for k, r := range letters[i:min(i+5, len(letters))] {
				if k == 3 {
					name += " "
				}
				name += string(r) + b.vowel
			}
			names = append(names, name)
			if apart := norm.NFD.String(name); apart != name {
				names = append(names, apart)
			}
		}
	}
	return names
}

func TestNamesReadBackAsTheyWereWritten(t *testing.T) {
	names := inventedNames()
	if len(names) < 300 {
		t.Fatalf("there are only %d names", len(names))
	}
	certs := make([]Certificate, len(names))
	for i, n := range names {
		certs[i] = sample(n)
	}
	pages := pageTexts(t, certificates(t, Options{}, certs...))
	if len(pages) != len(names) {
		t.Fatalf("%d names on %d pages", len(names), len(pages))
	}
	for i, page := range pages {
		if !hasLine(page, names[i]) {
			t.Errorf("page %d: %q (%+q) is not among the lines %q", i+1, names[i], names[i], strings.Split(page, "\n"))
		}
	}
}

func hasLine(page, line string) bool {
	for l := range strings.SplitSeq(page, "\n") {
		if l == line {
			return true
		}
	}
	return false
}

func TestNamesInOtherScriptsReadBackWhereAFontIsGiven(t *testing.T) {
	names := []string{"أميرة بن سلامة", "آرش نوری", "आरुष छेत्रीवाल", "लक्ष्मी कीर्तिवर्धन"}
	var certs []Certificate
	for _, n := range names {
		certs = append(certs, sample(n))
	}
	for i, page := range pageTexts(t, certificates(t, Options{Fonts: scripts(t)}, certs...)) {
		// poppler puts right-to-left lines between U+202B and U+202C.
		if page = strings.NewReplacer("\u202b", "", "\u202c", "").Replace(page); !hasLine(page, names[i]) {
			t.Errorf("%q is not among the lines %q", names[i], strings.Split(page, "\n"))
		}
	}
}

func TestUnsettableNamesTheStudentAndTheCharacters(t *testing.T) {
	role := sample("Inti Quispaya")
	role.Signatures[0].Role = "師範"
	tests := []struct {
		name string
		cert Certificate
		want []string // of the one fault; none where it is empty
	}{
		{"a Vietnamese name can be set", sample("Linh-Đan Phùng"), nil},
		{"a Georgian name cannot", sample("ნინო Nino"), []string{"ნინო Nino", "U+10DC", "U+10D8", "U+10DD", "add a font for Georgian"}},
		{"nor can a smiling face", sample("Ana 🙂"), []string{"Ana", "U+1F642", "add a font"}},
		{"a letter is shown with its marks", sample("Ա\u0301ni"), []string{"U+0531 U+0301", "Armenian"}},
		{"other texts are looked at too", role, []string{"Inti Quispaya", "師範", "U+5E2B", "Han"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			faults := Unsettable(nil, []Certificate{tt.cert})
			if len(tt.want) == 0 {
				if len(faults) > 0 {
					t.Fatalf("reported: %v", faults)
				}
				return
			}
			if len(faults) != 1 || faults[0].Code != "unsettable" {
				t.Fatalf("want one fault, got: %v", faults)
			}
			for _, w := range tt.want {
				if !strings.Contains(faults[0].Error(), w) {
					t.Errorf("%q does not say %q", faults[0].Error(), w)
				}
			}
			var b bytes.Buffer
			if err := WriteCertificates(&b, []Certificate{sample("Igor"), tt.cert}, Options{}); err == nil || b.Len() > 0 {
				t.Errorf("it was printed all the same: %v, %d bytes", err, b.Len())
			}
		})
	}
	if faults := Unsettable(scripts(t), []Certificate{sample("أميرة आरुष")}); len(faults) > 0 {
		t.Errorf("reported although the fonts were added: %v", faults)
	}
}

func TestWhatCannotBePrintedIsRefusedByName(t *testing.T) {
	change := func(f func(*Certificate)) []Certificate {
		c := sample("Zofia Krajewik")
		f(&c)
		return []Certificate{c}
	}
	tests := []struct {
		name  string
		certs []Certificate
		code  string
		says  string
	}{
		{"no certificates", nil, "empty", "no certificate"},
		{"no name", change(func(c *Certificate) { c.Student = " " }), "no_name", "certificate 1"},
		{"no rank", change(func(c *Certificate) { c.Rank = "" }), "no_rank", "Zofia Krajewik"},
		{"a belt without a colour", change(func(c *Certificate) { c.Belt.Base = "amber" }), "bad_colour", `"amber"`},
		{"a tip that is no colour", change(func(c *Certificate) { c.Belt.Tip = "#12" }), "bad_colour", `"#12"`},
		{"five signatures", change(func(c *Certificate) { c.Signatures = make([]Signature, 5) }), "too_many_signatures", "5 signatures"},
		{"a name of a thousand letters", change(func(c *Certificate) { c.Student = strings.Repeat("Maximiliana ", 90) }), "too_long", "the name"},
		{"a statement of a page", change(func(c *Certificate) { c.Statement = strings.Repeat("and so on ", 90) }), "too_long", "the statement"},
		{"a tower of marks", change(func(c *Certificate) { c.Student = "e" + strings.Repeat("\u0301", 200) }), "too_long", "the name"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var b bytes.Buffer
			err := WriteCertificates(&b, tt.certs, Options{})
			if err == nil || b.Len() > 0 {
				t.Fatalf("printed %d bytes, error %v", b.Len(), err)
			}
			if rankwright.KindOf(err) != rankwright.Invalid || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("the fault is %v", err)
			}
			if tt.certs == nil {
				return
			}
			if faults := Check(tt.certs, Options{}); len(faults) != 1 || faults[0].Code != tt.code {
				t.Errorf("Check says %v, want one fault %s", faults, tt.code)
			}
		})
	}
}

func TestAMarkWithoutALetterIsRefused(t *testing.T) {
	faults := Check([]Certificate{sample("Mai"), sample(" \u0302Mai")}, Options{})
	if len(faults) != 1 || faults[0].Code != "mark_alone" || !strings.Contains(faults[0].Error(), "U+0302") {
		t.Errorf("%v", faults)
	}
}

func TestNoTextLeavesItsBoxNorTouchesAnother(t *testing.T) {
	fonts := scripts(t)
	stroke, tall := &Picture{Width: 300, Height: 90}, &Picture{Width: 100, Height: 160}
	letters := []rune("abcdefgijklmnoABDGHJQWÅÇŽłøỆỗặĄÿğ  -'’ΆΏήξϋЖщъёЇأبةستمकशिृ\u0301\u0302\u0323\u0308")
	rapid.Check(t, func(t *rapid.T) {
		text := func(label string, n int) string {
			s := rapid.StringOfN(rapid.SampledFrom(letters), 1, n, -1).Draw(t, label)
			if r, _ := utf8.DecodeRuneInString(strings.TrimSpace(s)); unicode.Is(unicode.M, r) {
				return "a" // refused: see TestAMarkWithoutALetterIsRefused
			}
			return s
		}
		c := sample(text("name", 110))
		c.Rank, c.School, c.Statement = text("rank", 50), text("school", 90), text("statement", 120)
		if rapid.Bool().Draw(t, "with more") {
			c.Honour, c.Second, c.Belt.Tip = text("honour", 60), text("second", 120), "#202020"
		}
		c.Signatures = nil
		for range rapid.IntRange(0, maxSignatures).Draw(t, "signatures") {
			x := Signature{Name: text("signature", 40), Role: text("role", 40)}
			if rapid.Bool().Draw(t, "signed") {
				x.Picture = stroke
			}
			c.Signatures = append(c.Signatures, x)
		}
		opt := Options{
			Fonts: fonts, Design: rapid.SampledFrom(Designs()).Draw(t, "design"), Logo: rapid.SampledFrom([]*Picture{nil, stroke, tall}).Draw(t, "logo"),
			Paper: rapid.SampledFrom([]Sheet{A4, Letter}).Draw(t, "paper"),
			Turn:  rapid.SampledFrom([]Turn{Portrait, Landscape}).Draw(t, "turn"),
		}
		width, height := opt.size(Landscape)
		p := planCertificate(c, opt, pdf.NewSetter("en"), width, height)
		const hair = 1e-3
		for i, a := range p.pieces {
			if !a.fits {
				continue // reported as too long and never printed
			}
			ink := a.block.Ink(a.box.Left, a.top(), a.box.Right-a.box.Left, a.align)
			lean := hair // a first letter may reach over the margin, where nothing stands
			if a.align == pdf.Left {
				lean = 8
			}
			if ink != (pdf.Rectangle{}) && (ink.Left < a.box.Left-lean || ink.Right > a.box.Right+lean ||
				ink.Top < a.box.Top-hair || ink.Bottom > a.box.Bottom+hair) {
				t.Fatalf("%s leaves its box: ink %+v, box %+v", a.what, ink, a.box)
			}
			if a.box.Left < frame+2 || a.box.Right > width-frame-2 || a.box.Top < frame+2 || a.box.Bottom > height-frame-2 {
				t.Fatalf("%s stands outside the frame: %+v", a.what, a.box)
			}
			if a.what == "the rank" && opt.Design == Framed && !(a.box.Top > p.plate.Top && a.box.Bottom < p.plate.Bottom && ink.Left > p.plate.Left && ink.Right < p.plate.Right) {
				t.Fatalf("the rank leaves its plate: %+v, %+v", ink, p.plate)
			}
			for _, b := range p.pieces[:i] {
				if b.fits && overlap(a.box, b.box) {
					t.Fatalf("%s and %s overlap: %+v, %+v", a.what, b.what, a.box, b.box)
				}
			}
			if a.what != "the rank" && overlap(a.box, p.plate) {
				t.Fatalf("%s runs under the plate: %+v", a.what, a.box)
			}
			if (a.what != "the rank" || opt.Design != Framed) && overlap(a.box, p.band) {
				t.Fatalf("%s runs over the belt: %+v, %+v", a.what, a.box, p.band)
			}
			for _, x := range p.pictures {
				if overlap(a.box, x.box) {
					t.Fatalf("%s runs over the picture of %s: %+v, %+v", a.what, x.alt, a.box, x.box)
				}
			}
		}
		for i, x := range p.pictures {
			if x.box.Left < frame+2 || x.box.Right > width-frame-2 || x.box.Top < frame || overlap(x.box, p.band) {
				t.Fatalf("the picture of %s stands at %+v", x.alt, x.box)
			}
			for _, y := range p.pictures[:i] {
				if overlap(x.box, y.box) {
					t.Fatalf("two pictures overlap: %+v, %+v", x.box, y.box)
				}
			}
		}
	})
}

func overlap(a, b pdf.Rectangle) bool {
	const hair = 1e-6
	return a.Left+hair < b.Right && b.Left+hair < a.Right && a.Top+hair < b.Bottom && b.Top+hair < a.Bottom
}

// poppler measures words by the widths in the file, not by our shaping.
func TestPopplerFindsLongNamesWithinTheirBox(t *testing.T) {
	names := []string{
		"Maximiliana Theodora Wolfeschlegelstein-Featherstonehaugh de la Vega y Arriagada-Poe",
		"Wolfeschlegelsteinhausenbergerdorffwelchevoralternwarengewissenhaft",
		"Nguyễn Phùng Thị Quỳnh-Đan Hoàng Bảo Ngọc Trường-Thịnh Vượng Ưu Ế Ỗ",
		"Παπαδοπουλοκωνσταντινοπουλίδης Αλεξανδρόπουλος-Ξυλογιαννόπουλος",
	}
	word := regexp.MustCompile(`<word xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)"`)
	for _, opt := range []Options{{}, {Paper: Letter}, {Turn: Portrait}} {
		width, _ := opt.size(Landscape)
		for _, n := range names {
			out := poppler(t, "pdftotext", "-bbox", save(t, certificates(t, opt, sample(n))), "-")
			words := word.FindAllStringSubmatch(out, -1)
			if len(words) < 10 {
				t.Fatalf("poppler finds %d words", len(words))
			}
			for _, w := range words {
				var left, right float64
				fmt.Sscan(w[1], &left)
				fmt.Sscan(w[2], &right)
				if left < margin*72/25.4-0.01 || right > (width-margin)*72/25.4+0.01 {
					t.Errorf("%q: a word reaches from %.1f to %.1f pt", n, left, right)
				}
			}
		}
	}
}

func TestLongNamesShrinkThenTakeTwoLines(t *testing.T) {
	set := func(name string) pdf.Block {
		p := planCertificate(sample(name), Options{}, pdf.NewSetter("en"), 297, 210)
		for _, piece := range p.pieces {
			if piece.what == "the name" {
				return piece.block
			}
		}
		t.Fatal("no name on the page")
		return pdf.Block{}
	}
	short, longer, long := set("Inti Quispaya"), set("Bartholomew Featherstone-Hale"), set("Maximiliana Theodora Wolfeschlegelstein de la Vega y Arriagada-Poe")
	if len(short.Lines) != 1 || short.Size != 50 {
		t.Errorf("a short name: %d lines of %.1f pt", len(short.Lines), short.Size)
	}
	if len(longer.Lines) != 1 || longer.Size >= 50 || longer.Size < 34 {
		t.Errorf("a longer name: %d lines of %.1f pt", len(longer.Lines), longer.Size)
	}
	if len(long.Lines) != 2 || long.Size < 20 {
		t.Errorf("a long name: %d lines of %.1f pt", len(long.Lines), long.Size)
	}
}

func BenchmarkCertificates300(b *testing.B) {
	certs := make([]Certificate, 300)
	names := inventedNames()
	for i := range certs {
		certs[i] = sample(names[i%len(names)])
		certs[i].Number = fmt.Sprintf("No. 2026-%04d", i)
	}
	size := 0
	for b.Loop() {
		size = len(certificates(b, Options{}, certs...))
	}
	b.ReportMetric(float64(size)/float64(len(certs)), "bytes/page")
}
