-- Numbers that a device has given to marks of other gradings, as it told one
-- grading while it had not sent them: there they are not missing. log is the
-- device's own name for itself, as in marks.
CREATE TABLE elsewhere (
	grading {{.Text}} NOT NULL REFERENCES gradings (id),
	log     {{.Text}} NOT NULL CHECK (log <> ''),
	first   {{.Int}}  NOT NULL CHECK (first > 0),
	last    {{.Int}}  NOT NULL CHECK (last >= first),
	PRIMARY KEY (grading, log, first)
){{.Strict}};
