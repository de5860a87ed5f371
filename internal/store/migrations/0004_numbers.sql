-- The numbers of devices: how far each says it has counted, which marks were
-- answered with a refusal and so came all the same, and what the head instructor
-- accepted as missing. log is the device's own name for itself, as in marks.
CREATE TABLE counts (
	grading {{.Text}} NOT NULL REFERENCES gradings (id),
	log     {{.Text}} NOT NULL CHECK (log <> ''),
	paired  {{.Text}} NOT NULL,
	person  {{.Text}} NOT NULL REFERENCES people (id),
	since   {{.Int}}  NOT NULL CHECK (since >= -1),
	seq     {{.Int}}  NOT NULL CHECK (seq >= 0),
	unsent  {{.Int}}  NOT NULL CHECK (unsent >= 0),
	seen    {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, log)
){{.Strict}};

-- A refused mark is kept as it was sent, since a person has to see to it. Its
-- entry and its device may be any text, hence no reference; '' and 0 are what
-- could not be read. A note is not kept: it stays on the device.
CREATE TABLE refusals (
	number      {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	digest      {{.Text}} NOT NULL UNIQUE,
	grading     {{.Text}} NOT NULL REFERENCES gradings (id),
	id          {{.Text}} NOT NULL,
	device      {{.Text}} NOT NULL,
	seq         {{.Int}}  NOT NULL CHECK (seq >= 0),
	entry       {{.Text}} NOT NULL,
	requirement {{.Text}} NOT NULL,
	examiner    {{.Text}} NOT NULL,
	try         {{.Int}}  NOT NULL,
	sort        {{.Int}}  NOT NULL,
	amount      {{.Int}}  NOT NULL,
	at          {{.Int}}  NOT NULL,
	why         {{.Text}} NOT NULL CHECK (why <> ''),
	sender      {{.Text}} NOT NULL,
	received    {{.Int}}  NOT NULL,
	settled     {{.Int}}  NOT NULL,
	settled_by  {{.Text}} NOT NULL
){{.Strict}};
CREATE INDEX refusals_grading ON refusals (grading, number);
CREATE INDEX refusals_device ON refusals (device, seq);
{{.Refuse "DELETE" "refusals" ""}}

CREATE TABLE acceptances (
	number  {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	grading {{.Text}} NOT NULL REFERENCES gradings (id),
	missing {{.Text}} NOT NULL,
	reason  {{.Text}} NOT NULL CHECK (reason <> ''),
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX acceptances_grading ON acceptances (grading, number);
{{.Refuse "UPDATE" "acceptances" ""}}
{{.Refuse "DELETE" "acceptances" ""}}
