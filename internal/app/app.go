// Package app is what people do, one file a step of the story. Every method
// takes the acting person first; permission, the state of the grading and the
// audit entry are settled in one gate, also for refusals.
package app

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"io"
	"slices"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/words"
	"rankwright/syllabus"
	"rankwright/timetable"
)

// App does what people ask of it on one school's base.
type App struct {
	st   *store.Store
	now  func() time.Time
	rand io.Reader
	hash chan struct{} // bounds the password hashes worked out at once
	// hashMemory is what each takes, in KiB
	hashMemory uint32
	tries      *attempts

	solver    timetable.Solver
	planning  planning
	codes     codes
	heard     heard
	clocks    clocks
	listeners listeners
	fresh     fresh

	mail Sender // nil where no mail server is set up
	dry  bool
	gap  time.Duration // between two letters
	post posting

	mu     sync.Mutex
	parsed map[string]*syllabus.Syllabus // published versions by id; they never change
	// translated holds files of texts in other languages by number; they never
	// change either.
	translated map[int64]*syllabus.Translation
}

// Options are what differs between the product and its tests.
type Options struct {
	Now  func() time.Time
	Rand io.Reader
	// Solver proves how good a timetable is; nil leaves it at a search
	// without a proof.
	Solver timetable.Solver
	// Mail hands messages to the school's mail server; nil is without one. With
	// Dry everything is done but the sending.
	Mail Sender
	Dry  bool
	// Gap is the least time between two letters, 0 for two seconds.
	Gap time.Duration
	// QuickHash hashes passwords and PINs so cheaply that they could be guessed,
	// for tests that sign in a thousand times and are not about that.
	QuickHash bool
}

// New returns an App on an open base.
func New(st *store.Store, o Options) *App {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Rand == nil {
		o.Rand = rand.Reader
	}
	memory := uint32(argonMemory)
	if o.QuickHash {
		memory = 8
	}
	return &App{st: st, now: o.Now, rand: o.Rand, solver: o.Solver, hash: make(chan struct{}, 2), hashMemory: memory, tries: newAttempts(),
		parsed: map[string]*syllabus.Syllabus{}, translated: map[int64]*syllabus.Translation{}, codes: codes{of: map[rankwright.GradingID]Code{}},
		heard: heard{m: map[string]report{}}, listeners: listeners{of: map[rankwright.GradingID]map[*Listener]bool{}},
		fresh: fresh{of: map[string]freshLink{}}, mail: o.Mail, dry: o.Dry, gap: cmp.Or(o.Gap, postGap), post: posting{woken: make(chan struct{}, 1)}}
}

// Actor is who acts. The zero Actor is somebody who has not signed in.
type Actor struct {
	ID   string
	Name string
	Role Role
	// Only is the one grading that a paired device is for, and Device its
	// name; "" for somebody who signed in with a password.
	Only   rankwright.GradingID
	Device rankwright.DeviceID
	// stamp changes with the password, and ends the sessions begun before.
	stamp string
	// household is whose page a family's link opens; ID is the link's then,
	// and Only its grading.
	household rankwright.HouseholdID
	// Lang is the language that was said for that household, "" where none was.
	Lang words.Lang
}

// Stamp is what a session keeps beside the person's id; Recall asks for it.
func (w Actor) Stamp() string { return w.stamp }

func stampOf(encoded string) string { return hashOf(encoded)[:24] }

// Role is what a person is to the school.
type Role string

const (
	Owner      Role = "owner" // the head instructor
	Instructor Role = "instructor"
	Examiner   Role = "examiner"
	Assistant  Role = "assistant"
	// Guardian is whoever holds a family's personal link. It is no role that
	// is given to people, and reaches nothing but the page of that family.
	Guardian Role = "guardian"
)

// Roles lists the roles of those who sign in, from the widest to the narrowest.
func Roles() []Role { return []Role{Owner, Instructor, Examiner, Assistant} }

// CommandLine is whoever runs the program on the school's own machine: they
// can read the base anyway.
func CommandLine() Actor { return Actor{ID: "command-line", Name: "command line", Role: Owner} }

// Act is something a person may be allowed to do.
type Act string

const (
	EditSchool     Act = "edit the school"
	ManagePeople   Act = "manage people"
	SeeSyllabus    Act = "see the syllabus"
	EditSyllabus   Act = "edit the syllabus"
	SeeRoster      Act = "see the roster"
	EditRoster     Act = "edit the roster"
	EraseStudent   Act = "erase a student"
	SeeGradings    Act = "see gradings"
	PlanGrading    Act = "plan a grading"
	MoveGrading    Act = "move a grading on"
	EnterStudents  Act = "enter students"
	Overrule       Act = "let a student enter against a rule"
	WaiveAsked     Act = "waive a requirement"
	CheckIn        Act = "check in"
	SettleClear    Act = "settle a clearance"
	SeeMarks       Act = "see marks"
	GiveMarks      Act = "give marks"
	GiveBefore     Act = "mark what is seen before the day"
	StopChild      Act = "stop a child for safety"
	SeeTimetable   Act = "see the timetable"
	TakeAnswers    Act = "write down what suits a family"
	PlanTimes      Act = "plan the timetable"
	PublishTimes   Act = "publish the timetable"
	MovePublished  Act = "move a published time"
	MoveToday      Act = "move a child to another sitting on the day"
	SeeBoard       Act = "see the live board"
	PairDevices    Act = "pair devices"
	SeeOutcomes    Act = "see outcomes"
	OverrideResult Act = "decide otherwise than the rule"
	SignGrading    Act = "sign a grading"
	ReleaseHeld    Act = "release a held promotion"
	PrintPapers    Act = "print certificates and lists"
	KeepStock      Act = "count and hand out belts and shirts"
	SeeLedger      Act = "see the rank ledger"
	SeeAudit       Act = "see the audit"
	SeeFamilies    Act = "see what families answered"
	MakeLinks      Act = "make and withdraw families' links"
	EditSheets     Act = "write what families sign"
	EditWordings   Act = "write what letters and messages say"
	PrintLetters   Act = "print letters about results"
	AnswerFamilies Act = "read and answer families' questions"
	ShowResults    Act = "let families see results"
	SeeMessages    Act = "see the messages to families"
	SendMessages   Act = "send messages to families"
	HandMessages   Act = "hand messages over and say how families are written to"
	SeeOwn         Act = "see the own family's page"
	AnswerOwn      Act = "say what suits the own family"
	SignOwn        Act = "sign for the own children"
	AskOwn         Act = "ask the school"
	ChooseLang     Act = "choose the own family's language"
)

// may lists who may do what.
var may = map[Act][]Role{
	EditSchool:     {Owner},
	ManagePeople:   {Owner},
	SeeSyllabus:    {Owner, Instructor, Examiner, Assistant},
	EditSyllabus:   {Owner, Instructor},
	SeeRoster:      {Owner, Instructor, Assistant},
	EditRoster:     {Owner, Instructor, Assistant},
	EraseStudent:   {Owner},
	SeeGradings:    {Owner, Instructor, Examiner, Assistant},
	PlanGrading:    {Owner, Instructor},
	MoveGrading:    {Owner, Instructor},
	EnterStudents:  {Owner, Instructor},
	Overrule:       {Owner},
	WaiveAsked:     {Owner, Instructor},
	CheckIn:        {Owner, Instructor, Assistant},
	SettleClear:    {Owner, Instructor, Assistant},
	SeeMarks:       {Owner, Instructor, Examiner},
	GiveMarks:      {Owner, Instructor, Examiner},
	GiveBefore:     {Owner, Instructor, Assistant},
	StopChild:      {Owner, Instructor, Examiner, Assistant},
	SeeTimetable:   {Owner, Instructor, Assistant},
	TakeAnswers:    {Owner, Instructor, Assistant},
	PlanTimes:      {Owner, Instructor},
	PublishTimes:   {Owner, Instructor},
	MovePublished:  {Owner, Instructor},
	MoveToday:      {Owner, Instructor, Assistant},
	SeeBoard:       {Owner, Instructor},
	PairDevices:    {Owner, Instructor},
	SeeOutcomes:    {Owner, Instructor},
	OverrideResult: {Owner},
	SignGrading:    {Owner},
	ReleaseHeld:    {Owner},
	PrintPapers:    {Owner, Instructor, Assistant},
	KeepStock:      {Owner, Instructor, Assistant},
	SeeLedger:      {Owner, Instructor},
	SeeAudit:       {Owner},
	SeeFamilies:    {Owner, Instructor, Assistant},
	MakeLinks:      {Owner, Instructor, Assistant},
	EditSheets:     {Owner},
	EditWordings:   {Owner},
	PrintLetters:   {Owner, Instructor},
	AnswerFamilies: {Owner},
	ShowResults:    {Owner},
	SeeMessages:    {Owner, Instructor, Assistant},
	SendMessages:   {Owner, Instructor},
	HandMessages:   {Owner, Instructor, Assistant},
	SeeOwn:         {Guardian},
	AnswerOwn:      {Guardian},
	SignOwn:        {Guardian},
	AskOwn:         {Guardian},
	ChooseLang:     {Guardian},
}

// May says whether a role may do something, the state of a grading aside.
func (r Role) May(act Act) bool { return slices.Contains(may[act], r) }

// State is where a grading stands.
type State string

const (
	Planning   State = "planning"
	Families   State = "families"
	Timetabled State = "timetabled"
	OnTheMat   State = "mat"
	Deciding   State = "deciding"
	Closed     State = "closed"
)

// StateRow is one row of the table of states.
type StateRow struct {
	State  State
	Name   string // for people
	Means  string
	Next   []State // where it may go from here
	Allows []Act   // the acts on a grading that this state allows
}

// States is the one table of what each state of a grading allows.
var States = []StateRow{
	{Planning, "Planning", "Ranks, students, examiners and waivers are being settled.",
		[]State{Families, Timetabled, OnTheMat},
		[]Act{PlanGrading, MoveGrading, EnterStudents, Overrule, WaiveAsked, SettleClear, GiveBefore, PairDevices, TakeAnswers, PlanTimes, PublishTimes, MakeLinks, HandMessages}},
	{Families, "Open to families", "Families can see what will be asked and answer.",
		[]State{Planning, Timetabled, OnTheMat},
		[]Act{PlanGrading, MoveGrading, EnterStudents, Overrule, WaiveAsked, SettleClear, GiveBefore, PairDevices, TakeAnswers, PlanTimes, PublishTimes, MakeLinks, SendMessages, HandMessages, AnswerFamilies, AnswerOwn, SignOwn, AskOwn}},
	{Timetabled, "Timetabled", "Times are settled; late entries and withdrawals are still possible.",
		[]State{Families, OnTheMat},
		[]Act{PlanGrading, MoveGrading, EnterStudents, Overrule, WaiveAsked, SettleClear, GiveBefore, PairDevices, TakeAnswers, PlanTimes, MovePublished, MakeLinks, SendMessages, HandMessages, AnswerFamilies, AnswerOwn, SignOwn, AskOwn}},
	{OnTheMat, "On the mat", "Examiners give marks.",
		[]State{Timetabled, Deciding},
		[]Act{MoveGrading, EnterStudents, Overrule, WaiveAsked, CheckIn, SettleClear, GiveBefore, GiveMarks, StopChild, PairDevices, MoveToday, MakeLinks, SendMessages, HandMessages, AnswerFamilies, SignOwn, AskOwn}},
	{Deciding, "Deciding", "Marks can still be corrected; the head instructor looks and signs.",
		[]State{OnTheMat, Closed},
		[]Act{MoveGrading, WaiveAsked, CheckIn, SettleClear, GiveBefore, GiveMarks, StopChild, PairDevices, OverrideResult, SignGrading, MakeLinks, SendMessages, HandMessages, AnswerFamilies, SignOwn, AskOwn}},
	{Closed, "Closed", "Signed. Outcomes stand; a held promotion can be released.",
		nil, []Act{SettleClear, ReleaseHeld, MakeLinks, SendMessages, HandMessages, AnswerFamilies, SignOwn, AskOwn, ShowResults, PrintLetters}},
}

// Row returns the row of a state.
func (s State) Row() StateRow {
	for _, r := range States {
		if r.State == s {
			return r
		}
	}
	return StateRow{State: s, Name: string(s)}
}

// Allows says whether the state allows an act on its grading.
func (s State) Allows(act Act) bool { return slices.Contains(s.Row().Allows, act) }

// onDevice is what a paired device may do, at its own grading only.
var onDevice = []Act{SeeGradings, SeeMarks, GiveMarks, StopChild}

// refuse returns the fault with which the actor may not do it, or nil.
func refuse(who Actor, act Act, subject on) *rankwright.Fault {
	if who.ID == "" {
		return rankwright.Faultf(rankwright.SignIn, "sign_in", "sign in and try again", "only somebody who is signed in may %s", act)
	}
	if !who.Role.May(act) {
		return rankwright.Faultf(rankwright.Forbidden, "not_allowed", "ask the head instructor", "as %s you may not %s", roleWord(who.Role), act)
	}
	if who.Role == Guardian {
		if subject.kind != "family" || subject.id != who.ID {
			return rankwright.Faultf(rankwright.Forbidden, "other_family", "open your own link once more", "this is another family's")
		}
		return nil
	}
	if who.Only != "" {
		here := subject.grading == who.Only || subject.kind == "grading" && subject.id == string(who.Only)
		if !here || !slices.Contains(onDevice, act) {
			return rankwright.Faultf(rankwright.Forbidden, "other_grading", "sign in with a password for anything else", "this device is paired for the marks of one grading only")
		}
	}
	return nil
}

func roleWord(r Role) string {
	switch r {
	case Owner:
		return "head instructor"
	case Instructor, Assistant, Examiner:
		return "an " + string(r)
	case Guardian:
		return "a guardian"
	}
	return "a guest"
}

// on names what an act is about.
type on struct {
	kind    string
	id      string
	grading rankwright.GradingID // "" where no grading's state matters
}

// do is the gate for changes. In one transaction it checks the role and the
// grading's state, lets fn do the change, and writes the audit entry with the
// detail that fn returns. A refusal is written too.
func (a *App) do(ctx context.Context, who Actor, act Act, subject on, fn func(tx *store.Tx) (detail any, err error)) error {
	return a.doBy(ctx, a.st.Write, who, act, subject, fn)
}

// doBy is do with the store's Write or its Gather, under which fn may be run
// twice.
func (a *App) doBy(ctx context.Context, write func(context.Context, func(*store.Tx) error) error, who Actor, act Act, subject on,
	fn func(tx *store.Tx) (detail any, err error)) error {
	refused := refuse(who, act, subject)
	if refused != nil {
		return a.refusal(ctx, who, act, subject, refused)
	}
	err := write(ctx, func(tx *store.Tx) error {
		refused = nil
		if subject.grading != "" {
			g, err := standing(tx, subject.grading)
			if err != nil {
				return err
			}
			if st := State(g.State); !st.Allows(act) {
				refused = rankwright.Faultf(rankwright.Conflict, "wrong_state", nextFor(act),
					"the grading is %q, and then nobody can %s", st.Row().Name, act)
				return refused
			}
		}
		detail, err := fn(tx)
		if err != nil {
			return err
		}
		return a.note(tx, who, act, subject, true, detail)
	})
	if refused != nil {
		return a.refusal(ctx, who, act, subject, refused)
	}
	if err == nil && subject.grading != "" {
		a.tell(subject.grading, newsOf(act))
	}
	return err
}

// nextFor says in which states an act is possible.
func nextFor(act Act) string {
	do := ""
	for _, r := range States {
		if r.State.Allows(act) {
			if do != "" {
				do += " or "
			}
			do += "“" + r.Name + "”"
		}
	}
	return "it is possible while the grading is " + do
}

// see is the gate for reading. Refusals are written to the audit.
func (a *App) see(ctx context.Context, who Actor, act Act, subject on, fn func(tx *store.Tx) error) error {
	if refused := refuse(who, act, subject); refused != nil {
		return a.refusal(ctx, who, act, subject, refused)
	}
	return a.st.Read(ctx, fn)
}

func (a *App) refusal(ctx context.Context, who Actor, act Act, subject on, f *rankwright.Fault) error {
	if who.ID == "" {
		return f // nobody to write down; the sign-in page counts tries
	}
	if err := a.st.Write(ctx, func(tx *store.Tx) error {
		return a.note(tx, who, act, subject, false, map[string]string{"why": f.Code})
	}); err != nil {
		return err
	}
	return f
}

// note writes an act into the audit.
func (a *App) note(tx *store.Tx, who Actor, act Act, subject on, allowed bool, detail any) error {
	b := []byte("{}")
	if detail != nil {
		var err error
		if b, err = json.Marshal(detail); err != nil {
			b = []byte(`{"detail":"cannot be written"}`)
		}
	}
	id := subject.kind
	if subject.id != "" {
		id += " " + subject.id
	}
	if who.Device != "" {
		id += ", on device " + string(who.Device)
	}
	_, err := tx.AppendAudit(store.AuditLine{At: a.moment(), Person: who.ID, Act: string(act), Subject: id, Allowed: allowed, Detail: string(b)})
	return err
}

// Generation rises with every change but marks and what devices say of
// themselves: see store.Generation.
func (a *App) Generation() uint64 { return a.st.Generation() }

func (a *App) moment() store.Moment { return store.Moment(a.now().UnixMilli()) }

// Now is the time by the clock of the machine.
func (a *App) Now() time.Time { return a.now() }

// Today is the civil day by the clock of the machine.
func (a *App) Today() rankwright.Day {
	y, m, d := a.now().Date()
	return rankwright.NewDay(y, m, d)
}

var plain32 = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// newID makes an id that nobody can guess, with a letter for its kind.
func (a *App) newID(kind string) (string, error) {
	s, err := a.secret(10)
	return kind + "-" + s, err
}

func (a *App) secret(bytes int) (string, error) {
	b := make([]byte, bytes)
	if _, err := io.ReadFull(a.rand, b); err != nil {
		return "", err
	}
	return plain32.EncodeToString(b), nil
}

func hashOf(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:])
}

// Audit returns the latest lines of the audit before a number (0 for the end).
func (a *App) Audit(ctx context.Context, who Actor, before int64, limit int) (lines []store.AuditLine, err error) {
	err = a.see(ctx, who, SeeAudit, on{kind: "audit"}, func(tx *store.Tx) error {
		lines, err = tx.Audit(before, limit)
		return err
	})
	return lines, err
}

// Records of the store that pages read and hand back.
type (
	Grading  = store.Grading
	Waiver   = store.Waiver
	Entry    = store.Entry
	Version  = store.Version
	Person   = store.Person
	Answered = store.MarkStatus
)
