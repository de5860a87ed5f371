-- One text for SQLite and PostgreSQL: the words in double braces are the only
-- ones that differ, see dialect.go. Ids are made in Go, days are ISO 8601 text
-- ('' is none), moments are milliseconds since 1970 UTC (0 is none).
{{.Begin}}
CREATE TABLE settings (
	key   {{.Text}} NOT NULL PRIMARY KEY,
	value {{.Text}} NOT NULL
){{.Strict}};

CREATE TABLE people (
	id            {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	name          {{.Text}} NOT NULL,
	name_folded   {{.Text}} NOT NULL CHECK (name_folded <> ''),
	role          {{.Text}} NOT NULL,
	password_hash {{.Text}} NOT NULL,
	highest_rank  {{.Text}} NOT NULL,
	active        {{.Int}}  NOT NULL CHECK (active IN (0, 1)),
	created       {{.Int}}  NOT NULL
){{.Strict}};
CREATE UNIQUE INDEX people_active_name ON people (name_folded) WHERE active = 1;

CREATE TABLE tokens (
	hash    {{.Text}} NOT NULL PRIMARY KEY CHECK (hash <> ''),
	purpose {{.Text}} NOT NULL,
	person  {{.Text}} NOT NULL,
	created {{.Int}}  NOT NULL,
	expires {{.Int}}  NOT NULL,
	used    {{.Int}}  NOT NULL
){{.Strict}};

CREATE TABLE sessions (
	token   {{.Text}} NOT NULL PRIMARY KEY,
	data    {{.Blob}} NOT NULL,
	expires {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX sessions_expires ON sessions (expires);

CREATE TABLE versions (
	id        {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	ladder    {{.Text}} NOT NULL CHECK (ladder <> ''),
	number    {{.Int}}  NOT NULL CHECK (number >= 0),
	name      {{.Text}} NOT NULL,
	body      {{.Text}} NOT NULL,
	hash      {{.Text}} NOT NULL,
	published {{.Int}}  NOT NULL,
	author    {{.Text}} NOT NULL,
	saved     {{.Int}}  NOT NULL
){{.Strict}};
CREATE UNIQUE INDEX versions_number ON versions (ladder, number);
CREATE UNIQUE INDEX versions_body ON versions (ladder, hash) WHERE number > 0;
{{.Refuse "UPDATE" "versions" "OLD.number > 0"}}
{{.Refuse "DELETE" "versions" "OLD.number > 0"}}

CREATE TABLE students (
	id          {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	given_name  {{.Text}} NOT NULL,
	family_name {{.Text}} NOT NULL,
	birth_date  {{.Text}} NOT NULL,
	household   {{.Text}} NOT NULL,
	ladder      {{.Text}} NOT NULL,
	rank        {{.Text}} NOT NULL,
	rank_since  {{.Text}} NOT NULL,
	classes     {{.Int}}  NOT NULL,
	belt_size   {{.Text}} NOT NULL,
	shirt_size  {{.Text}} NOT NULL,
	notes       {{.Text}} NOT NULL,
	updated     {{.Int}}  NOT NULL,
	erased      {{.Int}}  NOT NULL
){{.Strict}};

CREATE TABLE guardians (
	student {{.Text}} NOT NULL REFERENCES students (id),
	place   {{.Int}}  NOT NULL,
	name    {{.Text}} NOT NULL,
	email   {{.Text}} NOT NULL,
	phone   {{.Text}} NOT NULL,
	PRIMARY KEY (student, place)
){{.Strict}};

CREATE TABLE mappings (
	fingerprint {{.Text}} NOT NULL PRIMARY KEY,
	mapping     {{.Text}} NOT NULL
){{.Strict}};

CREATE TABLE gradings (
	id      {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	title   {{.Text}} NOT NULL,
	day     {{.Text}} NOT NULL,
	place   {{.Text}} NOT NULL,
	version {{.Text}} NOT NULL REFERENCES versions (id),
	ranks   {{.Text}} NOT NULL,
	theme   {{.Text}} NOT NULL,
	state   {{.Text}} NOT NULL CHECK (state <> ''),
	lead    {{.Text}} NOT NULL,
	created {{.Int}}  NOT NULL,
	signed  {{.Int}}  NOT NULL,
	signer  {{.Text}} NOT NULL
){{.Strict}};

CREATE TABLE examiners (
	grading      {{.Text}} NOT NULL REFERENCES gradings (id),
	person       {{.Text}} NOT NULL REFERENCES people (id),
	highest_rank {{.Text}} NOT NULL,
	PRIMARY KEY (grading, person)
){{.Strict}};

CREATE TABLE entries (
	id           {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	grading      {{.Text}} NOT NULL REFERENCES gradings (id),
	student      {{.Text}} NOT NULL REFERENCES students (id),
	rank         {{.Text}} NOT NULL,
	squad        {{.Int}}  NOT NULL,
	presence     {{.Text}} NOT NULL,
	overruled_by {{.Text}} NOT NULL,
	overrule_why {{.Text}} NOT NULL,
	overruled_at {{.Int}}  NOT NULL,
	UNIQUE (grading, student)
){{.Strict}};
CREATE INDEX entries_student ON entries (student);

-- entry is '' where the requirement is waived for everybody, hence no reference.
CREATE TABLE waivers (
	grading     {{.Text}} NOT NULL REFERENCES gradings (id),
	rank        {{.Text}} NOT NULL,
	requirement {{.Text}} NOT NULL,
	entry       {{.Text}} NOT NULL,
	reason      {{.Text}} NOT NULL,
	said_by     {{.Text}} NOT NULL,
	at          {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, rank, requirement, entry)
){{.Strict}};

CREATE TABLE clearances (
	number    {{.Int}}  NOT NULL PRIMARY KEY,
	entry     {{.Text}} NOT NULL REFERENCES entries (id),
	clearance {{.Text}} NOT NULL,
	met       {{.Int}}  NOT NULL CHECK (met IN (0, 1)),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX clearances_entry ON clearances (entry, number);
{{.Refuse "UPDATE" "clearances" ""}}

CREATE TABLE marks (
	arrival     {{.Int}}  NOT NULL PRIMARY KEY,
	id          {{.Text}} NOT NULL UNIQUE CHECK (id <> ''),
	device      {{.Text}} NOT NULL CHECK (device <> ''),
	seq         {{.Int}}  NOT NULL CHECK (seq > 0),
	clock       {{.Int}}  NOT NULL,
	grading     {{.Text}} NOT NULL REFERENCES gradings (id),
	entry       {{.Text}} NOT NULL REFERENCES entries (id),
	requirement {{.Text}} NOT NULL,
	examiner    {{.Text}} NOT NULL,
	try         {{.Int}}  NOT NULL,
	sort        {{.Int}}  NOT NULL,
	amount      {{.Int}}  NOT NULL,
	at          {{.Int}}  NOT NULL,
	note        {{.Text}} NOT NULL,
	received    {{.Int}}  NOT NULL,
	UNIQUE (device, seq)
){{.Strict}};
CREATE INDEX marks_grading ON marks (grading, arrival);
CREATE INDEX marks_entry ON marks (entry, arrival);
{{.Refuse "UPDATE" "marks" ""}}
{{.Refuse "DELETE" "marks" ""}}

CREATE TABLE decisions (
	entry        {{.Text}} NOT NULL PRIMARY KEY REFERENCES entries (id),
	outcome      {{.Text}} NOT NULL,
	label        {{.Text}} NOT NULL,
	verdict      {{.Blob}} NOT NULL,
	override     {{.Text}} NOT NULL,
	override_by  {{.Text}} NOT NULL,
	override_why {{.Text}} NOT NULL,
	show_again   {{.Text}} NOT NULL,
	at           {{.Int}}  NOT NULL
){{.Strict}};

-- grading and entry are '' on lines brought in from before, hence no reference.
CREATE TABLE ledger (
	number       {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	student      {{.Text}} NOT NULL REFERENCES students (id),
	grading      {{.Text}} NOT NULL,
	entry        {{.Text}} NOT NULL,
	rank         {{.Text}} NOT NULL,
	rank_name    {{.Text}} NOT NULL,
	day          {{.Text}} NOT NULL,
	version      {{.Text}} NOT NULL,
	version_hash {{.Text}} NOT NULL,
	certificate  {{.Text}} NOT NULL,
	label        {{.Text}} NOT NULL,
	follow_up    {{.Text}} NOT NULL,
	signer       {{.Text}} NOT NULL,
	at           {{.Int}}  NOT NULL,
	previous     {{.Text}} NOT NULL,
	hash         {{.Text}} NOT NULL
){{.Strict}};
CREATE UNIQUE INDEX ledger_entry ON ledger (entry) WHERE entry <> '';
CREATE UNIQUE INDEX ledger_certificate ON ledger (certificate) WHERE certificate <> '';
CREATE INDEX ledger_student ON ledger (student, number);
CREATE INDEX ledger_grading ON ledger (grading, number);
{{.Refuse "UPDATE" "ledger" ""}}
{{.Refuse "DELETE" "ledger" ""}}

CREATE TABLE audit (
	number   {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	at       {{.Int}}  NOT NULL,
	person   {{.Text}} NOT NULL,
	act      {{.Text}} NOT NULL,
	subject  {{.Text}} NOT NULL,
	allowed  {{.Int}}  NOT NULL CHECK (allowed IN (0, 1)),
	detail   {{.Text}} NOT NULL,
	previous {{.Text}} NOT NULL,
	hash     {{.Text}} NOT NULL
){{.Strict}};
{{.Refuse "UPDATE" "audit" ""}}
{{.Refuse "DELETE" "audit" ""}}
