-- The changes of a told time about which families were asked on their own
-- pages: a draft is shown to nobody before.
CREATE TABLE move_asks (
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	household {{.Text}} NOT NULL CHECK (household <> ''),
	change    {{.Text}} NOT NULL CHECK (change <> ''),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL,
	PRIMARY KEY (grading, household, change)
){{.Strict}};
