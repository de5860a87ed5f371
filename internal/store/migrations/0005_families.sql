-- The families' own pages. A link is for one household at one grading; only its
-- hash is kept. until is '' where the link ends by the rule, and used is the day
-- on which it was last used, and no finer.
CREATE TABLE family_links (
	id           {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	grading      {{.Text}} NOT NULL REFERENCES gradings (id),
	household    {{.Text}} NOT NULL CHECK (household <> ''),
	hash         {{.Text}} NOT NULL UNIQUE CHECK (hash <> ''),
	until        {{.Text}} NOT NULL,
	created      {{.Int}}  NOT NULL,
	said_by      {{.Text}} NOT NULL,
	withdrawn    {{.Int}}  NOT NULL,
	withdrawn_by {{.Text}} NOT NULL,
	used         {{.Text}} NOT NULL
){{.Strict}};
CREATE INDEX family_links_grading ON family_links (grading, household);

-- What families may sign: the words for one clearance of a ladder. The latest
-- counts; empty words are not put before families.
CREATE TABLE sheets (
	number    {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	ladder    {{.Text}} NOT NULL CHECK (ladder <> ''),
	clearance {{.Text}} NOT NULL CHECK (clearance <> ''),
	body      {{.Text}} NOT NULL,
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX sheets_clearance ON sheets (ladder, clearance, number);
{{.Refuse "UPDATE" "sheets" ""}}
{{.Refuse "DELETE" "sheets" ""}}

-- What a family said to a sheet: signed, taken back, or to be talked about
-- first. A line outlives its entry and its link, hence no reference. The name
-- and the words stand apart, since they go when the child is erased; their hash
-- stays.
CREATE TABLE signatures (
	number    {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	student   {{.Text}} NOT NULL REFERENCES students (id),
	entry     {{.Text}} NOT NULL CHECK (entry <> ''),
	clearance {{.Text}} NOT NULL CHECK (clearance <> ''),
	sheet     {{.Int}}  NOT NULL REFERENCES sheets (number),
	said      {{.Text}} NOT NULL CHECK (said IN ('signed', 'withdrawn', 'talk')),
	hash      {{.Text}} NOT NULL CHECK (hash <> ''),
	link      {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX signatures_entry ON signatures (entry, number);
CREATE INDEX signatures_student ON signatures (student, number);
{{.Refuse "UPDATE" "signatures" ""}}
{{.Refuse "DELETE" "signatures" ""}}

CREATE TABLE signature_words (
	number {{.Int}}  NOT NULL PRIMARY KEY REFERENCES signatures (number),
	name   {{.Text}} NOT NULL,
	body   {{.Text}} NOT NULL
){{.Strict}};
{{.Refuse "UPDATE" "signature_words" ""}}

CREATE TABLE family_messages (
	number    {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	household {{.Text}} NOT NULL CHECK (household <> ''),
	sender    {{.Text}} NOT NULL CHECK (sender IN ('family', 'school')),
	body      {{.Text}} NOT NULL CHECK (body <> ''),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX family_messages_household ON family_messages (grading, household, number);
{{.Refuse "UPDATE" "family_messages" ""}}

-- What a family wrote beside its wishes for times.
CREATE TABLE family_notes (
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	household {{.Text}} NOT NULL CHECK (household <> ''),
	body      {{.Text}} NOT NULL CHECK (body <> ''),
	at        {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, household)
){{.Strict}};

-- The results that the head instructor lets the family see.
CREATE TABLE results_shown (
	entry   {{.Text}} NOT NULL PRIMARY KEY REFERENCES entries (id) ON DELETE CASCADE,
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};
