// The second copy of the marks that the server has not answered, in files
// outside IndexedDB; what stands in them and why: docs/mat.md. A page holds its
// two files alone while it lives, and looks after those that nobody holds.

const FOLDER = 'rankwright-marks';
const PAIRS = 8; // pages of one device at a time
const BUSY = 'busy';
const SLACK = 65536; // bytes that are needed no more, before the files are turned over

const RS = 0x1e;
const LF = 0x0a;
const HEAD = 9; // eight digits and a space

const table = Uint32Array.from({ length: 256 }, (_, n) => {
  for (let k = 0; k < 8; k++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
  return n;
});

/** crc32 of bytes (ISO 3309), as eight digits of base 16. */
export function crc32(bytes) {
  let c = ~0;
  for (const b of bytes) c = table[(c ^ b) & 0xff] ^ (c >>> 8);
  return (~c >>> 0).toString(16).padStart(8, '0');
}

const utf8 = new TextEncoder();
const text = new TextDecoder();

/** line is the bytes of {held: a mark}, {gone: [ids]} or {own: {name, seq, clock, last}}. */
export function line(what) {
  const body = utf8.encode(JSON.stringify(what));
  const out = new Uint8Array(body.length + HEAD + 2);
  out[0] = RS;
  out.set(utf8.encode(`${crc32(body)} `), 1);
  out.set(body, HEAD + 1);
  out[out.length - 1] = LF;
  return out;
}

/** lines gives {found: what is whole, in its order, damaged: how many places are not}. */
export function lines(bytes) {
  const found = [];
  let damaged = 0;
  for (let at = 0; at < bytes.length;) {
    let end = at;
    while (end < bytes.length && bytes[end] !== RS && bytes[end] !== LF) end++;
    if (end > at) {
      const what = whole(bytes.subarray(at, end));
      if (what) found.push(what);
      else damaged++;
    }
    at = end + 1;
  }
  return { found, damaged };
}

function whole(piece) {
  const body = piece.subarray(HEAD);
  if (text.decode(piece.subarray(0, HEAD)) !== `${crc32(body)} `) return null;
  try {
    return JSON.parse(text.decode(body));
  } catch {
    return null;
  }
}

export class Second {
  #files = []; // the one that is written, the other
  #end = 0;
  #strays = []; // of pages that ended
  #held = new Map(); // id to its line
  #own = new Map(); // by device
  #elsewhere = new Set(); // answered marks that another page's files may hold
  #live = 0; // bytes of what is held

  /** open takes files in a folder as navigator.storage.getDirectory() gives it, or throws. */
  static async open(root) {
    const me = new Second();
    const folder = await root.getDirectoryHandle(FOLDER, { create: true });
    const marks = new Map();
    const gone = new Set();
    let busy = false; // other pages hold theirs
    me.damaged = 0;
    for (let n = 0; n < PAIRS; n++) {
      const pair = await take(folder, n, !me.#files.length);
      if (pair === BUSY) busy = true;
      if (!pair || pair === BUSY) continue;
      for (const file of pair) {
        const { found, damaged } = lines(all(file));
        me.damaged += damaged;
        for (const { held, gone: ids, own } of found) {
          if (held?.mark?.id) marks.set(held.mark.id, held);
          for (const id of ids ?? []) gone.add(id);
          if (own) me.#counted(own);
        }
      }
      if (me.#files.length) me.#strays.push(...pair);
      else me.#files = pair.sort((a, b) => b.getSize() - a.getSize());
    }
    if (!me.#files.length) throw new Error('no files');
    if (busy) for (const id of gone) if (!marks.has(id)) me.#elsewhere.add(id);
    me.#end = me.#files[0].getSize();
    for (const held of marks.values()) {
      me.#count(held);
      if (!gone.has(held.mark.id)) me.#keep(held);
    }
    me.found = [...marks.values()].filter((held) => !gone.has(held.mark.id));
    return me;
  }

  /** own is how far devices have counted, [{name, seq, clock, last: by grading}]. */
  get own() { return [...this.#own.values()]; }
  get size() { return this.#held.size; }

  /** add has marks on the disk when it returns, or throws. */
  add(list) {
    for (const held of list) {
      this.#count(held);
      this.#keep(held);
    }
    this.#write(list.map((held) => this.#held.get(held.mark.id)));
    this.#files[0].flush();
  }

  /** gone are marks that are needed no more; lost with the power, they are sent again and are doubles. */
  gone(ids) {
    if (!ids.length) return;
    for (const id of ids) {
      if (!this.#held.has(id)) this.#elsewhere.add(id); // a tab may send what another one kept
      this.#live -= this.#held.get(id)?.length ?? 0;
      this.#held.delete(id);
    }
    this.#write([line({ gone: ids })]);
    if (this.#end > 2 * this.#live + SLACK) this.cut();
  }

  /** cut leaves nothing in the files but what is still needed. */
  cut() {
    const needed = [...[...this.#own.values()].map((own) => line({ own })), ...this.#held.values()];
    if (this.#elsewhere.size) needed.push(line({ gone: [...this.#elsewhere] }));
    const [now, next] = this.#files;
    if (next.getSize() > 0) { // from before a crash: what it has is here too before it is emptied
      this.#write(needed);
      now.flush();
    }
    next.truncate(0);
    this.#files = [next, now];
    this.#end = 0;
    this.#write(needed);
    next.flush();
    for (const file of [now, ...this.#strays]) {
      file.truncate(0);
      file.flush();
    }
    for (const file of this.#strays) file.close();
    this.#strays = [];
  }

  #write(parts) {
    const bytes = new Uint8Array(parts.reduce((n, p) => n + p.length, 0));
    let at = 0;
    for (const p of parts) {
      bytes.set(p, at);
      at += p.length;
    }
    if (this.#files[0].write(bytes, { at: this.#end }) < bytes.length) throw new Error('no room');
    this.#end += bytes.length;
  }

  #keep(held) {
    const text = line({ held });
    this.#live += text.length - (this.#held.get(held.mark.id)?.length ?? 0);
    this.#held.set(held.mark.id, text);
  }

  #count({ grading, mark: { device: name, seq, clock } }) { this.#counted({ name, seq, clock, last: { [grading]: seq } }); }

  #counted({ name, seq, clock, last }) {
    const own = this.#own.get(name) ?? { name, seq: 0, clock: 0, last: {} };
    this.#own.set(name, own);
    own.seq = Math.max(own.seq, seq);
    own.clock = Math.max(own.clock, clock);
    for (const [g, n] of Object.entries(last ?? {})) own.last[g] = Math.max(own.last[g] ?? 0, n);
  }
}

// The two files of a page, BUSY where another page holds them, null where there
// are none and none are to be made.
async function take(folder, n, create) {
  const out = [];
  try {
    for (const name of ['a', 'b']) out.push(await (await folder.getFileHandle(`${n}${name}`, { create })).createSyncAccessHandle());
    return out;
  } catch (err) {
    for (const file of out) file.close();
    if (err.name === 'NoModificationAllowedError') return BUSY;
    if (create) throw err;
    return null;
  }
}

function all(file) {
  const bytes = new Uint8Array(file.getSize());
  file.read(bytes, { at: 0 });
  return bytes;
}

// Only a worker may sync a file: there this script answers the page.

const IDLE = 3000; // milliseconds without a mark before the files are cleared of what is needed no more

if (globalThis.WorkerGlobalScope) {
  let second = null;
  let idle = null;
  const does = {
    async open() {
      second = await Second.open(await navigator.storage.getDirectory());
      return { found: second.found, own: second.own, damaged: second.damaged };
    },
    add: (list) => second.add(list),
    gone(ids) {
      second.gone(ids);
      clearTimeout(idle);
      if (!second.size) idle = setTimeout(() => { if (!second.size) second.cut(); }, IDLE);
    },
    cut: () => second.cut(),
  };

  let turn = Promise.resolve();
  onmessage = ({ data: { n, what, with: list } }) => {
    turn = turn.then(() => does[what](list)).then((value) => postMessage({ n, value }), (err) => postMessage({ n, err: String(err?.name ?? err) }));
  };
}
