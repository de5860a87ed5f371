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

/** Stops knows who is stopped, and greys their columns. */
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

  /**
   * hear takes who is here or away, {entry: presence}; who is missing in it is
   * expected, and counts as here until somebody of the sheet was checked in.
   */
  hear(presence) {
    if (!this.table) return;
    const heads = [...this.table.tHead.rows[0].querySelectorAll('th[data-e]')];
    const checked = heads.some((th) => !['', 'stopped'].includes(presence[th.dataset.e] ?? '')); // a stop checks nobody in
    let more = false;
    for (const th of heads) {
      if (this.#stopped.has(th.dataset.e) || th.dataset.stopped === 'yes') continue;
      const is = presence[th.dataset.e] ?? '';
      const away = is === 'absent' || is === 'unwell';
      const word = away ? is : !is && checked ? 'not here yet' : '';
      const box = th.querySelector('small');
      if ((box?.textContent ?? '') === word && th.classList.contains('mat-away') === away) continue;
      if (!box) th.append(document.createElement('small'));
      const at = th.cellIndex; // the page came with a column that cannot be tapped
      if (!away && th.classList.contains('mat-away') && !this.table.querySelector(`tr[data-q] > :nth-child(${at + 1}) > button`)) this.#announce(`${th.dataset.name} is here now. Open this page again to mark them.`);
      this.#look(th, away, word ? '' : 'yes', word);
      th.dataset.stopped = '';
      more = true;
    }
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
    const word = head.querySelector('small') ?? head.appendChild(document.createElement('small'));
    this.#stopped.set(e, { in: head.dataset.in, word: word.textContent });
    this.#look(head, true, '', 'stopped');
    this.#announce(`${head.dataset.name} is stopped for safety. Nothing more is asked today; what you marked so far is kept.`);
    globalThis.navigator?.vibrate?.([200, 100, 200]);
    return true;
  }

  #goOn(e) {
    const was = this.#stopped.get(e);
    const head = this.#head(e);
    this.#stopped.delete(e);
    if (was) this.#look(head, false, was.in, was.word);
    this.#announce(`The stop of ${head.dataset.name} was taken back.${was ? '' : ' Open this page again to mark them.'}`);
  }

  #look(head, away, here, word) {
    head.classList.toggle('mat-away', away);
    head.dataset.stopped = away ? 'yes' : '';
    head.dataset.in = here;
    head.querySelector('small').textContent = word;
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
