package words

import (
	"slices"
	"strings"
	"time"

	"golang.org/x/text/language"

	"rankwright"
)

// Place is where a school is and which clock it likes: by these, dates, times
// and numbers are written. The zero Place writes 24 hours, weeks from Monday and
// what is usual in the language.
type Place struct {
	Country string // ISO 3166-1 alpha-2, such as GB
	Clock   string // "24", "12", or "" for what the country prefers
}

// The tables are derived from the Unicode CLDR: first days of the week from
// weekData of release 48, preferred hours from timeData of release 44, month
// before day and the decimal point from its patterns for English and Spanish of
// release 48. Where a language has no pattern of its own for a country, the usual
// one of the language serves.
var (
	weekFromSunday   = codes("AG AS BD BR BS BT BW BZ CA CO DM DO ET GT GU HK HN ID IL IN IS JM JP KE KH KR LA MH MM MO MT MX MZ NI NP PA PE PH PK PR PT PY SA SG SV TH TT TW UM US VE VI WS YE ZA ZW")
	weekFromSaturday = codes("AF BH DJ DZ EG IQ IR JO KW LY OM QA SD SY")
	weekFromFriday   = codes("MV")
	twelveHours      = codes("AE AG AL AR AS AU BB BD BH BM BN BO BS BT CA CL CO CR CU CY DJ DM DO DZ EC EG EH ER ET FJ FM GD GH GM GR GT GU GY HK HN IN IQ JM JO KH KI KN KP KR KW KY LB LC LR LS LY MH MO MP MR MW MX MY NA NI NZ OM PA PE PG PH PK PR PS PW PY QA SA SB SD SG SL SO SS SV SY SZ TC TD TN TO TT TW UM US UY VC VE VG VI VU WS YE ZM")
	monthFirst       = codes("AS CA GU MH MP PH PR UM US VI")
	decimalPointInES = codes("BR BZ CU DO GT HN MX NI PA PE PR SV US")
)

func codes(list string) map[string]bool {
	out := map[string]bool{}
	for c := range strings.FieldsSeq(list) {
		out[c] = true
	}
	return out
}

// KnownCountry says whether a code names a country (ISO 3166-1 alpha-2, in
// capitals).
func KnownCountry(code string) bool {
	r, err := language.ParseRegion(code)
	return err == nil && len(code) == 2 && r.IsCountry() && r.String() == code
}

// At says the same sentences with days, times and numbers as they are written
// at a place.
func (s *Say) At(p Place) *Say {
	out := *s
	out.place = p
	return &out
}

// FirstDay is the day with which a week begins.
func (s *Say) FirstDay() time.Weekday {
	switch c := s.place.Country; {
	case weekFromSunday[c]:
		return time.Sunday
	case weekFromSaturday[c]:
		return time.Saturday
	case weekFromFriday[c]:
		return time.Friday
	}
	return time.Monday
}

// Time writes a time of day, given in minutes since midnight, by the clock of
// the place: 15:05 or 3:05 pm.
func (s *Say) Time(minutes int) string {
	h, m := minutes/60%24, minutes%60
	half := s.place.Clock == "12" || s.place.Clock == "" && twelveHours[s.place.Country]
	mm := s.digits(string(rune('0'+m/10)) + string(rune('0'+m%10)))
	if !half {
		hh := s.digits(string(rune('0'+h/10)) + string(rune('0'+h%10)))
		if s.lang == Spanish { // which writes 9:05, CLDR's H:mm
			hh = s.Number(rankwright.Whole(h))
		}
		return s.plain("time.long", map[string]any{"Hour": hh, "Minute": mm})
	}
	key := Key("time.am")
	if h >= 12 {
		key = "time.pm"
	}
	if h %= 12; h == 0 {
		h = 12
	}
	return s.plain(key, map[string]any{"Hour": s.Number(rankwright.Whole(h)), "Minute": mm})
}

// Times writes from when until when.
func (s *Say) Times(from, until int) string { return s.Time(from) + "–" + s.Time(until) }

// Number writes a number with the digits and the decimal mark of the language.
// Numbers here are small; none is grouped.
func (s *Say) Number(a rankwright.Amount) string {
	n := a.String()
	mark := "."
	switch {
	case s.lang == Mirror:
		mark = "٫"
	case s.lang == Spanish && !decimalPointInES[s.place.Country]:
		mark = ","
	}
	return s.digits(strings.Replace(n, ".", mark, 1))
}

// digits writes digits as the language does (CLDR numbering system arab for
// the test language).
func (s *Say) digits(n string) string {
	if s.lang != Mirror {
		return n
	}
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r - '0' + '٠'
		}
		return r
	}, n)
}

// dated is the key of a form of date at the place.
func (s *Say) dated(key Key) Key {
	if monthFirst[s.place.Country] {
		return key + ".month-first"
	}
	return key
}

// Right says whether the language is written from right to left.
func (l Lang) Right() bool { return l == Mirror }

// Dir is the direction of the language as HTML names it, "" for left to right.
func (l Lang) Dir() string {
	if l.Right() {
		return "rtl"
	}
	return ""
}

// Isolate marks of Unicode Standard Annex 9: what stands between them is laid
// out by itself, and what stands around it as if it were one mark.
const (
	isolate    = "\u2068" // FIRST STRONG ISOLATE
	isolateEnd = "\u2069" // POP DIRECTIONAL ISOLATE
)

// Apart sets a name or a text of the school apart from the sentence that it
// stands in, where its letters run the other way.
func (s *Say) Apart(value string) string { return s.lang.apart(value) }

// apart sets a value apart whose letters run the other way than the language's:
// without it a full stop or a bracket beside a name would jump to the wrong end.
func (l Lang) apart(value string) string {
	if value == "" || !slices.ContainsFunc([]rune(value), func(r rune) bool { return l.against(r) }) {
		return value
	}
	return isolate + value + isolateEnd
}
