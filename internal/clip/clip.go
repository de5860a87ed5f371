// Package clip looks at a short clip before a school keeps it: whether it is
// an MP4 (ISO/IEC 14496-12) or a WebM file that is whole, has moving pictures,
// and nothing behind its end. What was written beside picture and sound, such
// as where it was taken, is blanked in place, so that no position shifts. The
// pictures themselves are not decoded: browsers do that, in a place of their own.
package clip

import (
	"encoding/binary"
	"io"
	"slices"

	"rankwright"
)

// File is what is looked at and blanked.
type File interface {
	io.ReaderAt
	io.WriterAt
}

// Kind is a kind of clip.
type Kind struct {
	Media  string // as a browser is told
	Ending string // of a file's name
}

// The kinds that are taken: every browser of today plays one of them.
var (
	MP4  = Kind{"video/mp4", ".mp4"}
	WebM = Kind{"video/webm", ".webm"}
)

// HeadBytes is how many of a file's first bytes Is needs.
const HeadBytes = 12

// Is says by the first bytes whether something means to be a clip.
func Is(head []byte) bool {
	return len(head) >= 8 && string(head[4:8]) == "ftyp" || len(head) >= 4 && binary.BigEndian.Uint32(head) == ebmlHead
}

// Look checks a file of the given size and blanks what is beside the picture.
// After an error the file may be blanked in part, and is not to be kept.
func Look(f File, size int64) (Kind, error) {
	head := make([]byte, HeadBytes)
	if _, err := f.ReadAt(head, 0); err != nil {
		return Kind{}, noClip("the file is too short to be a clip")
	}
	l := &looker{f: f}
	if binary.BigEndian.Uint32(head) == ebmlHead {
		return WebM, l.webm(size)
	}
	if string(head[4:8]) == "ftyp" {
		return MP4, l.mp4(size)
	}
	return Kind{}, noClip("this is neither an MP4 nor a WebM clip")
}

func noClip(say string, args ...any) error {
	return rankwright.Faultf(rankwright.Invalid, "no_clip", "save it as MP4 (H.264) or WebM and choose that file", say, args...)
}

// mostElements is how many boxes or elements are looked at; a short clip has
// far fewer.
const mostElements = 200_000

type looker struct {
	f    File
	seen int
	// picture says that there is a track of moving pictures.
	picture bool
}

func (l *looker) count() error {
	if l.seen++; l.seen > mostElements {
		return noClip("the clip is in more pieces than a short one has")
	}
	return nil
}

// box is a box of an MP4 file: where it stands, and where what is in it does.
type box struct {
	kind         string
	at, in, next int64
}

// boxes walks the boxes between two places, which they have to fill exactly.
func (l *looker) boxes(from, to int64, do func(b box) error) error {
	for at := from; at < to; {
		if err := l.count(); err != nil {
			return err
		}
		b, err := l.box(at, to)
		if err != nil {
			return err
		}
		if err := do(b); err != nil {
			return err
		}
		at = b.next
	}
	return nil
}

func (l *looker) box(at, to int64) (box, error) {
	var head [16]byte
	if to-at < 8 {
		return box{}, noClip("the clip ends in the middle, or something stands behind its end")
	}
	if _, err := l.f.ReadAt(head[:8], at); err != nil {
		return box{}, err
	}
	b := box{kind: string(head[4:8]), at: at, in: at + 8}
	switch size := int64(binary.BigEndian.Uint32(head[:4])); {
	case size == 0:
		b.next = to
	case size == 1:
		if to-at < 16 {
			return box{}, noClip("the clip ends in the middle")
		}
		if _, err := l.f.ReadAt(head[8:16], at+8); err != nil {
			return box{}, err
		}
		large := binary.BigEndian.Uint64(head[8:16])
		if large < 16 || large > uint64(to-at) {
			return box{}, noClip("the clip ends in the middle")
		}
		b.in, b.next = at+16, at+int64(large)
	default:
		b.next = at + size
	}
	if b.next < b.in || b.next > to {
		return box{}, noClip("the clip ends in the middle")
	}
	return b, nil
}

// brands are those of files that browsers play.
var brands = []string{"isom", "iso2", "iso3", "iso4", "iso5", "iso6", "iso7", "iso8", "iso9", "mp41", "mp42", "mp71", "avc1", "M4V ", "M4VH", "M4VP", "dash", "MSNV", "av01"}

// kept are the boxes of the outermost level that stay. All others are blanked.
var kept = []string{"ftyp", "moov", "mdat", "moof", "mfra", "sidx", "styp", "ssix", "pdin", "prft"}

func (l *looker) mp4(size int64) error {
	first, film := true, false
	err := l.boxes(0, size, func(b box) error {
		switch {
		case first:
			first = false
			return l.brand(b)
		case b.kind == "moov":
			if film {
				return noClip("there are two clips in one file")
			}
			film = true
			return l.inside(b)
		case b.kind == "moof":
			return l.inside(b)
		case slices.Contains(kept, b.kind):
			return nil
		}
		return l.blank(b)
	})
	if err == nil && (!film || !l.picture) {
		err = noClip("there are no moving pictures in this file")
	}
	return err
}

func (l *looker) brand(b box) error {
	n := b.next - b.in
	if b.kind != "ftyp" || n < 8 || n > 400 {
		return noClip("this is no MP4 clip")
	}
	all := make([]byte, n)
	if _, err := l.f.ReadAt(all, b.in); err != nil {
		return err
	}
	for i := 0; i+4 <= len(all); i += 4 {
		if i != 4 && slices.Contains(brands, string(all[i:i+4])) { // the second word is a version
			return nil
		}
	}
	return noClip("this kind of film (%q) is not played by browsers", all[:4])
}

// inside goes through the boxes that hold others. What describes the film in
// words, and tracks of anything but picture and sound, is blanked.
func (l *looker) inside(b box) error {
	return l.boxes(b.in, b.next, func(c box) error {
		switch c.kind {
		case "udta", "meta", "uuid", "free", "skip":
			return l.blank(c)
		case "traf":
			return l.inside(c)
		case "trak":
			kind, err := l.handler(c)
			if err != nil {
				return err
			}
			if kind != "vide" && kind != "soun" {
				return l.blank(c)
			}
			l.picture = l.picture || kind == "vide"
			return l.inside(c)
		}
		return nil
	})
}

// handler says of what a track is.
func (l *looker) handler(trak box) (kind string, err error) {
	err = l.boxes(trak.in, trak.next, func(m box) error {
		if m.kind != "mdia" {
			return nil
		}
		return l.boxes(m.in, m.next, func(h box) error {
			if h.kind != "hdlr" || h.next-h.in < 12 {
				return nil
			}
			var b [4]byte
			_, err := l.f.ReadAt(b[:], h.in+8)
			kind = string(b[:])
			return err
		})
	})
	return kind, err
}

// blank makes a box one that is passed over, with nothing in it.
func (l *looker) blank(b box) error {
	if _, err := l.f.WriteAt([]byte("free"), b.at+4); err != nil {
		return err
	}
	return l.zero(b.in, b.next)
}

func (l *looker) zero(from, to int64) error {
	var nothing [4096]byte
	for from < to {
		n := min(int64(len(nothing)), to-from)
		if _, err := l.f.WriteAt(nothing[:n], from); err != nil {
			return err
		}
		from += n
	}
	return nil
}
