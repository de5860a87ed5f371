package pdf

import (
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"fmt"
	"math"
	"unicode/utf16"
)

// textString writes a text for a dictionary: plain ASCII as it is, all else
// as UTF-16 (ISO 32000-1, 7.9.2.2).
func textString(s string) string {
	plain := true
	for _, r := range s {
		plain = plain && r >= ' ' && r < 127
	}
	var b bytes.Buffer
	if !plain {
		fmt.Fprintf(&b, "<FEFF%s>", utf16Hex(s))
		return b.String()
	}
	b.WriteByte('(')
	for i := 0; i < len(s); i++ {
		if s[i] == '(' || s[i] == ')' || s[i] == '\\' {
			b.WriteByte('\\')
		}
		b.WriteByte(s[i])
	}
	b.WriteByte(')')
	return b.String()
}

func utf16Hex(s string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = fmt.Appendf(b, "%04X", u)
	}
	return string(b)
}

// metadata is the XMP packet, which is never compressed.
func (d *Doc) metadata() object {
	esc := func(s string) string {
		var b bytes.Buffer
		xml.EscapeText(&b, []byte(s)) // a bytes.Buffer does not fail
		return b.String()
	}
	creator := ""
	if d.info.Author != "" {
		creator = "<dc:creator><rdf:Seq><rdf:li>" + esc(d.info.Author) + "</rdf:li></rdf:Seq></dc:creator>\n"
	}
	b := []byte(`<?xpacket begin="` + "\ufeff" + `" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">` + esc(d.info.Title) + `</rdf:li></rdf:Alt></dc:title>
<dc:language><rdf:Bag><rdf:li>` + esc(d.info.Lang) + `</rdf:li></rdf:Bag></dc:language>
` + creator + `<pdf:Producer>rankwright</pdf:Producer>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>`)
	return object{
		body:   fmt.Appendf(nil, "<</Type /Metadata /Subtype /XML /Length %d>>", len(b)),
		stream: b, isData: true,
	}
}

// srgbProfile makes a matrix profile for sRGB (ICC.1:2001-04, version 2): the
// primaries adapted to D50 and the curve of IEC 61966-2-1 in 1024 steps.
func srgbProfile() []byte {
	be := binary.BigEndian
	fixed := func(v float64) uint32 { return uint32(int32(math.Round(v * 65536))) }
	xyz := func(x, y, z float64) []byte {
		b := append([]byte("XYZ "), 0, 0, 0, 0)
		for _, v := range []float64{x, y, z} {
			b = be.AppendUint32(b, fixed(v))
		}
		return b
	}
	const steps = 1024
	curve := be.AppendUint32(append([]byte("curv"), 0, 0, 0, 0), steps)
	for i := range steps {
		x := float64(i) / (steps - 1)
		if x <= 0.04045 {
			x /= 12.92
		} else {
			x = math.Pow((x+0.055)/1.055, 2.4)
		}
		curve = be.AppendUint16(curve, uint16(math.Round(x*65535)))
	}
	const name = "sRGB\x00"
	desc := be.AppendUint32(append([]byte("desc"), 0, 0, 0, 0), uint32(len(name)))
	desc = append(append(desc, name...), make([]byte, 4+4+2+1+67)...)
	text := append(append([]byte("text"), 0, 0, 0, 0), "No rights are claimed in this profile\x00"...)

	// D50 white and the adapted sRGB primaries, as in the ICC's own sRGB
	// profile; the values are from memory and were compared to sum to white.
	tags := []struct {
		sig  string
		body []byte
	}{
		{"desc", desc}, {"cprt", text},
		{"wtpt", xyz(0.96420, 1, 0.82491)},
		{"rXYZ", xyz(0.43607, 0.22249, 0.01392)},
		{"gXYZ", xyz(0.38515, 0.71687, 0.09708)},
		{"bXYZ", xyz(0.14307, 0.06061, 0.71410)},
		{"rTRC", curve}, {"gTRC", curve}, {"bTRC", curve},
	}
	table := be.AppendUint32(nil, uint32(len(tags)))
	var body []byte
	start := 128 + 4 + 12*len(tags)
	at := map[string]int{}
	for _, t := range tags {
		offset, seen := at[string(t.body)]
		if !seen {
			offset = start + len(body)
			at[string(t.body)] = offset
			body = pad4(append(body, t.body...))
		}
		table = append(table, t.sig...)
		table = be.AppendUint32(table, uint32(offset))
		table = be.AppendUint32(table, uint32(len(t.body)))
	}
	head := make([]byte, 128)
	be.PutUint32(head, uint32(start+len(body)))
	be.PutUint32(head[8:], 0x02100000)
	copy(head[12:], "mntrRGB XYZ ")
	for i, v := range []uint16{2001, 4, 1, 0, 0, 0} {
		be.PutUint16(head[24+2*i:], v)
	}
	copy(head[36:], "acsp")
	for i, v := range []float64{0.96420, 1, 0.82491} {
		be.PutUint32(head[68+4*i:], fixed(v))
	}
	return append(append(head, table...), body...)
}
