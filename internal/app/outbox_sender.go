package app

import (
	"context"
	"time"
)

// Letter is one message on its way to one address.
type Letter struct {
	// ID names the message for ever; the Message-ID is made of it and of
	// nothing that changes, so that a mail program drops a double.
	ID string
	To string // one address
	// From is the school's name; the address that goes with it is the server's.
	From    string
	Subject string
	// Text is plain text of short paragraphs with an empty line between.
	Text string
	Lang string // BCP 47
	Date time.Time
	// Stop is the address at which one click ends messages of this kind (RFC
	// 8058), "" where the family must know what it says. One-click needs https;
	// over http only the page for people can be named.
	Stop string
}

// Fate is what became of a letter.
type Fate string

const (
	Sent    Fate = "sent"    // the school's server has taken it
	Later   Fate = "later"   // refused for now, and surely not taken
	Refused Fate = "refused" // refused for good, and surely not taken
	Unsure  Fate = "unsure"  // nobody knows whether it was taken
)

// Delivery says what became of a letter, with the server's own words. They may
// hold the address.
type Delivery struct {
	Fate   Fate
	Answer string
	// Down says that it lies with the server and not with this letter, such as
	// when it cannot be reached or refuses the password: others would fare the
	// same. The fate is Later then.
	Down bool
}

// Sender hands letters to the school's mail server.
type Sender interface {
	// Check says what is wrong with an address, nil where it can be written to.
	Check(address string) error
	// Send tries once.
	Send(ctx context.Context, l Letter) Delivery
	// EML is the letter as a file that mail programs open.
	EML(l Letter) ([]byte, error)
	// Bounces reads what a mail server reported of letters, out of the file in
	// which a mail program saves it.
	Bounces(report []byte) ([]Bounce, error)
}

// Bounce is what a mail server reported of a letter afterwards.
type Bounce struct {
	ID         string // Letter.ID, or the Message-ID made of it
	Address    string // as the report names it; "" where it does not
	Permanent  bool
	Diagnostic string // the server's own words
}
