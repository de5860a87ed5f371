package store

import (
	"context"
	"database/sql"
	"path/filepath"

	"modernc.org/sqlite"

	"rankwright"
)

// claimName is the file in a data folder that whoever serves the folder holds
// a lock on. It stays empty.
const claimName = "rankwright.serving"

// Claim is the right to serve a data folder, which one program has at a time:
// what a server keeps in its memory, such as pairing codes and what devices
// said of themselves, a second one would not know.
type Claim struct {
	db   *sql.DB
	conn *sql.Conn
}

// ClaimFolder takes the right to serve a folder, and refuses where another
// program has it. The lock is the system's own, taken by way of SQLite as it
// is on every system: it ends with the program however that ends, and a file
// that is left behind claims nothing. Commands that read, back up or import
// beside a server need no claim.
func ClaimFolder(ctx context.Context, dir string) (*Claim, error) {
	file, err := filepath.Abs(filepath.Join(dir, claimName))
	if err != nil {
		return nil, err
	}
	if err := touch(file); err != nil {
		return nil, unwritable(file, err)
	}
	c, err := sqlite.NewConnector(address(file) + "?_busy_timeout=0")
	if err != nil {
		return nil, err
	}
	claim := &Claim{db: sql.OpenDB(c)}
	if claim.conn, err = claim.db.Conn(ctx); err == nil {
		_, err = claim.conn.ExecContext(ctx, `BEGIN EXCLUSIVE`)
	}
	if err == nil {
		return claim, nil
	}
	claim.Release()
	if sqliteClass(err) == busy {
		f := rankwright.Faultf(rankwright.Conflict, "served_already", "use the pages of that program, or stop it first (Ctrl-C where it runs); for another school name another folder with --data",
			"another program serves the folder %s already", dir)
		f.Err = err
		return nil, f
	}
	return nil, sqliteDialect.fault(err)
}

// Release gives the right back.
func (c *Claim) Release() error {
	if c.conn != nil {
		_ = c.conn.Close() // the lock goes with the connection below
	}
	return c.db.Close()
}
