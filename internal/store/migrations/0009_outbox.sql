-- Messages to families, each to one address or to be handed over. state says
-- how far it is: draft before a person's yes, then waits, sending, sent, dry,
-- unsure, refused, bounced, dropped; hand and handed for those without e-mail.
-- household is '' once nobody of it is on the roster any more.
CREATE TABLE outbox (
	id        {{.Text}} NOT NULL PRIMARY KEY CHECK (id <> ''),
	grading   {{.Text}} NOT NULL REFERENCES gradings (id),
	household {{.Text}} NOT NULL,
	batch     {{.Text}} NOT NULL CHECK (batch <> ''),
	kind      {{.Text}} NOT NULL CHECK (kind <> ''),
	about     {{.Text}} NOT NULL,
	lang      {{.Text}} NOT NULL CHECK (lang <> ''),
	channel   {{.Text}} NOT NULL CHECK (channel IN ('mail', 'paper', 'paste')),
	state     {{.Text}} NOT NULL CHECK (state IN ('draft', 'waits', 'sending', 'sent', 'dry', 'unsure', 'refused', 'bounced', 'dropped', 'hand', 'handed')),
	tries     {{.Int}}  NOT NULL,
	next_try  {{.Int}}  NOT NULL,
	answer    {{.Text}} NOT NULL,
	link      {{.Text}} NOT NULL,
	created   {{.Int}}  NOT NULL,
	said_by   {{.Text}} NOT NULL,
	agreed    {{.Int}}  NOT NULL,
	agreed_by {{.Text}} NOT NULL,
	began     {{.Int}}  NOT NULL,
	ended     {{.Int}}  NOT NULL
){{.Strict}};
CREATE INDEX outbox_grading ON outbox (grading, created, id);
CREATE INDEX outbox_state ON outbox (state, next_try, id);

-- The words of a message stand apart and are never changed; they go when a
-- child of the household is erased. Where a family's link belongs stands {link}:
-- what opens a page is not kept.
CREATE TABLE outbox_words (
	id      {{.Text}} NOT NULL PRIMARY KEY REFERENCES outbox (id) ON DELETE CASCADE,
	address {{.Text}} NOT NULL,
	subject {{.Text}} NOT NULL,
	body    {{.Text}} NOT NULL
){{.Strict}};
{{.Refuse "UPDATE" "outbox_words" ""}}

-- By which secret whoever got a message may end such messages, as hashes; each
-- try to send has its own.
CREATE TABLE outbox_stops (
	hash    {{.Text}} NOT NULL PRIMARY KEY CHECK (hash <> ''),
	message {{.Text}} NOT NULL REFERENCES outbox (id) ON DELETE CASCADE
){{.Strict}};

-- What is known of an address, by its hash: reminder and word where whoever
-- reads it wants no such messages, bounced where it does not work.
CREATE TABLE address_flags (
	address {{.Text}} NOT NULL CHECK (address <> ''),
	flag    {{.Text}} NOT NULL CHECK (flag IN ('reminder', 'word', 'bounced')),
	at      {{.Int}}  NOT NULL,
	PRIMARY KEY (address, flag)
){{.Strict}};

-- The households that want no e-mail.
CREATE TABLE households_by_hand (
	household {{.Text}} NOT NULL PRIMARY KEY CHECK (household <> ''),
	said_by   {{.Text}} NOT NULL,
	at        {{.Int}}  NOT NULL
){{.Strict}};
