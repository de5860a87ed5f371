package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"

	"rankwright"
)

// Files beside the base hold what is too large for it: pictures and short
// clips. Each is named by the hash of its bytes, so that it is never changed,
// only put there and removed, and that what is damaged is found.

// filesDir is the folder beside the base.
const filesDir = "pictures"

// staleAfter is how old a file is before it counts as left over.
const staleAfter = time.Hour

var fileName = regexp.MustCompile(`^[0-9a-f]{64}\.[a-z0-9]{2,5}$`)

// Staged is a file that has come in whole and has no name yet. It is put under
// its name by Tx.Settle; Drop removes it where that did not happen.
type Staged struct {
	File  string // the name that it will have
	Bytes int64
	tmp   string
}

// Drop removes what was not settled; after that it does nothing.
func (f *Staged) Drop() {
	if f != nil && f.tmp != "" {
		os.Remove(f.tmp)
	}
}

// Stage takes in a file of at most so many bytes, as it comes and not through
// memory. look may read it, and change bytes of it, before it is hashed; it
// returns the ending of its name, such as ".mp4". Of a file that is too large
// or refused, or for which there is no room, nothing stays.
func (s *Store) Stage(r io.Reader, most int64, look func(f *os.File, size int64) (ending string, err error)) (_ *Staged, err error) {
	if s.files == "" {
		return nil, rankwright.Faultf(rankwright.Conflict, "no_folder", "serve a base that lies in a folder", "this base has no folder for pictures and clips")
	}
	if err := os.MkdirAll(s.files, 0o700); err != nil {
		return nil, unkept(err)
	}
	f, err := os.CreateTemp(s.files, "coming-*.part") // readable by its owner only
	if err != nil {
		return nil, unkept(err)
	}
	staged := &Staged{tmp: f.Name()}
	defer func() {
		if cerr := f.Close(); err == nil {
			err = unkept(cerr)
		}
		if err != nil {
			os.Remove(staged.tmp)
		}
	}()
	if staged.Bytes, err = io.Copy(f, io.LimitReader(r, most+1)); err != nil {
		return nil, unkept(err)
	}
	if staged.Bytes > most {
		return nil, rankwright.Faultf(rankwright.TooLarge, "file_large", "make it shorter or smaller", "the file has more than %d MB", most>>20)
	}
	ending, err := look(f, staged.Bytes)
	if err != nil {
		return nil, err
	}
	sum := sha256.New()
	if _, err := io.Copy(sum, io.NewSectionReader(f, 0, staged.Bytes)); err != nil {
		return nil, unkept(err)
	}
	staged.File = hex.EncodeToString(sum.Sum(nil)) + ending
	if err := f.Sync(); err != nil {
		return nil, unkept(err)
	}
	return staged, nil
}

// Settle puts a staged file under its name, within the transaction that writes
// down who refers to it. Where that fails after all, the file is left over and
// goes with the next sweep.
func (t *Tx) Settle(f *Staged) error {
	if err := settle(f.tmp, filepath.Join(t.s.files, f.File)); err != nil {
		return unkept(err)
	}
	f.tmp = ""
	return nil
}

// unkept words what a disk says when it cannot keep a file.
func unkept(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		f := rankwright.Faultf(rankwright.Unavailable, "disk_full", "free some space there, then send it again", "the disk of the school's computer is full, and nothing of the file was kept")
		f.Err = err
		return f
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		f := rankwright.Faultf(rankwright.Unavailable, "read_only", "make its disk and folder writable again", "the folder of the pictures cannot be written, and nothing of the file was kept")
		f.Err = err
		return f
	}
	return err
}

// OpenFile opens a kept file for reading.
func (s *Store) OpenFile(name string) (*os.File, error) {
	if s.files == "" || !fileName.MatchString(name) {
		return nil, missing("file", name)
	}
	f, err := os.Open(filepath.Join(s.files, name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_file", "take it back and add it anew", "the file of this picture or clip is missing")
	}
	return f, err
}

// RemoveUnused removes the file of that name where no picture refers to it any
// more, and whatever an upload that was cut off left behind.
func (s *Store) RemoveUnused(ctx context.Context, name string) error {
	if s.files == "" {
		return nil
	}
	// A turn to write, so that nobody refers to it meanwhile.
	return s.Write(ctx, func(tx *Tx) error {
		used, err := tx.usedFiles()
		if err != nil {
			return err
		}
		found, err := os.ReadDir(s.files)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		removed := false
		for _, e := range found {
			n := e.Name()
			if !strings.HasSuffix(n, ".part") && !fileName.MatchString(n) || used[n] {
				continue
			}
			if n != name {
				info, err := e.Info()
				if err != nil || time.Since(info.ModTime()) < staleAfter {
					continue // it may be on its way
				}
			}
			if err := os.Remove(filepath.Join(s.files, n)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
			removed = true
		}
		if !removed {
			return nil
		}
		if err := syncFile(s.files, os.O_RDONLY); err != nil && !errors.Is(err, fs.ErrPermission) {
			return err
		}
		return nil
	})
}

// KeptFiles looks at every file to which a picture refers: how many are whole,
// and the names of those that are missing or not what was put there.
func (s *Store) KeptFiles(ctx context.Context) (whole int, wrong []string, err error) {
	var used map[string]bool
	if err := s.Read(ctx, func(tx *Tx) (err error) { used, err = tx.usedFiles(); return err }); err != nil {
		return 0, nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(used)) {
		ok, err := s.isWhole(name)
		if err != nil {
			return 0, nil, err
		}
		if ok {
			whole++
		} else {
			wrong = append(wrong, name)
		}
	}
	return whole, wrong, nil
}

func (s *Store) isWhole(name string) (bool, error) {
	f, err := s.OpenFile(name)
	if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return false, err
	}
	return hashPart(name) == hex.EncodeToString(sum.Sum(nil)), nil
}

// hashPart is the hash in a file's name.
func hashPart(name string) string {
	hash, _, _ := strings.Cut(name, ".")
	return hash
}
