-- In which language the school writes to a household, where it was said.
CREATE TABLE household_languages (
	household {{.Text}} NOT NULL PRIMARY KEY CHECK (household <> ''),
	lang      {{.Text}} NOT NULL CHECK (lang <> ''),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL
){{.Strict}};

-- The school's own texts of a published syllabus in another language, as the
-- file that was kept. The latest counts. A version stays as it was published:
-- what is asked and decided is in its own text alone.
CREATE TABLE translations (
	number  {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	version {{.Text}} NOT NULL REFERENCES versions (id),
	lang    {{.Text}} NOT NULL CHECK (lang <> ''),
	body    {{.Text}} NOT NULL,
	hash    {{.Text}} NOT NULL CHECK (hash <> ''),
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX translations_version ON translations (version, lang, number);
{{.Refuse "UPDATE" "translations" ""}}
{{.Refuse "DELETE" "translations" ""}}
