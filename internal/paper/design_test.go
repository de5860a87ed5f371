package paper

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
)

// drawnPicture is a ring of ink on clear ground, in so many pixels.
func drawnPicture(t testing.TB, w, h int) *Picture {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			if d := math.Hypot(float64(2*x-w)/float64(w), float64(2*y-h)/float64(h)); d > 0.7 && d < 0.9 {
				m.SetNRGBA(x, y, color.NRGBA{uint8(20 + x%40), 60, uint8(110 + y%30), 255})
			}
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	clean, _, err := CleanPicture(b.Bytes(), 900, false)
	if err != nil {
		t.Fatal(err)
	}
	p, err := ReadPicture(clean)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestEveryDesignReadsBackAsItWasWritten(t *testing.T) {
	logo, hand := drawnPicture(t, 60, 60), drawnPicture(t, 90, 30)
	all := inventedNames()
	for i, d := range Designs() {
		var certs []Certificate
		for k := i; k < len(all); k += 24 {
			c := sample(all[k])
			c.Second, c.SecondLang, c.Honour = "أظهرت كل ما يطلب", "ar", "with commendation"
			c.Signatures[0].Picture = hand
			certs = append(certs, c)
		}
		opt := Options{Design: d, Logo: logo, Fonts: scripts(t), Turn: []Turn{Natural, Portrait}[i%2], Paper: []Sheet{Letter, A4}[i%2]}
		file := certificates(t, opt, certs...)
		pages := pageTexts(t, file)
		if len(pages) != len(certs) {
			t.Fatalf("%v: %d names on %d pages", d, len(certs), len(pages))
		}
		for k, page := range pages {
			for _, want := range []string{certs[k].Student, "Amber", "with commendation", "Rhodri ap Siencyn", "No. 2026-0107"} {
				if !hasLine(page, want) {
					t.Errorf("%v, page %d: %q is not among the lines %q", d, k+1, want, strings.Split(page, "\n"))
				}
			}
		}
		at := save(t, file)
		qpdfCheck(t, at)
		for _, row := range strings.Split(strings.TrimSpace(poppler(t, "pdffonts", at)), "\n")[2:] {
			if !strings.Contains(row, " yes yes yes ") {
				t.Errorf("%v: a font is not embedded: %s", d, row)
			}
		}
		// Two pictures with a mask each stand in the file once, whatever the number of pages.
		objects := map[string]bool{}
		for _, row := range strings.Split(strings.TrimSpace(poppler(t, "pdfimages", "-list", at)), "\n")[2:] {
			f := strings.Fields(row)
			objects[f[2]+" "+f[10]] = true
		}
		if len(objects) != 4 {
			t.Errorf("%v: the pictures are the objects %v", d, objects)
		}
		if tags := poppler(t, "pdfinfo", "-struct", save(t, certificates(t, opt, certs[0]))); strings.Count(tags, "Figure") != 2 {
			t.Errorf("%v: pictures are not told to those who listen:\n%s", d, tags)
		}
	}
}

func TestADesignHasAWord(t *testing.T) {
	for _, d := range Designs() {
		if got, ok := ParseDesign(d.String()); !ok || got != d {
			t.Errorf("%v is read as %v", d, got)
		}
	}
	if _, ok := ParseDesign("fancy"); ok {
		t.Error("a design that is none is read")
	}
}

func TestAPreviewIsSoundSVGWithoutFontsOrScripts(t *testing.T) {
	c := sample("Linh-Đan أميرة")
	c.Student += ` & "<b>`
	c.Signatures[0].Picture = drawnPicture(t, 200, 60)
	for _, d := range Designs() {
		opt := Options{Design: d, Logo: drawnPicture(t, 60, 60), Fonts: scripts(t)}
		svg, err := Preview(c, opt)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]int{}
		for in := xml.NewDecoder(bytes.NewReader(svg)); ; {
			token, err := in.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if e, ok := token.(xml.StartElement); ok {
				seen[e.Name.Local]++
			}
		}
		if seen["svg"] != 1 || seen["image"] != 2 || seen["path"] < 20 || len(seen) != 4 {
			t.Errorf("%v: the elements are %v", d, seen)
		}
	}
	if _, err := Preview(c, Options{}); err == nil || !strings.Contains(err.Error(), "Arabic") {
		t.Errorf("a name that cannot be set is shown: %v", err)
	}
}

func BenchmarkCertificates300WithPictures(b *testing.B) {
	certs := make([]Certificate, 300)
	names := inventedNames()
	logo, hand := drawnPicture(b, 600, 600), drawnPicture(b, 900, 300)
	for i := range certs {
		certs[i] = sample(names[i%len(names)])
		certs[i].Second, certs[i].SecondLang = "ha mostrado lo que se pide y asciende al grado de", "es"
		certs[i].Number = fmt.Sprintf("No. 2026-%04d", i)
		certs[i].Signatures[0].Picture = hand
	}
	for _, d := range Designs() {
		b.Run(d.String(), func(b *testing.B) {
			size := 0
			for b.Loop() {
				size = len(certificates(b, Options{Design: d, Logo: logo}, certs...))
			}
			b.ReportMetric(float64(size)/float64(len(certs)), "bytes/page")
		})
	}
}
