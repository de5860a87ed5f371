// A stop for safety that is made on this page. It greys the column at once, is
// kept on the device until the school's computer has it, and is sent by
// whoever is signed in: a stop does not wait for its examiner.

const NAME = 'halts';
const AGAIN = 3000; // milliseconds until it is tried once more

export class Halts {
  #list = []; // {grading, entry, name, refused: why it was}, the first first
  #sent = []; // that the server has, until its news say so too
  #busy = false;
  #timer = null;
  #writing = Promise.resolve();
  /** why the last one did not go: {kind, say, do} as of send.js, or null. */
  trouble = null;

  /** keep has hold and held, send(grading, entry) is sendStop, changed() hears of every change. */
  constructor({ keep, send, changed, later = (f, ms) => setTimeout(f, ms), never = (t) => clearTimeout(t) }) {
    Object.assign(this, { keep, send, changed, later, never });
  }

  async load() {
    this.#merge(await this.keep.held(NAME) ?? []);
    this.changed();
    this.kick();
  }

  /** stop resolves when the device keeps it. */
  async stop(grading, entry, name) {
    this.#merge([{ grading, entry, name }]);
    this.changed();
    const keeping = this.#write((kept) => [...kept, { grading, entry, name }]);
    this.kick();
    await keeping;
  }

  get #open() { return this.#list.filter((h) => !h.refused); }

  /** waiting are the names of those whose stop the school's computer does not have yet. */
  get waiting() { return this.#open.map((h) => h.name); }

  /** refused are the stops that were not taken, until a person has seen it. */
  get refused() { return this.#list.filter((h) => h.refused); }

  async seen() {
    this.#list = this.#open;
    this.changed();
    await this.#write((kept) => kept.filter((h) => !h.refused));
  }

  /** with gives the entries that are stopped: those that the server told of, and those that it will. */
  with(grading, told) {
    this.#sent = this.#sent.filter((h) => h.grading !== grading || !told.includes(h.entry));
    return [...new Set([...told, ...[...this.#open, ...this.#sent].filter((h) => h.grading === grading).map((h) => h.entry)])];
  }

  async kick() {
    this.never(this.#timer);
    if (this.#busy) return;
    this.#busy = true;
    while (this.#open.length) {
      const h = this.#open[0];
      try {
        await this.send(h.grading, h.entry);
        this.trouble = null;
        this.#sent.push(h);
        this.#list = this.#list.filter((x) => x !== h);
      } catch (err) {
        this.trouble = err;
        if (err.kind !== 'refused') break;
        h.refused = `${err.say} ${err.do}`;
      }
      await this.#write((kept) => [...kept.filter((x) => !same(x, h)), ...(h.refused ? [h] : [])]);
      this.changed();
    }
    this.#busy = false;
    if (this.#open.length) {
      this.changed();
      this.#timer = this.later(() => this.kick(), AGAIN);
    }
  }

  #merge(list) {
    for (const h of list) {
      const had = this.#list.find((x) => same(x, h));
      if (!had) this.#list.push(h);
      else if (!h.refused) had.refused = ''; // it is asked for once more
    }
  }

  // One after the other, and beside what another page of this device keeps.
  #write(of) {
    this.#writing = this.#writing.then(async () => {
      const out = [];
      for (const h of of(await this.keep.held(NAME) ?? [])) if (!out.some((x) => same(x, h))) out.push(h);
      await this.keep.hold(NAME, out.length ? out : undefined);
    });
    return this.#writing;
  }
}

const same = (a, b) => a.grading === b.grading && a.entry === b.entry;
