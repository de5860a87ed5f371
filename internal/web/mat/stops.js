// News of the grading on the scoring page, as server-sent events. A child who
// is stopped anywhere has their column greyed within seconds, and it is said
// aloud. Where the stream is refused, the answers of beat.js tell the same.

const FIRST = 1000;
const LONGEST = 60_000;

/**
 * news listens until the grading or the session has ended. It is closed while
 * the page is hidden, since browsers give a site few connections, and is tried
 * again with growing pauses: a browser by itself would ask every two seconds
 * for as long as the server is away.
 */
export function news(grading, heard, { ended = () => {}, Source = globalThis.EventSource, page = document, chance = Math.random, later = (f, ms) => setTimeout(f, ms), never = (t) => clearTimeout(t) } = {}) {
  let stream = null;
  let timer = null;
  let failed = 0;
  const shut = () => {
    never(timer);
    stream?.close();
    stream = null;
  };
  const open = () => {
    if (!Source || page.hidden) return;
    shut();
    const own = stream = new Source(`/gradings/${encodeURIComponent(grading)}/events`);
    stream.addEventListener('now', (e) => {
      failed = 0;
      heard(JSON.parse(e.data));
    });
    stream.addEventListener('ended', () => {
      shut();
      ended();
    });
    stream.addEventListener('error', () => {
      if (own !== stream) return;
      shut();
      timer = later(open, Math.min(LONGEST, FIRST * 2 ** failed++) * (0.5 + chance() / 2));
    });
  };
  page.addEventListener('visibilitychange', () => {
    failed = 0;
    if (page.hidden) shut();
    else open();
  });
  open();
  return {
    /** again is for a connection that is back. */
    again() {
      failed = 0;
      if (!stream || stream.readyState === 2) open();
    },
  };
}

/**
 * heads tells of each column {word, away, in} by who is here, as matHeads in Go
 * does; both are held to test/heads.json. Where nobody of the sheet has been
 * checked in, everybody who is expected counts as there; a stop checks nobody in.
 */
export function heads(presences) {
  const checked = presences.some((p) => p !== 'expected' && p !== 'stopped');
  return presences.map((p) => {
    const away = ['absent', 'unwell', 'stopped'].includes(p);
    const word = away ? p : p === 'expected' && checked ? 'not here yet' : '';
    return { word, away, in: word === '' };
  });
}

/** Stops knows who is stopped or away, and greys their columns. */
export class Stops {
  #stopped = new Map(); // by entry, what was there before; null where the page came with it

  /** changed() hears that columns are other than before. */
  constructor(root, changed = () => {}) {
    Object.assign(this, { root, changed });
    this.table = root.querySelector('.mat-grid');
  }

  /** set takes the entries that are stopped now; nobody else is. */
  set(entries) {
    if (!this.table) return;
    const before = this.#stopped.size;
    const back = [...this.#stopped.keys()].filter((e) => !entries.includes(e));
    const more = entries.filter((e) => !this.#stopped.has(e)).map((e) => this.#stop(e));
    for (const e of back) this.#goOn(e);
    if (back.length || more.includes(true) || this.#stopped.size !== before) this.changed();
  }

  /** hear takes who is here or away, {entry: presence}; who is missing in it is expected. */
  hear(presence) {
    if (!this.table) return;
    const columns = [...this.table.tHead.rows[0].querySelectorAll('th[data-e]')];
    const looks = heads(columns.map((th) => presence[th.dataset.e] ?? 'expected'));
    let more = false;
    columns.forEach((th, i) => {
      if (this.#stopped.has(th.dataset.e) || th.dataset.stopped === 'yes') return; // set does that
      const { word, away, in: here } = looks[i];
      const was = th.classList.contains('mat-away');
      if ((th.querySelector('small')?.textContent ?? '') === word && was === away) return;
      const tapped = this.table.querySelector(`tr[data-q] > :nth-child(${th.cellIndex + 1}) > button`);
      if (was && !away && !tapped) this.#announce(`${th.dataset.name} is here now. Open this page again to mark them.`); // it came as an away one
      this.#look(th, away, here ? 'yes' : '', word);
      more = true;
    });
    if (more) this.changed();
  }

  #head(e) { return this.table.tHead.querySelector(`th[data-e="${CSS.escape(e)}"]`); }

  #stop(e) {
    const head = this.#head(e);
    if (!head) return false; // of another rank
    if (head.classList.contains('mat-away')) {
      this.#stopped.set(e, null);
      return false;
    }
    this.#stopped.set(e, { in: head.dataset.in, word: head.querySelector('small')?.textContent ?? '' });
    this.#look(head, true, '', 'stopped');
    head.dataset.stopped = 'yes';
    this.#announce(`${head.dataset.name} is stopped for safety. Nothing more is asked today; what you marked so far is kept.`);
    globalThis.navigator?.vibrate?.([200, 100, 200]);
    return true;
  }

  #goOn(e) {
    const was = this.#stopped.get(e);
    const head = this.#head(e);
    this.#stopped.delete(e);
    if (was) {
      this.#look(head, false, was.in, was.word);
      head.dataset.stopped = '';
    }
    this.#announce(`The stop of ${head.dataset.name} was taken back.${was ? '' : ' Open this page again to mark them.'}`);
  }

  #look(head, away, here, word) {
    head.classList.toggle('mat-away', away);
    head.dataset.in = here;
    (head.querySelector('small') ?? head.appendChild(document.createElement('small'))).textContent = word;
    const at = head.cellIndex;
    for (const row of this.table.querySelectorAll('tr[data-q]')) row.cells[at]?.classList.toggle('mat-stopped', away);
  }

  // It stands in the bar, which grows over the grid: what comes by itself must
  // not move the cell under a finger.
  #announce(text) {
    if (!this.box) {
      this.box = Object.assign(document.createElement('div'), { className: 'notice notice-stop' });
      this.said = Object.assign(document.createElement('div'), { className: 'notice-body' });
      this.said.setAttribute('role', 'alert');
      const seen = Object.assign(document.createElement('button'), { type: 'button', className: 'button button-quiet', textContent: 'Seen' });
      seen.addEventListener('click', () => {
        this.box.remove();
        this.box = null;
      });
      this.box.append(this.said, seen);
      (document.getElementById('mat-news') ?? this.root).prepend(this.box);
    }
    this.said.append(Object.assign(document.createElement('p'), { className: 'notice-title', textContent: text }));
  }
}
