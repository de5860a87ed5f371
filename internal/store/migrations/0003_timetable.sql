-- The timetable. A session is a part of a day of which a family says whether
-- it suits; a sitting is a block of time on one mat within it. Times of the day
-- are minutes since midnight where the hall stands. Households are kept by
-- their id, and who examines whom by a person's id.
CREATE TABLE timetables (
	grading  {{.Text}} NOT NULL PRIMARY KEY REFERENCES gradings (id),
	weights  {{.Text}} NOT NULL,
	seed     {{.Int}}  NOT NULL CHECK (seed >= 0),
	revision {{.Int}}  NOT NULL CHECK (revision > 0)
){{.Strict}};

CREATE TABLE timetable_sessions (
	id      {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	grading {{.Text}} NOT NULL REFERENCES gradings (id),
	name    {{.Text}} NOT NULL,
	day     {{.Text}} NOT NULL CHECK (day <> ''),
	begins  {{.Int}}  NOT NULL CHECK (begins >= 0),
	minutes {{.Int}}  NOT NULL CHECK (minutes > 0),
	makeup  {{.Int}}  NOT NULL CHECK (makeup IN (0, 1))
){{.Strict}};
CREATE INDEX timetable_sessions_grading ON timetable_sessions (grading, day, begins);

CREATE TABLE sittings (
	id      {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	session {{.Text}} NOT NULL REFERENCES timetable_sessions (id) ON DELETE CASCADE,
	mat     {{.Text}} NOT NULL CHECK (mat <> ''),
	begins  {{.Int}}  NOT NULL CHECK (begins >= 0),
	minutes {{.Int}}  NOT NULL CHECK (minutes > 0),
	least   {{.Int}}  NOT NULL CHECK (least >= 0),
	most    {{.Int}}  NOT NULL CHECK (most > 0),
	squad   {{.Int}}  NOT NULL CHECK (squad > 0),
	panel   {{.Int}}  NOT NULL CHECK (panel >= 0),
	mixed   {{.Int}}  NOT NULL CHECK (mixed > 0),
	ranks   {{.Text}} NOT NULL,
	lost    {{.Int}}  NOT NULL CHECK (lost IN (0, 1)),
	UNIQUE (session, mat, begins)
){{.Strict}};

CREATE TABLE session_answers (
	household {{.Text}} NOT NULL CHECK (household <> ''),
	session   {{.Text}} NOT NULL REFERENCES timetable_sessions (id) ON DELETE CASCADE,
	answer    {{.Text}} NOT NULL CHECK (answer IN ('yes', 'if_need_be', 'no')),
	wish      {{.Int}}  NOT NULL CHECK (wish >= 0),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL,
	PRIMARY KEY (household, session)
){{.Strict}};
CREATE INDEX session_answers_session ON session_answers (session);

CREATE TABLE examiner_terms (
	grading {{.Text}} NOT NULL REFERENCES gradings (id),
	person  {{.Text}} NOT NULL REFERENCES people (id),
	mats    {{.Text}} NOT NULL,
	most    {{.Int}}  NOT NULL CHECK (most >= 0),
	rest    {{.Int}}  NOT NULL CHECK (rest >= 0),
	PRIMARY KEY (grading, person)
){{.Strict}};

CREATE TABLE examiner_away (
	person  {{.Text}} NOT NULL REFERENCES people (id),
	session {{.Text}} NOT NULL REFERENCES timetable_sessions (id) ON DELETE CASCADE,
	PRIMARY KEY (person, session)
){{.Strict}};
CREATE INDEX examiner_away_session ON examiner_away (session);

-- The households of a person's own children and other near relatives, whom
-- they never examine, at any grading.
CREATE TABLE own_households (
	person    {{.Text}} NOT NULL REFERENCES people (id),
	household {{.Text}} NOT NULL CHECK (household <> ''),
	PRIMARY KEY (person, household)
){{.Strict}};

-- A grading has at most one plan of each kind: the draft that is worked on, and
-- the published one.
CREATE TABLE plans (
	grading  {{.Text}} NOT NULL REFERENCES gradings (id),
	kind     {{.Text}} NOT NULL CHECK (kind IN ('draft', 'published')),
	facts    {{.Text}} NOT NULL,
	revision {{.Int}}  NOT NULL,
	said_by  {{.Text}} NOT NULL,
	at       {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, kind)
){{.Strict}};

-- sitting is '' for somebody who waits, hence no reference.
CREATE TABLE placements (
	grading {{.Text}} NOT NULL,
	kind    {{.Text}} NOT NULL,
	entry   {{.Text}} NOT NULL REFERENCES entries (id) ON DELETE CASCADE,
	sitting {{.Text}} NOT NULL,
	squad   {{.Int}}  NOT NULL CHECK (squad >= 0),
	PRIMARY KEY (grading, kind, entry),
	FOREIGN KEY (grading, kind) REFERENCES plans (grading, kind) ON DELETE CASCADE
){{.Strict}};
CREATE INDEX placements_entry ON placements (entry);

CREATE TABLE duties (
	grading {{.Text}} NOT NULL,
	kind    {{.Text}} NOT NULL,
	person  {{.Text}} NOT NULL REFERENCES people (id),
	sitting {{.Text}} NOT NULL CHECK (sitting <> ''),
	PRIMARY KEY (grading, kind, person, sitting),
	FOREIGN KEY (grading, kind) REFERENCES plans (grading, kind) ON DELETE CASCADE
){{.Strict}};

CREATE TABLE placement_locks (
	entry   {{.Text}} NOT NULL PRIMARY KEY REFERENCES entries (id) ON DELETE CASCADE,
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};

-- An entry that cannot come on the ordinary dates after all; why is not kept.
CREATE TABLE cannot_come (
	entry   {{.Text}} NOT NULL PRIMARY KEY REFERENCES entries (id) ON DELETE CASCADE,
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};

CREATE TABLE waiting_list (
	entry {{.Text}} NOT NULL PRIMARY KEY REFERENCES entries (id) ON DELETE CASCADE,
	place {{.Int}}  NOT NULL CHECK (place > 0),
	at    {{.Int}}  NOT NULL
){{.Strict}};

-- What was told to families and examiners. entry is '' for an examiner's time
-- and person '' for a child's. A line outlives its entry, so that a calendar
-- hears of the cancellation.
CREATE TABLE published_times (
	uid       {{.Text}} NOT NULL PRIMARY KEY CHECK (uid <> ''),
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	entry     {{.Text}} NOT NULL,
	person    {{.Text}} NOT NULL,
	sitting   {{.Text}} NOT NULL,
	mat       {{.Text}} NOT NULL,
	day       {{.Text}} NOT NULL,
	begins    {{.Int}}  NOT NULL CHECK (begins >= 0),
	minutes   {{.Int}}  NOT NULL CHECK (minutes > 0),
	sequence  {{.Int}}  NOT NULL CHECK (sequence >= 0),
	cancelled {{.Int}}  NOT NULL CHECK (cancelled IN (0, 1)),
	at        {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX published_times_grading ON published_times (grading, entry, person);

-- A family's yes or no to another time than the published one, for one
-- proposal, which is named by a hash of what it would change for them.
CREATE TABLE move_answers (
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	household {{.Text}} NOT NULL CHECK (household <> ''),
	change    {{.Text}} NOT NULL CHECK (change <> ''),
	yes       {{.Int}}  NOT NULL CHECK (yes IN (0, 1)),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, household, change)
){{.Strict}};
