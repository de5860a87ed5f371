-- The day itself: devices on the mat, who arrived when, and what was asked at
-- the door. A ticked line of the door's list is kept by its words; what a child
-- answered to how it feels is not kept.
CREATE TABLE pins (
	grading {{.Text}} NOT NULL REFERENCES gradings (id),
	person  {{.Text}} NOT NULL REFERENCES people (id),
	hash    {{.Text}} NOT NULL CHECK (hash <> ''),
	tries   {{.Int}}  NOT NULL CHECK (tries >= 0),
	at      {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, person)
){{.Strict}};

CREATE TABLE devices (
	id       {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	grading  {{.Text}} NOT NULL REFERENCES gradings (id),
	person   {{.Text}} NOT NULL REFERENCES people (id),
	name     {{.Text}} NOT NULL,
	paired   {{.Int}}  NOT NULL,
	until    {{.Int}}  NOT NULL,
	seen     {{.Int}}  NOT NULL,
	unsent   {{.Int}}  NOT NULL CHECK (unsent >= 0),
	ended    {{.Int}}  NOT NULL,
	ended_by {{.Text}} NOT NULL
){{.Strict}};
CREATE INDEX devices_grading ON devices (grading, paired);

CREATE TABLE arrivals (
	entry   {{.Text}} NOT NULL PRIMARY KEY REFERENCES entries (id) ON DELETE CASCADE,
	at      {{.Int}}  NOT NULL,
	late    {{.Int}}  NOT NULL CHECK (late IN (0, 1)),
	said_by {{.Text}} NOT NULL
){{.Strict}};

CREATE TABLE door_ticks (
	entry   {{.Text}} NOT NULL REFERENCES entries (id) ON DELETE CASCADE,
	line    {{.Text}} NOT NULL CHECK (line <> ''),
	at      {{.Int}}  NOT NULL,
	said_by {{.Text}} NOT NULL,
	PRIMARY KEY (entry, line)
){{.Strict}};
