package clip

import "math/bits"

// The elements of a WebM file that matter here (RFC 8794 for how they are
// written, RFC 9559 for what they mean).
const (
	ebmlHead    = 0x1A45DFA3
	docType     = 0x4282
	segment     = 0x18538067
	cluster     = 0x1F43B675
	tracks      = 0x1654AE6B
	trackEntry  = 0xAE
	trackType   = 0x83
	tags        = 0x1254C367
	attachments = 0x1941A469
	void        = 0xEC
)

// element is one element: where it stands, and where what is in it does.
type element struct {
	id           uint64
	at, in, next int64
	open         bool // its end is not written: what follows is in it
}

// vint reads a number whose first byte tells how long it is; unknown says that
// all its bits are set. With whole the mark of the length stays in it, as in ids.
func (l *looker) vint(at, to int64, most int, whole bool) (v uint64, n int, unknown bool, err error) {
	var b [8]byte
	if at >= to {
		return 0, 0, false, noClip("the clip ends in the middle")
	}
	if _, err := l.f.ReadAt(b[:1], at); err != nil {
		return 0, 0, false, err
	}
	n = bits.LeadingZeros8(b[0]) + 1
	if n > most || int64(n) > to-at {
		return 0, 0, false, noClip("the clip is damaged, or something stands behind its end")
	}
	if _, err := l.f.ReadAt(b[:n], at); err != nil {
		return 0, 0, false, err
	}
	for _, x := range b[:n] {
		v = v<<8 | uint64(x)
	}
	mark := uint64(1) << (7 * n)
	unknown = v&(mark-1) == mark-1
	if !whole {
		v &= mark - 1
	}
	return v, n, unknown, nil
}

func (l *looker) element(at, to int64) (element, error) {
	if err := l.count(); err != nil {
		return element{}, err
	}
	id, n, _, err := l.vint(at, to, 4, true)
	if err != nil {
		return element{}, err
	}
	size, m, unknown, err := l.vint(at+int64(n), to, 8, false)
	if err != nil {
		return element{}, err
	}
	e := element{id: id, at: at, in: at + int64(n+m), open: unknown}
	if unknown {
		e.next = to
		return e, nil
	}
	if size > uint64(to-e.in) {
		return element{}, noClip("the clip ends in the middle")
	}
	e.next = e.in + int64(size)
	return e, nil
}

// within walks the elements between two places, which they have to fill.
func (l *looker) within(from, to int64, do func(e element) (into bool, err error)) error {
	for at := from; at < to; {
		e, err := l.element(at, to)
		if err != nil {
			return err
		}
		into, err := do(e)
		if err != nil {
			return err
		}
		at = e.next
		if into {
			at = e.in
		}
	}
	return nil
}

func (l *looker) webm(size int64) error {
	head, err := l.element(0, size)
	if err != nil {
		return err
	}
	kind := ""
	if head.open || head.next-head.in > 400 {
		return noClip("this is no WebM clip")
	}
	err = l.within(head.in, head.next, func(e element) (bool, error) {
		if e.id != docType || e.next-e.in > 20 {
			return false, nil
		}
		b := make([]byte, e.next-e.in)
		_, err := l.f.ReadAt(b, e.in)
		kind = string(b)
		return false, err
	})
	if err != nil {
		return err
	}
	if kind != "webm" {
		return noClip("this kind of film (%q) is not played by browsers", kind)
	}
	film, err := l.element(head.next, size)
	if err != nil {
		return err
	}
	if film.id != segment || film.next != size {
		return noClip("the clip is damaged, or something stands behind its end")
	}
	err = l.within(film.in, size, func(e element) (bool, error) {
		switch e.id {
		case cluster: // one without an end is entered, as a camera writes it
			return e.open, nil
		case tracks:
			return false, l.track(e)
		case tags, attachments, void:
			return false, l.hollow(e)
		}
		if e.open {
			return false, noClip("the clip is damaged")
		}
		return false, nil
	})
	if err == nil && !l.picture {
		err = noClip("there are no moving pictures in this file")
	}
	return err
}

// track looks for one of moving pictures.
func (l *looker) track(all element) error {
	if all.open {
		return noClip("the clip is damaged")
	}
	return l.within(all.in, all.next, func(e element) (bool, error) {
		if e.id != trackEntry || e.open {
			return false, nil
		}
		return false, l.within(e.in, e.next, func(t element) (bool, error) {
			if t.id == trackType && t.next-t.in == 1 {
				var b [1]byte
				if _, err := l.f.ReadAt(b[:], t.in); err != nil {
					return false, err
				}
				l.picture = l.picture || b[0] == 1
			}
			return false, nil
		})
	})
}

// hollow makes an element one that is passed over, of the same length and with
// nothing in it.
func (l *looker) hollow(e element) error {
	if e.open {
		return noClip("the clip is damaged")
	}
	whole := e.next - e.at
	head := []byte{void, 0x80 | byte(whole-2)}
	if whole >= 9 {
		rest := uint64(whole - 9)
		head = []byte{void, 1, byte(rest >> 48), byte(rest >> 40), byte(rest >> 32), byte(rest >> 24), byte(rest >> 16), byte(rest >> 8), byte(rest)}
	}
	if _, err := l.f.WriteAt(head, e.at); err != nil {
		return err
	}
	return l.zero(e.at+int64(len(head)), e.next)
}
