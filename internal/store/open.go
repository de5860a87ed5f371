package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"modernc.org/sqlite"

	"rankwright"
)

// FileName is the name of the base in its directory.
const FileName = "rankwright.db"

// readerCount and peekerCount are how many readings may run at once. They are
// kept small: readers without bound starve the marks.
const (
	readerCount = 4
	peekerCount = 2
)

// Store is an open base. Its methods may be called from any goroutine.
type Store struct {
	path    string
	files   string // the folder of pictures and clips, "" where there is none
	used    *use   // of the file, nil once it is closed
	d       *dialect
	writer  *sql.DB // one connection
	readers *sql.DB
	peekers *sql.DB

	turn             chan struct{} // whoever has put something in it writes
	reading, peeking chan struct{}
	gather           gathering
	failed           atomic.Bool // the disk failed: nothing is written any more

	generation atomic.Uint64
	// for whoever has the turn: see Lasting
	lasting   map[string]any
	lastingOf uint64
	seen      int64 // of other programs' writing
}

func newStore(d *dialect) *Store {
	return &Store{d: d, turn: make(chan struct{}, 1), reading: make(chan struct{}, readerCount), peeking: make(chan struct{}, peekerCount)}
}

// Open opens the base at path, which is a directory or a file whose name ends
// in .db, and makes or migrates it where needed. It refuses a base that a
// newer program wrote, and a connection that does not have the settings on
// which an acknowledged mark rests.
func Open(ctx context.Context, path string) (*Store, error) {
	file, err := baseFile(path)
	if err != nil {
		return nil, err
	}
	// Where another program makes the same new base, or is the last to close
	// it, SQLite says for a moment that it is busy, without waiting.
	for patient := time.Now().Add(5 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		s, err := open(ctx, file)
		var f *rankwright.Fault
		if err == nil || !errors.As(err, &f) || f.Code != "busy" || time.Now().After(patient) || ctx.Err() != nil {
			return s, err
		}
	}
}

func open(ctx context.Context, file string) (_ *Store, err error) {
	used, err := inUse.begin(file)
	if err != nil {
		return nil, unwritable(file, err)
	}
	s := newStore(sqliteDialect)
	s.path, s.files, s.used = file, filepath.Join(filepath.Dir(file), filesDir), used
	if s.writer, err = openPool(ctx, dsn(file)+"&_query_only=0", 1); err != nil {
		s.Close()
		return nil, s.refuse(err)
	}
	if err := s.migrate(ctx, embedded()); err != nil {
		s.Close()
		return nil, s.refuse(err)
	}
	if s.readers, err = openPool(ctx, dsn(file)+"&_query_only=1", readerCount); err == nil {
		s.peekers, err = openPool(ctx, dsn(file)+"&_query_only=1", peekerCount)
	}
	if err != nil {
		s.Close()
		return nil, s.refuse(err)
	}
	return s, nil
}

// Close ends all connections and folds the write-ahead log into the base.
func (s *Store) Close() error {
	var errs []error
	for _, db := range []*sql.DB{s.readers, s.peekers, s.writer} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	inUse.end(s.used)
	s.used = nil
	return errors.Join(errs...)
}

// inUse counts the stores of this process by their files. Nothing else here
// opens a file that SQLite has open: POSIX takes away every lock that a process
// has on a file as soon as any part of it closes that file
// (sqlite.org/howtocorrupt.html, section 2.2), and then two may write at once.
var inUse uses

type uses struct {
	mu sync.Mutex
	of []*use
}

// use is a file that stores of this process have open, by whatever name.
type use struct {
	file   os.FileInfo
	stores int
}

// begin touches a file that no store of this process has open, and counts one
// more.
func (u *uses) begin(file string) (*use, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if at, err := os.Stat(file); err == nil {
		for _, o := range u.of {
			if os.SameFile(at, o.file) {
				o.stores++
				return o, nil
			}
		}
	}
	if err := touch(file); err != nil {
		return nil, err
	}
	at, err := os.Stat(file)
	if err != nil {
		return nil, err
	}
	o := &use{at, 1}
	u.of = append(u.of, o)
	return o, nil
}

// end counts one less; nil is none.
func (u *uses) end(o *use) {
	if o == nil {
		return
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	if o.stores--; o.stores == 0 {
		u.of = slices.DeleteFunc(u.of, func(other *use) bool { return other == o })
	}
}

// Path is the file of the base, "" where it is not a file.
func (s *Store) Path() string { return s.path }

// refuse names the base in an error of opening it.
func (s *Store) refuse(err error) error {
	err = s.d.fault(err)
	var f *rankwright.Fault
	if errors.As(err, &f) {
		named := *f
		if named.Where.File == "" {
			named.Where.File = s.path
		}
		return &named
	}
	return fmt.Errorf("open %s: %w", s.path, err)
}

func baseFile(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	info, err := os.Stat(path)
	switch {
	case err == nil && info.IsDir(), errors.Is(err, fs.ErrNotExist) && filepath.Ext(path) != ".db":
		return filepath.Join(path, FileName), nil
	case err == nil, errors.Is(err, fs.ErrNotExist):
		return path, nil
	}
	return "", err
}

// unwritable says what to do about a base that cannot be opened for writing.
func unwritable(file string, err error) error {
	var f *rankwright.Fault
	switch {
	case errors.Is(err, syscall.EROFS):
		f = rankwright.Faultf(rankwright.Unavailable, "read_only", "take the write protection off the disk, or copy the folder to another disk and name that one",
			"the disk with the base is read-only, and marks could not be kept there")
	case errors.Is(err, fs.ErrPermission):
		f = rankwright.Faultf(rankwright.Forbidden, "no_right", "give the person who starts this program the right to write in the folder and its files, or name another folder",
			"this program may not write the base")
	case errors.Is(err, syscall.ENOSPC):
		f = rankwright.Faultf(rankwright.Unavailable, "disk_full", "free some space, then start the program again", "the disk is full, and the base cannot be opened")
	default:
		return err
	}
	f.Where.File, f.Err = file, err
	return f
}

// touch makes the file, and its directory, so that nobody else on the machine
// can read it. SQLite gives its log the same rights.
func touch(file string) error {
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

// setting is a setting of a SQLite connection and the value that it must have.
type setting struct{ pragma, want, means string }

var settings = []setting{
	{"journal_mode", "wal", "WAL, so that reading and writing do not wait for each other"},
	{"synchronous", "2", "FULL, so that a saved mark outlives a power cut"},
	{"busy_timeout", "5000", "5000, so that one writer waits for another"},
	{"foreign_keys", "1", "on, so that no mark loses its entry"},
	{"recursive_triggers", "1", "on, so that a mark cannot be replaced"},
	{"secure_delete", "1", "on, so that an erased name leaves the disk"},
}

// leastSQLite is the first version without the WAL-reset bug, which can damage
// a base (sqlite.org/wal.html#walresetbug).
var leastSQLite = [3]int{3, 51, 3}

// dsn holds every setting: a PRAGMA by Exec would reach one connection of the
// pool only.
func dsn(file string) string {
	return address(file) + "?_journal_mode=WAL&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=1&_txlock=immediate&_dqs=0&_time_format=sqlite" +
		"&_pragma=secure_delete(1)&_pragma=recursive_triggers(1)&_pragma=journal_size_limit(67108864)" +
		// The log is folded into the base every 16 MB, not every 4: a page that
		// many marks touch is then written there a quarter as often.
		"&_pragma=wal_autocheckpoint(4000)"
}

// address names a file as SQLite wants it.
func address(file string) string {
	path := filepath.ToSlash(file)
	if !strings.HasPrefix(path, "/") { // C:/…
		path = "/" + path
	}
	return "file:" + (&url.URL{Path: path}).EscapedPath()
}

// openPool opens n connections at once and keeps them.
func openPool(ctx context.Context, dsn string, n int) (*sql.DB, error) {
	c, err := sqlite.NewConnector(dsn)
	if err != nil {
		return nil, err
	}
	db := sql.OpenDB(checked{c})
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	conns := make([]*sql.Conn, 0, n)
	for range n {
		var conn *sql.Conn
		if conn, err = db.Conn(ctx); err != nil {
			break
		}
		conns = append(conns, conn)
	}
	for _, conn := range conns {
		conn.Close()
	}
	if err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// checked hands out a connection only when it has all settings.
type checked struct{ driver.Connector }

// Connect implements driver.Connector.
func (c checked) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	if err := check(ctx, conn); err != nil {
		conn.Close()
		return nil, err
	}
	return &keeping{conn.(whole), map[string]*compiled{}}, nil
}

func check(ctx context.Context, conn driver.Conn) error {
	for _, s := range settings {
		got, err := ask(ctx, conn, "PRAGMA "+s.pragma)
		if err != nil {
			return err
		}
		if got != s.want {
			return rankwright.Faultf(rankwright.Internal, "wrong_setting", "keep the base on a local disk that this program may write to",
				"the setting %s of the base is %q and must be %s", s.pragma, got, s.means)
		}
	}
	version, err := ask(ctx, conn, "SELECT sqlite_version()")
	if err != nil {
		return err
	}
	if !atLeast(version, leastSQLite) {
		return rankwright.Faultf(rankwright.Internal, "old_sqlite", "build the program with a newer driver",
			"this program was built with SQLite %s, and 3.51.3 is the first that does not damage a base that is read and written at once", version)
	}
	return nil
}

func ask(ctx context.Context, conn driver.Conn, query string) (string, error) {
	rows, err := conn.(driver.QueryerContext).QueryContext(ctx, query, nil)
	if err != nil {
		return "", err
	}
	defer rows.Close()
	v := make([]driver.Value, len(rows.Columns()))
	if err := rows.Next(v); err != nil {
		return "", err
	}
	return fmt.Sprint(v[0]), nil
}

// atLeast compares a version such as 3.54.1; one that cannot be read is less.
func atLeast(version string, least [3]int) bool {
	parts := strings.SplitN(version, ".", 3)
	for i, want := range least {
		if i >= len(parts) {
			return false
		}
		got, err := strconv.Atoi(parts[i])
		if err != nil || got < want {
			return false
		}
		if got > want {
			return true
		}
	}
	return true
}
