package web_test

import (
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"
)

// What the second copy holds, as text; read through a page of the site. A file
// that is written while it is read cannot be read to its end, and is read anew.
const secondCopy = `(async () => {
	const folder = await (await navigator.storage.getDirectory()).getDirectoryHandle('rankwright-marks');
	for (let left = 50; ; left--) {
		try {
			let out = '';
			for await (const file of folder.values()) out += await (await file.getFile()).text();
			return out;
		} catch (e) {
			if (e.name !== 'NotReadableError' || !left) throw e;
			await new Promise((go) => setTimeout(go, 20));
		}
	}
	})()`

// The browser's own log loses what it had called kept, as it may after a power
// cut (docs/reliability.md): all of it, or its end together with how far the
// device had counted. The marks come back from the second copy under their own
// numbers, none is given again, and a file that was harmed loses only what was
// harmed.
func TestInTheBrowserMarksThatTheBrowsersLogLostComeBackFromTheSecondCopy(t *testing.T) {
	m := newMat(t)
	var away atomic.Bool
	away.Store(true)
	m.gatedTLS(t, deaf(&away, "/marks"))
	b := browser(t, untrusted)
	b.phone()
	b.onMat(m, m.mira.Name)
	says := func(n int, more string) {
		t.Helper()
		b.until(fmt.Sprintf(`document.getElementById('mat-saved').textContent.startsWith('%d marks not sent yet') && document.getElementById('mat-back').textContent.includes(%q)`, n, more))
	}
	leave := func() { t.Helper(); b.open(m.URL + "/static-is-not-here") } // of the same site, without our scripts
	b.tapAll("RE-ET1")
	says(6, "")
	b.until(`document.getElementById('mat-facts').textContent.includes('also in a second file')`)

	leave()
	if _, err := chromedp.Call(b.ctx, storage.ClearDataForOrigin, storage.ClearDataForOriginParams{Origin: m.URL, StorageTypes: "indexeddb"}); err != nil {
		t.Fatal(err)
	}
	b.open(m.URL + m.path("/marks/reed"))
	says(6, "6 marks were found in the second copy")
	if n := b.kept(); n != 6 {
		t.Errorf("%d marks were put back into the log, want 6", n)
	}

	eval[bool](b, findCell)
	for i := range 3 {
		b.tapCell(m.reed[i], "RE-ET1")
	}
	says(9, "")
	leave()
	if n := soon[int](b, `new Promise((done) => { indexedDB.open('rankwright').onsuccess = (e) => {
		const db = e.target.result, tx = db.transaction(['marks', 'own'], 'readwrite'), marks = tx.objectStore('marks'), own = tx.objectStore('own');
		marks.getAll().onsuccess = (r) => { for (const h of r.target.result.slice(-2)) marks.delete(h.mark.id) };
		own.get('device').onsuccess = (r) => { own.put({ ...r.target.result, seq: r.target.result.seq - 2, clock: r.target.result.clock - 2 }, 'device') };
		tx.oncomplete = () => { marks2(db) } } ; const marks2 = (db) => { db.transaction('marks').objectStore('marks').count().onsuccess = (r) => { db.close(); done(r.target.result) } } })`); n != 7 {
		t.Fatalf("the log has %d marks", n)
	}
	b.open(m.URL + m.path("/marks/reed"))
	says(9, "2 marks were found in the second copy")
	eval[bool](b, findCell)
	b.tapCell(m.reed[3], "RE-ET1")
	says(10, "")

	leave() // the file ends in zeros, and its first line has a bit turned
	soon[bool](b, `(async () => {
		const folder = await (await navigator.storage.getDirectory()).getDirectoryHandle('rankwright-marks');
		for await (const file of folder.values()) {
			const was = new Uint8Array(await (await file.getFile()).arrayBuffer());
			if (!was.length) continue;
			const is = new Uint8Array(was.length + 4096);
			is.set(was);
			is[20] ^= 4;
			const w = await file.createWritable();
			await w.write(is);
			await w.close();
		}
		return true })()`)
	b.open(m.URL + m.path("/marks/reed"))
	says(10, "in the second copy of the marks cannot be read")
	away.Store(false)
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(allSaved)
	numbers := map[string][]int64{}
	for _, l := range m.log(t) {
		numbers[string(l.Device)] = append(numbers[string(l.Device)], l.Seq)
	}
	total := 0
	for device, n := range numbers {
		slices.Sort(n)
		total += len(n)
		for i, seq := range n {
			if seq != int64(i+1) {
				t.Errorf("device %s gave the numbers %v", device, n)
				break
			}
		}
	}
	if total != 10 {
		t.Errorf("%d marks in the base, want 10", total)
	}
	for range 60 { // what was answered leaves the file
		if !strings.Contains(soon[string](b, secondCopy), "held") {
			return
		}
		soon[bool](b, `new Promise((done) => setTimeout(done, 100, true))`)
	}
	t.Errorf("the second copy still holds %q", soon[string](b, secondCopy))
}
