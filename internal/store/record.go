// Package store is the only package that knows SQL. It keeps what people did
// in an embedded SQLite base (PostgreSQL can join under the same SQL text and
// the same conformance suite, internal/store/storetest).
package store

import (
	"rankwright"
	"rankwright/roster"
	"rankwright/scoring"
)

// Moment is a time in milliseconds since 1970 UTC.
type Moment int64

// Person is somebody who signs in.
type Person struct {
	ID           string
	Name         string // unique among active people, folded case
	Role         string // owner, instructor, examiner, assistant
	PasswordHash string // encoded argon2id; "" until set
	HighestRank  string // the highest rank that an examiner may examine; "" is any
	Active       bool
	Created      Moment
}

// Token is a one-time link: the owner's first sign-in or an invitation. Only
// the hash of its secret is kept.
type Token struct {
	Hash    string
	Purpose string // setup, invitation
	Person  string // whom it is for, "" for setup
	Created Moment
	Expires Moment
	Used    Moment // 0 while it can be used
}

// Version is one text of a ladder's syllabus: a draft, or published and frozen.
type Version struct {
	ID        string
	Ladder    rankwright.LadderID
	Number    int // 1, 2, … among the published ones of the ladder; 0 for a draft
	Name      string
	Text      string
	Hash      string // SHA-256 of Text, hex
	Published Moment // 0 for a draft
	By        string // the person who saved or published it
	Saved     Moment
}

// Grading is one examination.
type Grading struct {
	ID      rankwright.GradingID
	Title   string
	Day     rankwright.Day
	Place   string
	Version string // syllabus version id
	Ranks   []rankwright.RankID
	Theme   string
	State   string // as in app's table of states
	Lead    string // the person whose mark decides where the rules say "lead"
	Created Moment
	Signed  Moment
	Signer  string
}

// Waiver is a requirement not asked at a grading, or not of one entry.
type Waiver struct {
	Grading     rankwright.GradingID
	Rank        rankwright.RankID
	Requirement rankwright.RequirementID
	Entry       rankwright.EntryID // "" for everybody
	Reason      string
	By          string
	At          Moment
}

// Examiner is a person on the panel of a grading.
type Examiner struct {
	Grading     rankwright.GradingID
	Person      string
	HighestRank string
}

// Entry is one student's entry in a grading, for one rank.
type Entry struct {
	ID          rankwright.EntryID
	Grading     rankwright.GradingID
	Student     rankwright.StudentID
	Rank        rankwright.RankID
	Squad       int
	Presence    string // expected, present, absent, unwell, stopped
	OverruledBy string // who let the student enter against a rule
	OverruleWhy string
	OverruledAt Moment
}

// ClearanceRecord says when a clearance of an entry was met, and who said so.
// A later record replaces an earlier one; all are kept.
type ClearanceRecord struct {
	Entry     rankwright.EntryID
	Clearance rankwright.ClearanceID
	Met       bool
	By        string
	At        Moment
}

// MarkRow is a mark in the log with what the server adds.
type MarkRow struct {
	scoring.Mark
	Grading  rankwright.GradingID
	Arrival  int64  // the server's number, rising in the order of arrival
	Received Moment // the server's time
}

// LatestMark is when something of an entry was marked last.
type LatestMark struct {
	Entry       rankwright.EntryID
	Requirement rankwright.RequirementID
	At          Moment // by the server's clock
}

// MarkStatus answers each mark of a batch.
type MarkStatus struct {
	ID     rankwright.MarkID
	Stored bool   // newly stored
	Double bool   // was there already, the same
	Refuse string // why not: the id or (device, seq) is taken by a different mark
}

// Decision is what became of an entry: the verdict by rule as bytes, and the
// head instructor's own where it differs.
type Decision struct {
	Entry       rankwright.EntryID
	Outcome     string // what stands: the override where there is one
	Label       string
	Verdict     []byte // canonical JSON of the verdict by rule
	Override    string // outcome set by the head instructor, "" where none
	OverrideBy  string
	OverrideWhy string
	ShowAgain   string // what the head instructor named, "" where the rule says it
	At          Moment
}

// LedgerLine is one promotion, for ever. Lines are chained by hash.
type LedgerLine struct {
	No          int64
	Student     rankwright.StudentID
	Grading     rankwright.GradingID
	Entry       rankwright.EntryID
	Rank        rankwright.RankID
	RankName    string
	Day         rankwright.Day
	Version     string // syllabus version id
	VersionHash string
	Certificate string // certificate number
	Label       string
	FollowUp    rankwright.Day
	Signer      string
	At          Moment
	Previous    string // hash of the line before
	Hash        string
}

// AuditLine is one act of a person, allowed or refused. Lines are chained.
type AuditLine struct {
	No       int64
	At       Moment
	Person   string
	Act      string
	Subject  string
	Allowed  bool
	Detail   string // JSON: what changed, or why it was refused; no names of children
	Previous string
	Hash     string
}

// StudentRecord is a student of the roster with when it was last written.
type StudentRecord struct {
	roster.Student
	Updated Moment
	Erased  Moment // 0 unless the person was erased
}

// PIN lets an examiner of a grading pair a device. Only its hash is kept.
type PIN struct {
	Grading rankwright.GradingID
	Person  string
	Hash    string // encoded argon2id
	Tries   int    // wrong ones since it was set or freed
	At      Moment
}

// Device is a phone or tablet that an examiner marks on at one grading.
type Device struct {
	ID      rankwright.DeviceID
	Grading rankwright.GradingID
	Person  string
	Name    string
	Paired  Moment
	Until   Moment // the pairing ends by itself
	Seen    Moment
	Unsent  int    // marks that it had not sent when it was last heard of
	Ended   Moment // 0 while it may be used
	EndedBy string
}

// Arrival says when an entry came to the grading.
type Arrival struct {
	Entry rankwright.EntryID
	At    Moment
	Late  bool
	By    string
}

// DoorTick is a line of the school's list at the door, ticked for an entry.
type DoorTick struct {
	Entry rankwright.EntryID
	Line  string
	At    Moment
	By    string
}
