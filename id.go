package rankwright

// The identifiers of the trade. They are opaque and stable; people's names
// are for display only and never stand in for one of these.
type (
	// LadderID names the ordered ranks of one programme, for instance "juniors".
	LadderID string
	// RankID names a step on a ladder.
	RankID string
	// SectionID names a group of requirements of a syllabus.
	SectionID string
	// RequirementID names one thing shown and scored.
	RequirementID string
	// ClearanceID names a condition that is not scored and blocks promotion
	// until it is met.
	ClearanceID string
	// StudentID names a student of the school.
	StudentID string
	// HouseholdID names the people who come together.
	HouseholdID string
	// ExaminerID names a person who marks.
	ExaminerID string
	// GradingID names one examination.
	GradingID string
	// EntryID names one student's entry in one grading. On files it is the
	// student's id within that grading.
	EntryID string
	// DeviceID names a telephone, tablet or laptop from which marks come.
	DeviceID string
	// MarkID names one mark for ever, whatever road it takes to the log.
	MarkID string
)
