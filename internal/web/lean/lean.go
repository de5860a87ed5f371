// Package lean serves scripts and style sheets without what only their readers
// need: comments, the room between words, and long names of what is known inside
// one function alone. They stay files of a name each, and functions and classes
// keep theirs, so that what a browser reports is found again.
package lean

import (
	"bytes"
	"io/fs"
	"path"
	"sync"
	"time"

	"github.com/tdewolff/minify/v2"
	"github.com/tdewolff/minify/v2/css"
	"github.com/tdewolff/minify/v2/js"
)

var kinds = map[string]string{".js": "text/javascript", ".css": "text/css"}

var small = sync.OnceValue(func() *minify.M {
	m := minify.New()
	m.Add(kinds[".js"], &js.Minifier{})
	m.Add(kinds[".css"], &css.Minifier{})
	return m
})

// FS gives files of which each script and each style sheet is lean. It is made
// so when it is first opened, once; one that cannot be read is left as it is.
func FS(files fs.FS) fs.FS { return &lean{files: files, made: map[string][]byte{}} }

type lean struct {
	files fs.FS
	mu    sync.Mutex
	made  map[string][]byte
}

// Open implements fs.FS.
func (l *lean) Open(name string) (fs.File, error) {
	kind := kinds[path.Ext(name)]
	if kind == "" {
		return l.files.Open(name)
	}
	b, err := l.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return &file{Reader: *bytes.NewReader(b), info: info{path.Base(name), int64(len(b))}}, nil
}

// ReadFile implements fs.ReadFileFS.
func (l *lean) ReadFile(name string) ([]byte, error) {
	kind := kinds[path.Ext(name)]
	if kind == "" {
		return fs.ReadFile(l.files, name)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if b, ok := l.made[name]; ok {
		return bytes.Clone(b), nil
	}
	b, err := fs.ReadFile(l.files, name)
	if err != nil {
		return nil, err
	}
	if less, err := small().Bytes(kind, b); err == nil {
		b = less
	}
	l.made[name] = b
	return bytes.Clone(b), nil
}

// ReadDir implements fs.ReadDirFS. The sizes that it tells are those of before.
func (l *lean) ReadDir(name string) ([]fs.DirEntry, error) { return fs.ReadDir(l.files, name) }

// file is a lean one; it can be sought in, as http.FileServerFS wants.
type file struct {
	bytes.Reader
	info info
}

func (f *file) Stat() (fs.FileInfo, error) { return f.info, nil }
func (f *file) Close() error               { return nil }

type info struct {
	name string
	size int64
}

func (i info) Name() string       { return i.name }
func (i info) Size() int64        { return i.size }
func (i info) Mode() fs.FileMode  { return 0o444 }
func (i info) ModTime() time.Time { return time.Time{} } // as embedded files have it
func (i info) IsDir() bool        { return false }
func (i info) Sys() any           { return nil }
