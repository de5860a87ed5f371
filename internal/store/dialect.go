package store

import (
	"database/sql"
	"errors"
	"fmt"

	"modernc.org/sqlite"

	"rankwright"
)

// words are what differs between the databases in the text of a migration.
type words struct {
	Text, Int, Blob, Strict, Begin string
	refusal                        string // a trigger: name, act, table, condition
}

// Refuse writes the trigger that refuses an act (UPDATE or DELETE) on the rows
// of a table that meet a condition on OLD; "" is every row.
func (w words) Refuse(act, table, when string) string {
	if when != "" {
		when = "WHEN (" + when + ") "
	}
	return fmt.Sprintf(w.refusal, table+"_keep_"+act, act, table, when)
}

// dialect is everything that differs between SQLite and PostgreSQL.
type dialect struct {
	words
	// alone begins a writing transaction so that no other one runs beside it;
	// "" where the driver does that.
	alone string
	// readLevel gives a reading transaction one unchanging view.
	readLevel sql.IsolationLevel
	// others counts what other connections have committed; "" where the
	// database does not tell.
	others string
	// tables counts the tables of the base.
	tables string
	class  func(error) class
}

// class is what a driver's error means, told by its code and never by its text.
type class uint8

const (
	other    class = iota
	taken          // a unique key is there already
	dangling       // a reference has no target, or the target is still needed
	kept           // a trigger keeps the row as it is
	unfit          // a CHECK, NOT NULL or type refuses the value
	busy           // somebody else holds the lock
	full           // no space left
	disk           // reading or writing the disk failed
	corrupt        // the file contradicts itself
	foreign        // no database
	readOnly       // it may be read and not written
)

var sqliteDialect = &dialect{
	words: words{
		Text: "TEXT", Int: "INTEGER", Blob: "BLOB", Strict: " STRICT",
		refusal: "CREATE TRIGGER %s BEFORE %s ON %s FOR EACH ROW %sBEGIN SELECT RAISE(ABORT, 'kept for ever'); END;",
	},
	others: dataVersion,
	tables: `SELECT count(*) FROM sqlite_master`,
	class:  sqliteClass,
}

// sqliteClass reads SQLite's result codes (sqlite.org/rescode.html): the low
// byte is the primary code, the whole the extended one.
func sqliteClass(err error) class {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return other
	}
	switch e.Code() {
	case 2067, 1555, 2579: // CONSTRAINT_UNIQUE, _PRIMARYKEY, _ROWID
		return taken
	case 787: // CONSTRAINT_FOREIGNKEY
		return dangling
	case 1811: // CONSTRAINT_TRIGGER
		return kept
	case 275, 1299, 3091: // CONSTRAINT_CHECK, _NOTNULL, _DATATYPE
		return unfit
	}
	if e.Code() == 4874 { // IOERR_SHMSIZE: the index of the log cannot grow; no page was written
		return full
	}
	switch e.Code() & 0xff {
	case 8: // READONLY
		return readOnly
	case 5, 6: // BUSY, LOCKED
		return busy
	case 13: // FULL
		return full
	case 10: // IOERR
		return disk
	case 11: // CORRUPT
		return corrupt
	case 26: // NOTADB
		return foreign
	}
	return other
}

// fault turns a driver's error into one for people where people can do
// something about it; anything else stays an internal error.
func (d *dialect) fault(err error) error {
	if err == nil {
		return nil
	}
	f := &rankwright.Fault{Kind: rankwright.Conflict, Err: err}
	switch d.class(err) {
	case taken:
		f.Code, f.Say, f.Do = "taken", "something of that name or number is there already", "reload the page and look at what is there"
	case dangling:
		f.Code, f.Say, f.Do = "in_use", "this belongs together with something that is missing, or that still needs it", "reload the page and look at what is there"
	case kept:
		f.Code, f.Say, f.Do = "kept", "what was written here is kept for ever and cannot be changed", "add a new one instead"
	case unfit:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Invalid, "unfit", "a value is missing or cannot be stored", "check what was typed in"
	case busy:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Unavailable, "busy", "the base is busy with something else", "try again in a moment"
	case full:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Unavailable, "disk_full", "the disk of the school's computer is full and this was not saved", "free some space there, then save again; marks stay on the devices until then"
	case disk:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Unavailable, "disk_failed", "the disk refused to keep what was written", "stop the program, check the disk, and start it again; marks stay on the devices until then"
	case readOnly:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Unavailable, "read_only", "the base is read-only and this was not saved", "make its disk and folder writable again; marks stay on the devices until then"
	case corrupt:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Invalid, "damaged", "the base is damaged", "keep the file, and restore the last backup that is whole"
	case foreign:
		f.Kind, f.Code, f.Say, f.Do = rankwright.Invalid, "not_a_base", "this is no base of this program", "name another file"
	default:
		return err
	}
	return f
}

// reword gives a fault of a code the sentence of the place where it arose.
func reword(err error, code string, to *rankwright.Fault) error {
	var f *rankwright.Fault
	if errors.As(err, &f) && f.Code == code {
		to.Err = f.Err
		return to
	}
	return err
}
