import test from 'node:test';
import assert from 'node:assert/strict';
import { crc32, line, lines, Second } from '../second.js';
import { copyIn } from '../copy.js';
import { keepIn } from '../keep.js';

// Marsaglia's xorshift (2003), so that a failure can be seen again.
function dice(seed) {
  let x = seed;
  return (n) => {
    x ^= x << 13;
    x ^= x >>> 17;
    x ^= x << 5;
    return (x >>> 0) % n;
  };
}

const mark = (id, more = {}) => ({ v: 1, person: 'p', name: 'Mira', grading: 'g', rank: 'r', refused: '', mark: { id, device: 'd', seq: Number(id.slice(1)) || 0, clock: 1, value: '1', note: 'né \n ✎', ...more } });
const ids = (list) => list.map((h) => h.mark.id).sort();
const joined = (parts) => Uint8Array.from(parts.flatMap((p) => [...p]));

test('the checksum is the CRC-32 of ISO 3309', () => {
  assert.equal(crc32(new TextEncoder().encode('123456789')), 'cbf43926'); // the check value of the published catalogues
});

test('every whole line is read, whatever happened to its neighbours', () => {
  for (let seed = 1; seed <= 400; seed++) {
    const roll = dice(seed);
    const parts = Array.from({ length: 12 }, (_, i) => line({ held: mark(`m${i}`, { note: 'x'.repeat(roll(40)) }) }));
    const hurt = new Set();
    const bytes = joined(parts);
    const starts = parts.map((_, i) => parts.slice(0, i).reduce((n, p) => n + p.length, 0));
    const at = (i) => parts.findLastIndex((_, k) => starts[k] <= i);
    const kind = roll(3);
    let out = bytes;
    if (kind === 0) { // one bit
      const i = roll(bytes.length);
      bytes[i] ^= 1 << roll(8);
      hurt.add(at(i));
    } else if (kind === 1) { // zeros, as a file system leaves them
      const from = roll(bytes.length);
      const to = Math.min(bytes.length, from + 1 + roll(900));
      bytes.fill(0, from, to);
      for (let i = from; i < to; i++) hurt.add(at(i));
    } else { // torn, and written on behind the tear
      const end = roll(bytes.length);
      out = joined([bytes.subarray(0, end), line({ held: mark('m99') })]);
      for (let i = end; i < bytes.length; i++) hurt.add(at(i));
    }
    const { found, damaged } = lines(out);
    const want = parts.map((_, i) => `m${i}`).filter((_, i) => !hurt.has(i));
    const got = found.map((f) => f.held.mark.id);
    for (const id of want) assert.ok(got.includes(id), `seed ${seed}: ${id} is gone`);
    for (const f of found) if (f.held.mark.id !== 'm99') assert.equal(f.held.mark.note.replace(/x/g, ''), '', `seed ${seed}: a line that was hurt was believed`);
    if (kind === 2) assert.ok(got.includes('m99'), `seed ${seed}`);
    if (got.length < 12 && kind < 2) assert.ok(damaged > 0, `seed ${seed}: the damage has no name`);
  }
});

// A private file system with a power switch: what was not flushed may be there
// in part, or as zeros.
class Disk {
  constructor(syncs = true) { this.syncs = syncs; }
  files = new Map();
  folder = {
    getDirectoryHandle: async () => this.folder,
    getFileHandle: async (name, { create } = {}) => {
      if (!this.files.has(name)) {
        if (!create) throw Object.assign(new Error(), { name: 'NotFoundError' });
        this.files.set(name, { now: new Uint8Array(), safe: new Uint8Array(), busy: false });
      }
      return { createSyncAccessHandle: async () => this.#handle(this.files.get(name)) };
    },
  };
  room = Infinity;
  #handle(f) {
    if (f.busy) throw Object.assign(new Error(), { name: 'NoModificationAllowedError' });
    f.busy = true;
    return {
      getSize: () => f.now.length,
      read: (bytes) => { bytes.set(f.now); return f.now.length; },
      write: (bytes, { at }) => {
        const n = Math.min(bytes.length, this.room);
        const now = new Uint8Array(Math.max(f.now.length, at + n));
        now.set(f.now);
        now.set(bytes.subarray(0, n), at);
        f.now = now;
        return n;
      },
      truncate: (n) => { f.now = f.now.slice(0, n); },
      flush: () => { if (this.syncs) f.safe = f.now.slice(); },
      close: () => { f.busy = false; },
    };
  }
  cut(roll) {
    for (const f of this.files.values()) {
      f.busy = false;
      const kind = roll(3);
      if (kind === 0 || f.now.length < f.safe.length) f.now = f.safe.slice(); // nothing of it came through
      else if (kind === 1) f.now.fill(0, f.safe.length); // the length came through, the bytes did not
      else f.now = f.now.slice(0, f.safe.length + roll(f.now.length - f.safe.length + 1));
      f.safe = f.now.slice();
    }
  }
  end(of = '') { for (const [name, f] of this.files) if (name.startsWith(of)) f.busy = false; }
}

// What six lives of a device lose that it was told to keep.
async function lives(seeds, syncs) {
  const lost = [];
  for (let seed = 1; seed <= seeds; seed++) {
    const roll = dice(seed);
    const disk = new Disk(syncs);
    const needed = new Map();
    let n = 0;
    for (let life = 0; life < 6; life++) {
      const pages = [await Second.open(disk.folder)];
      const found = new Set(ids(pages[0].found));
      for (const id of needed.keys()) if (!found.has(id)) lost.push(`seed ${seed}, life ${life}: ${id} is gone`);
      if (n && pages[0].own[0]?.seq !== n) lost.push(`seed ${seed}: the device counted to ${n}, the copy says ${pages[0].own[0]?.seq}`);
      if (roll(4)) pages[0].cut();
      if (!roll(3)) pages.push(await Second.open(disk.folder)); // a second tab
      for (let step = roll(12); step > 0; step--) {
        const page = pages[roll(pages.length)];
        const kind = roll(5);
        if (kind < 3) {
          const list = Array.from({ length: 1 + roll(3) }, () => mark(`m${++n}`, { note: 'y'.repeat(roll(3) * 9000) }));
          page.add(list);
          for (const h of list) needed.set(h.mark.id, page);
        } else if (kind === 3) {
          const some = [...needed].filter(([, p]) => p === page && roll(2)).map(([id]) => id);
          page.gone(some);
          for (const id of some) needed.delete(id);
        } else {
          page.cut();
        }
      }
      if (roll(2)) disk.cut(roll);
      else disk.end();
      for (const id of needed.keys()) needed.set(id, null); // of the page that looks after them next
    }
  }
  return lost;
}

test('every mark that was added is there after any number of power cuts', async () => {
  assert.deepEqual(await lives(60, true), []);
});

test('a disk that does not write through is found out', async () => {
  assert.ok((await lives(5, false)).length > 0);
});

test('what is needed no more leaves the files, of pages that ended too', async () => {
  const disk = new Disk();
  const one = await Second.open(disk.folder);
  const two = await Second.open(disk.folder);
  one.add([mark('m1')]);
  two.add([mark('m2'), mark('m3')]);
  disk.end();
  const next = await Second.open(disk.folder);
  assert.deepEqual(ids(next.found), ['m1', 'm2', 'm3']);
  next.cut();
  next.gone(['m1', 'm2', 'm3']);
  next.cut();
  const text = [...disk.files.values()].map((f) => new TextDecoder().decode(f.now)).join('');
  assert.ok(!text.includes('"held"'), text);
  assert.deepEqual((await (disk.end(), Second.open(disk.folder))).own, [{ name: 'd', seq: 3, clock: 1, last: { g: 3 } }]);
});

test('what one tab kept and another one sent is not found again, in whatever order they end', async () => {
  const disk = new Disk();
  const one = await Second.open(disk.folder);
  one.add([mark('m1')]);
  const two = await Second.open(disk.folder);
  two.gone(['m1']);
  two.cut();
  disk.end('1'); // the second tab goes, and comes back while the first still holds its files
  const three = await Second.open(disk.folder);
  three.cut();
  disk.end();
  assert.deepEqual(ids((await Second.open(disk.folder)).found), []);
});

test('files that are written for long are turned over and stay small', async () => {
  const disk = new Disk();
  const one = await Second.open(disk.folder);
  one.add([mark('m1')]);
  for (let i = 2; i < 900; i++) {
    one.add([mark(`m${i}`)]);
    one.gone([`m${i}`]);
  }
  assert.ok([...disk.files.values()].every((f) => f.now.length < 80_000));
  disk.end();
  assert.deepEqual(ids((await Second.open(disk.folder)).found), ['m1']);
});

test('a disk without room says so', async () => {
  const disk = new Disk();
  const one = await Second.open(disk.folder);
  disk.room = 10;
  assert.throws(() => one.add([mark('m1')]), /no room/);
});

// A log as openLog gives one, of which a power cut can take marks.
function logOf() {
  const has = new Map();
  const own = { name: 'd', seq: 0, clock: 0, last: {} };
  return {
    has, own, open: true,
    all: async () => [...has.values()],
    add: async (list, clock, make, numbered) => {
      for (const h of list) {
        if (!h.mark.seq) Object.assign(h.mark, { device: own.name, seq: ++own.seq, clock: ++own.clock });
        has.set(h.mark.id, h);
      }
      numbered();
    },
    back: async (list, counted) => {
      for (const h of list) has.set(h.mark.id, h);
      for (const one of counted) own.seq = Math.max(own.seq, one.seq);
    },
    remove: async (list) => { for (const id of list) has.delete(id); },
  };
}

const copyOf = (over = {}) => ({ told: [], found: Promise.resolve({ found: [], own: [], damaged: 0 }), add: async () => true, gone() {}, cut() {}, ...over });

test('a mark counts as kept when both have it, and numbers that were lost are not given again', async () => {
  const log = logOf();
  let flushed = null;
  const seen = [];
  const keep = keepIn({ open: async () => log, copy: copyOf({
    found: Promise.resolve({ found: [mark('m7')], own: [{ name: 'd', seq: 7, clock: 7, last: {} }], damaged: 2 }),
    add: (list) => { seen.push(...list.map((h) => h.mark.seq)); return new Promise((go) => { flushed = go; }); },
  }) });
  assert.deepEqual(ids(await keep.all()), ['m7']);
  assert.deepEqual([keep.back, keep.damaged, log.own.seq], [1, 2, 7]);
  let kept = false;
  const adding = keep.add([mark('m', { seq: 0 })]).then(() => { kept = true; });
  await new Promise((go) => setImmediate(go));
  assert.deepEqual([kept, seen], [false, [8]]);
  flushed(true);
  await adding;
  assert.equal(keep.where, 'log');
});

test('what the server has answered is gone from the copy, also by way of another page', async () => {
  const log = logOf();
  const gone = [];
  const keep = keepIn({ open: async () => log, copy: copyOf({ gone: (list) => gone.push(...list) }) });
  await keep.all();
  await keep.add([mark('m1'), mark('m2'), mark('m3')]);
  await keep.remove(['m1']);
  log.has.delete('m2');
  await keep.all();
  assert.deepEqual(gone, ['m1', 'm2']);
});

test('marks of the copy are not lost where the log refuses', async () => {
  const keep = keepIn({ open: async () => { throw new Error('refused'); }, patience: 20, copy: copyOf({ found: Promise.resolve({ found: [mark('m1')], own: [], damaged: 0 }) }) });
  assert.deepEqual(ids(await keep.all()), ['m1']);
});

test('a worker that refuses, ends or hangs leaves the page without a copy, and says why', async () => {
  const worker = (answer) => ({ start: () => ({ terminate() {}, postMessage({ n, what }) { queueMicrotask(() => answer(this, n, what)); } }), can: true, patience: 20 });
  for (const [why, answer] of [
    ['QuotaExceededError', (w, n, what) => w.onmessage({ data: what === 'add' ? { n, err: 'QuotaExceededError' } : { n, value: null } })],
    ['the worker ended', (w) => w.onerror()],
    ['no answer', () => {}],
  ]) {
    let told = 0;
    const copy = copyIn({ ...worker(answer), failed: () => { told++; } });
    await copy.found;
    assert.equal(await copy.add([mark('m1')]), false);
    assert.deepEqual([copy.where, told], [why, 1]);
  }
  const none = copyIn({ can: false });
  assert.deepEqual([await none.found, await none.add([]), none.where], [null, false, 'no TLS']);
});
