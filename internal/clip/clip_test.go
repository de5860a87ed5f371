package clip_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/clip"
)

// memory is a file of bytes.
type memory struct{ b []byte }

func (m *memory) ReadAt(p []byte, at int64) (int, error) { return bytes.NewReader(m.b).ReadAt(p, at) }

func (m *memory) WriteAt(p []byte, at int64) (int, error) {
	if at < 0 || at+int64(len(p)) > int64(len(m.b)) {
		return 0, io.ErrShortWrite
	}
	return copy(m.b[at:], p), nil
}

func look(b []byte) ([]byte, clip.Kind, error) {
	m := &memory{slices.Clone(b)}
	k, err := clip.Look(m, int64(len(b)))
	return m.b, k, err
}

func sample(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// box writes a box of an MP4 file.
func box(kind string, in ...[]byte) []byte {
	body := bytes.Join(in, nil)
	return append(append(binary.BigEndian.AppendUint32(nil, uint32(len(body)+8)), kind...), body...)
}

// film is an MP4 file with the place where it was taken in several corners.
func film(more ...[]byte) []byte {
	hdlr := func(kind string) []byte { return box("hdlr", make([]byte, 8), []byte(kind), make([]byte, 12)) }
	place := box("udta", box("\xa9xyz", []byte("+47.3769+008.5417/")))
	trak := func(kind string, in ...[]byte) []byte {
		return box("trak", append([][]byte{box("tkhd", make([]byte, 84)), box("mdia", hdlr(kind))}, in...)...)
	}
	return bytes.Join(append([][]byte{
		box("ftyp", []byte("mp42"), make([]byte, 4), []byte("isom")),
		box("moov", box("mvhd", make([]byte, 100)), trak("vide", place), trak("soun"), trak("meta", []byte(box("note", []byte("+47.3769")))), place, box("meta", []byte("+47.3769"))),
		box("uuid", []byte("sixteen bytes ID+47.3769")),
		box("mdat", []byte("moving pictures")),
	}, more...), nil)
}

// ebml writes an element of a WebM file, with a size of eight bytes.
func ebml(id uint64, body ...[]byte) []byte {
	in := bytes.Join(body, nil)
	out := binary.BigEndian.AppendUint64(nil, id)
	out = bytes.TrimLeft(out, "\x00")
	return append(binary.BigEndian.AppendUint64(out, 1<<56|uint64(len(in))), in...)
}

func webm(kind string, in ...[]byte) []byte {
	return append(ebml(0x1A45DFA3, ebml(0x4282, []byte(kind))), ebml(0x18538067, in...)...)
}

var picture = ebml(0x1654AE6B, ebml(0xAE, ebml(0x83, []byte{1})))

func TestAClipIsTakenAndToldByWhatItIs(t *testing.T) {
	for name, want := range map[string]clip.Kind{"square.mp4": clip.MP4, "square.webm": clip.WebM} {
		b := sample(t, name)
		out, k, err := look(b)
		if err != nil || k != want {
			t.Errorf("%s is taken for %v: %v", name, k, err)
		}
		if len(out) != len(b) || !clip.Is(b[:clip.HeadBytes]) {
			t.Errorf("%s is %d bytes long, and was %d", name, len(out), len(b))
		}
		again, _, err := look(out)
		if err != nil || !bytes.Equal(again, out) {
			t.Errorf("%s is another one when it is looked at again: %v", name, err)
		}
	}
}

func TestWhereItWasTakenIsBlanked(t *testing.T) {
	tags := ebml(0x1254C367, []byte("LOCATION +47.3769"))
	short := []byte{0xEC, 0x83, '+', '4', '7'}
	for name, b := range map[string][]byte{
		"an MP4": film(), "a WebM": webm("webm", picture, tags, ebml(0x1F43B675, []byte("pictures")), ebml(0x1941A469, []byte("+47.3769"))), "a short filling": webm("webm", picture, short),
	} {
		out, _, err := look(b)
		switch {
		case err != nil:
			t.Errorf("%s: %v", name, err)
		case bytes.Contains(out, []byte("+47")):
			t.Errorf("%s still says where it was taken", name)
		case len(out) != len(b) || name != "a short filling" && !bytes.Contains(out, []byte("pictures")):
			t.Errorf("%s lost more than that", name)
		}
		if again, _, err := look(out); err != nil || !bytes.Equal(again, out) {
			t.Errorf("%s is refused or changed when it is looked at again: %v", name, err)
		}
	}
}

func TestWhatIsNoWholeClipIsRefusedWithASentence(t *testing.T) {
	mp4, real := film(), sample(t, "square.webm")
	for name, tt := range map[string]struct {
		b   []byte
		say string
	}{
		"nothing":                  {nil, "too short"},
		"a text":                   {[]byte("hello, this is no clip at all"), "neither an MP4 nor a WebM"},
		"a page that plays an MP4": {append([]byte("    ftyp"), "<script>alert(1)</script>"...), "ends in the middle"},
		"half an MP4":              {mp4[:len(mp4)-5], "ends in the middle"},
		"an MP4 with a tail":       {append(slices.Clone(mp4), "PK\x03\x04"...), "something stands behind its end"},
		"a still picture":          {box("ftyp", []byte("heic"), make([]byte, 4), []byte("mif1")), "not played by browsers"},
		"a QuickTime film":         {append(box("ftyp", []byte("qt  "), make([]byte, 4)), mp4[20:]...), "not played by browsers"},
		"sound alone":              {append(box("ftyp", []byte("mp42"), make([]byte, 4)), box("moov", box("trak", box("mdia", box("hdlr", make([]byte, 8), []byte("soun")))))...), "no moving pictures"},
		"two films":                {append(slices.Clone(mp4), mp4[20:]...), "two clips"},
		"a Matroska file":          {webm("matroska", picture), "not played by browsers"},
		"half a WebM":              {real[:len(real)/2], ""},
		"a WebM with a tail":       {append(webm("webm", picture), "tail"...), "something stands behind its end"},
		"a WebM without pictures":  {webm("webm", ebml(0x1F43B675, []byte("x"))), "no moving pictures"},
		"an MP4 within itself":     {append(box("ftyp", []byte("mp42"), make([]byte, 4)), bytes.Repeat(box("free"), 300_000)...), "in more pieces"},
	} {
		_, _, err := look(tt.b)
		var f *rankwright.Fault
		if name == "half a WebM" && err == nil {
			continue // a film that was written as it was taken has no end of its own
		}
		if !errors.As(err, &f) || !strings.Contains(f.Say, tt.say) || f.Do == "" {
			t.Errorf("%s: %v, want a fault that says %q", name, err, tt.say)
		}
	}
}

// Whatever bytes come, looking at them ends, keeps their number, and what is
// taken is taken again unchanged.
func FuzzLook(f *testing.F) {
	for _, name := range []string{"square.mp4", "square.webm"} {
		f.Add(sample(f, name))
	}
	f.Add(film())
	f.Add(webm("webm", picture, ebml(0x1254C367, []byte("tags")), []byte{0xEC, 0x80}))
	f.Fuzz(func(t *testing.T, b []byte) {
		out, k, err := look(b)
		if err != nil {
			return
		}
		if len(out) != len(b) || k.Media == "" {
			t.Fatalf("%d bytes of %q from %d", len(out), k.Media, len(b))
		}
		again, _, err := look(out)
		if err != nil || !bytes.Equal(again, out) {
			t.Fatalf("looked at again: %v", err)
		}
	})
}
