-- The stations of a grading as its school sets them. sections, and people who
-- stand there, are JSON; minutes 0 are worked out.
CREATE TABLE stations (
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	place     {{.Int}}  NOT NULL CHECK (place > 0),
	name      {{.Text}} NOT NULL CHECK (name <> ''),
	sections  {{.Text}} NOT NULL,
	minutes   {{.Int}}  NOT NULL CHECK (minutes >= 0),
	examiners {{.Int}}  NOT NULL CHECK (examiners >= 0),
	people    {{.Text}} NOT NULL,
	note      {{.Text}} NOT NULL,
	PRIMARY KEY (grading, place)
){{.Strict}};

-- Children whose name is not to hang on a door; why is not asked.
CREATE TABLE off_the_door (
	student {{.Text}} NOT NULL PRIMARY KEY REFERENCES students (id),
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};
