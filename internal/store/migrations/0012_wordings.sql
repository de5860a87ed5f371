-- What the school says in its letters and messages. The latest of a kind and a
-- language counts; without a body the usual words hold again.
CREATE TABLE wordings (
	number  {{.Int}}  NOT NULL PRIMARY KEY CHECK (number > 0),
	kind    {{.Text}} NOT NULL CHECK (kind <> ''),
	lang    {{.Text}} NOT NULL CHECK (lang <> ''),
	subject {{.Text}} NOT NULL,
	body    {{.Text}} NOT NULL,
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX wordings_kind ON wordings (kind, lang, number);
{{.Refuse "UPDATE" "wordings" ""}}
{{.Refuse "DELETE" "wordings" ""}}
