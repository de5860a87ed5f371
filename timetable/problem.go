package timetable

import (
	"fmt"

	"rankwright"
)

type (
	// SessionID names a part of a day to which a family comes once.
	SessionID string
	// SittingID names one block of time on one mat.
	SittingID string
	// MatID names a mat.
	MatID string
)

// Minute is a time of day at the school, in minutes since midnight by the
// clock on its wall. 0 means "not stated" where a time may be left out.
type Minute int

// String writes the time as 09:05.
func (m Minute) String() string { return fmt.Sprintf("%02d:%02d", int(m)/60, int(m)%60) }

// Problem is everything that a timetable is made from. It is data only: names
// stand in for what they name, and Prepare checks them. The order of its lists
// matters for nothing but the order in which equals are looked at, so the same
// problem gives the same timetable.
type Problem struct {
	// Ranks are the ranks of the ladder from the lowest to the highest. Where
	// several ladders are examined together, theirs follow one another.
	Ranks      []rankwright.RankID
	Sessions   []Session
	Sittings   []Sitting
	Households []Household
	Entries    []Entry
	Examiners  []Examiner
	Rules      Rules
	Weights    Weights
}

// Session is a part of a day to which a family comes once and for which it
// says what suits: Friday evening, Saturday morning. Its sittings stand on one
// or more mats, one after the other.
type Session struct {
	ID   SessionID
	Name string // for people; "" is the ID
	Day  rankwright.Day
	// Makeup marks a make-up date, for those who cannot come otherwise.
	Makeup bool
	// Cost is how dear it is to hold this session at all; Weights.Session is
	// multiplied by it. 1 is an ordinary session.
	Cost int
}

// Hold says whether a sitting must or must not take place.
type Hold uint8

const (
	// Free leaves it to the plan whether the sitting takes place.
	Free Hold = iota
	// Held takes place whoever comes, with its full panel, even below Least.
	Held
	// Shut does not take place.
	Shut
)

// Sitting is one block of time on one mat, with room for so many. It takes
// place, or is open, in a plan if somebody stands in it or it is Held.
type Sitting struct {
	ID      SittingID
	Session SessionID
	Mat     MatID
	Start   Minute
	Minutes int
	// Least and Most are the fewest and the most entries with which it takes
	// place.
	Least, Most int
	// Panel is how many examiners it needs, exactly.
	Panel int
	// Cost is how dear it is to open; Weights.Sitting is multiplied by it. 1 is
	// an ordinary sitting.
	Cost int
	// Ranks are those that may come; empty means all.
	Ranks []rankwright.RankID
	// Width is how many neighbouring ranks of the ladder may share it, counted
	// from the lowest who comes to the highest; 0 means any.
	Width int
	// PanelFor is the rank that the panel must be able to examine whoever
	// comes; "" asks of the panel only the highest rank that comes.
	PanelFor rankwright.RankID
	Hold     Hold
	// Was are the examiners of the published plan.
	Was []rankwright.ExaminerID
}

// End is when the sitting ends.
func (s Sitting) End() Minute { return s.Start + Minute(s.Minutes) }

// Suits is a household's answer for a session.
type Suits uint8

const (
	// No rules the session out.
	No Suits = iota
	// IfNeedBe is possible, and not gladly.
	IfNeedBe
	// Yes suits.
	Yes
)

// Answer is what a household says of one session.
type Answer struct {
	Session SessionID
	Suits   Suits
	// Points are added, for each entry placed there, to say how much less this
	// session is wished than another; 0 is the most wished. Weights.Wish is
	// multiplied by it.
	Points int
	// From and Until narrow the times of day in this session: a sitting must
	// not start before From nor end after Until. 0 is no limit.
	From, Until Minute
}

// Household is the people who come together.
type Household struct {
	ID   rankwright.HouseholdID
	Name string // for people, such as "Okafor"; "" is the ID
	// Answers has at most one answer a session. A session without one counts
	// as Rules.Unanswered.
	Answers []Answer
	// From and Until narrow the times of day on every day. 0 is no limit.
	From, Until Minute
	// MayMove is the household's yes to another time than the published one.
	MayMove bool
}

// Entry is one student's entry in the grading.
type Entry struct {
	ID        rankwright.EntryID
	Name      string // for people; "" is the ID
	Household rankwright.HouseholdID
	Rank      rankwright.RankID // the rank tried for
	Age       int               // on the day, in years; 0 is not known and never little
	// Locked is the sitting in which the entry must stand, or "".
	Locked SittingID
	// MustPlace forbids that the entry waits: a plan without a sitting for it
	// is none.
	MustPlace bool
	// Was is the sitting of the published plan, or "" where the entry waited or
	// was not there. Told says that the household knows of it: then it moves
	// only where Household.MayMove says yes.
	Was  SittingID
	Told bool
	// Asked counts the days since the entry was made; the longer, the earlier
	// its place on the waiting list.
	Asked int
}

// Presence is when an examiner can be there.
type Presence struct {
	Session SessionID
	// From and Until narrow it; 0 is the whole session.
	From, Until Minute
}

// Examiner is a person who sits on panels.
type Examiner struct {
	ID      rankwright.ExaminerID
	Name    string            // for people; "" is the ID
	Highest rankwright.RankID // the highest rank that they may examine
	There   []Presence        // only in these sessions
	Mats    []MatID           // only on these mats; empty means all
	// Own are the households of their own children and of whoever else they do
	// not examine.
	Own []rankwright.HouseholdID
	// MostSession and MostDay are the most sittings in a session and on a day;
	// 0 is no limit.
	MostSession, MostDay int
	// InARow is the most sittings one after the other without a rest of
	// Rules.Rest minutes; 0 is no limit.
	InARow int
}

// Rules say what words such as "back to back" and "late" mean at this school.
type Rules struct {
	// Unanswered stands in for an answer that was not given.
	Unanswered Suits
	// Pause is how many minutes may lie between the end of a household's
	// earliest-ending sitting of a session and the start of its
	// latest-starting one for them still to be back to back.
	Pause int
	// Rest is how many minutes without a sitting break an examiner's row.
	Rest int
	// LittleAge is the highest age of a little one; 0 is nobody.
	LittleAge int
	// LittleAfter is how many minutes after the session's first sitting a
	// sitting is late for a little one; 0 is never.
	LittleAfter int
	// LittleClock is the time of day from which a start is late for a little
	// one; 0 is never.
	LittleClock Minute
}

// DefaultRules are used where a problem says nothing.
func DefaultRules() Rules {
	return Rules{Unanswered: IfNeedBe, Pause: 10, Rest: 10, LittleAge: 7, LittleAfter: 60, LittleClock: 19 * 60}
}

// Aim is one term of the objective. Their order is the order in which a plan's
// costs are told.
type Aim uint8

// The aims, in the stated order. Each says what one unit of it is.
const (
	// AimPlaced: an entry without a sitting.
	AimPlaced Aim = iota
	// AimMoved: a household that was told its time and now has another, or none
	// for somebody.
	AimMoved
	// AimIfNeedBe: an entry in a session that suits its household only if need be.
	AimIfNeedBe
	// AimWish: a point of a household's answer, for each entry placed there.
	AimWish
	// AimSplit: each further session to which a household must come.
	AimSplit
	// AimApart: a household in a session whose sittings are not back to back.
	AimApart
	// AimSeparate: each further sitting that a household has in one session.
	AimSeparate
	// AimMakeup: an entry in a make-up session.
	AimMakeup
	// AimSession: an open session's cost.
	AimSession
	// AimSitting: an open sitting's cost.
	AimSitting
	// AimMixed: each further rank in a sitting.
	AimMixed
	// AimUneven: the difference between the fullest and the emptiest open
	// sitting of a session, in entries.
	AimUneven
	// AimWait: each started quarter of an hour between the end of a household's
	// earliest-ending sitting of a session and the start of its latest-starting one.
	AimWait
	// AimLate: a little one in a late sitting.
	AimLate
	// AimLoad: the second sitting of an examiner is one, the third two more, and
	// so on, so that the sum is least where the load is even.
	AimLoad
	// AimRedrawn: an entry whose household was not told and that stands
	// elsewhere than in the published plan, and each examiner new on the panel
	// of a sitting that had a published panel.
	AimRedrawn
	// AimCount is how many there are.
	AimCount
)

// Weights say what one unit of each aim costs; 0 leaves it out of account.
type Weights [AimCount]int

// aimNames are the words of files, in the order of the aims.
var aimNames = [AimCount]string{"unplaced", "moved", "if_need_be", "wish", "split", "apart", "separate", "makeup", "session",
	"sitting", "mixed", "uneven", "wait", "late", "load", "redrawn"}

// String is the aim's word in files.
func (a Aim) String() string {
	if a < AimCount {
		return aimNames[a]
	}
	return "unknown"
}

// DefaultWeights put the aims into the stated order: each is dear enough that
// the next does not outweigh it in an ordinary grading.
func DefaultWeights() Weights {
	return Weights{AimPlaced: 1000, AimMoved: 400, AimIfNeedBe: 20, AimWish: 2, AimSplit: 50, AimApart: 12, AimSeparate: 4,
		AimMakeup: 20, AimSession: 30, AimSitting: 12, AimMixed: 3, AimUneven: 2, AimWait: 1, AimLate: 6, AimLoad: 1, AimRedrawn: 1}
}

// The largest problem that is taken on, and the largest weight; beyond them a
// plan's cost could not be held to be exact, or a page could not show it.
const (
	MostSessions   = 200
	MostSittings   = 2000
	MostEntries    = 5000
	MostHouseholds = 5000
	MostExaminers  = 500
	MostRanks      = 100
	MostWeight     = 1_000_000
	MostCost       = 10_000
)
