-- Pictures and short clips that a school adds to a section or a requirement of a
-- ladder. What they show is in a file beside the base, named by its hash; a new
-- version of the syllabus keeps them.
CREATE TABLE pictures (
	id      {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	ladder  {{.Text}} NOT NULL CHECK (ladder <> ''),
	kind    {{.Text}} NOT NULL CHECK (kind IN ('section', 'requirement')),
	about   {{.Text}} NOT NULL CHECK (about <> ''),
	file    {{.Text}} NOT NULL CHECK (file <> ''),
	media   {{.Text}} NOT NULL CHECK (media <> ''),
	bytes   {{.Int}}  NOT NULL CHECK (bytes > 0),
	width   {{.Int}}  NOT NULL,
	height  {{.Int}}  NOT NULL,
	alt     {{.Text}} NOT NULL CHECK (alt <> ''),
	caption {{.Text}} NOT NULL,
	place   {{.Int}}  NOT NULL,
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX pictures_ladder ON pictures (ladder, place);
CREATE INDEX pictures_file ON pictures (file);

-- Those files, in a backup: there they travel in the one file with everything
-- else. In a base that is served this is empty.
CREATE TABLE kept_files (
	file {{.Text}} NOT NULL,
	part {{.Int}}  NOT NULL CHECK (part >= 0),
	body {{.Blob}} NOT NULL,
	PRIMARY KEY (file, part)
){{.Strict}};
