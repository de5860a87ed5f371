package web

import (
	"crypto/rand"
	"sync"
	"time"

	"rankwright/internal/app"
)

// uploads keeps a chosen table between its preview and the yes, for half an
// hour and no more than a few at once; a restart forgets them, and the page
// then asks for the file again.
type uploads struct {
	mu   sync.Mutex
	list map[string]upload
	now  func() time.Time
}

type upload struct {
	person string
	im     app.Import
	at     time.Time
}

const (
	keepUploads = 16
	uploadStays = 30 * time.Minute
)

func newUploads() *uploads { return &uploads{list: map[string]upload{}, now: time.Now} }

// put keeps an import and returns the key under which its person finds it.
func (u *uploads) put(person string, im app.Import) string {
	u.mu.Lock()
	defer u.mu.Unlock()
	for k, x := range u.list {
		if u.now().Sub(x.at) > uploadStays {
			delete(u.list, k)
		}
	}
	for len(u.list) >= keepUploads {
		oldest := ""
		for k, x := range u.list {
			if oldest == "" || x.at.Before(u.list[oldest].at) {
				oldest = k
			}
		}
		delete(u.list, oldest)
	}
	key := rand.Text()
	u.list[key] = upload{person, im, u.now()}
	return key
}

func (u *uploads) get(person, key string) (app.Import, bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	x, ok := u.list[key]
	if !ok || x.person != person || u.now().Sub(x.at) > uploadStays {
		return app.Import{}, false
	}
	return x.im, true
}

func (u *uploads) drop(key string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	delete(u.list, key)
}
