-- How a child's name is said, for whoever reads it out.
ALTER TABLE students ADD COLUMN said {{.Text}} NOT NULL DEFAULT '';

-- What is put onto papers: the school's logo, the signature of a head
-- instructor (owner is the person), a font for a script that the program has
-- none for.
CREATE TABLE paper_files (
	kind  {{.Text}} NOT NULL CHECK (kind IN ('logo', 'signature', 'font')),
	owner {{.Text}} NOT NULL,
	name  {{.Text}} NOT NULL,
	media {{.Text}} NOT NULL,
	data  {{.Blob}} NOT NULL,
	hash  {{.Text}} NOT NULL CHECK (hash <> ''),
	at    {{.Int}}  NOT NULL,
	PRIMARY KEY (kind, owner)
){{.Strict}};

-- Belts and shirts: how many lie on the shelf, and how many are ordered and on
-- their way.
CREATE TABLE stock (
	kind   {{.Text}} NOT NULL CHECK (kind IN ('belt', 'shirt')),
	item   {{.Text}} NOT NULL,
	size   {{.Text}} NOT NULL,
	shelf  {{.Int}}  NOT NULL CHECK (shelf >= 0),
	coming {{.Int}}  NOT NULL CHECK (coming >= 0),
	PRIMARY KEY (kind, item, size)
){{.Strict}};

-- What an entry was given. There is one line for a kind, so that nothing is
-- handed out, and taken off the shelf, twice. taken is 1 where it came from the
-- shelf.
CREATE TABLE handed_out (
	entry   {{.Text}} NOT NULL REFERENCES entries (id) ON DELETE CASCADE,
	kind    {{.Text}} NOT NULL CHECK (kind IN ('belt', 'shirt')),
	item    {{.Text}} NOT NULL,
	size    {{.Text}} NOT NULL,
	taken   {{.Int}}  NOT NULL CHECK (taken IN (0, 1)),
	said_by {{.Text}} NOT NULL,
	at      {{.Int}}  NOT NULL,
	PRIMARY KEY (entry, kind)
){{.Strict}};
