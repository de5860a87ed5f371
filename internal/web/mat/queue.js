// The marks that the server has not answered yet. A mark leaves the queue when
// the server says that it has it, and never otherwise: one that is refused
// stays with its reason until a person puts it aside. Nothing here touches the
// screen; send, keep, timers and chance are handed in.
//
// What is held: {v, person, name, grading, rank, mark, refused}, and done once
// the server has it.

const BATCH = 100;
const SHORTEST = 1000; // between two tries of a device that is in trouble, whoever asks for one
const SEEN = 60; // milliseconds after which one should see that a mark is not kept yet
const LONGEST = 5000; // so that a server that is back has all soon, also where no event tells of it

export class Queue {
  #all = new Map();
  #fresh = new Map(); // tapped, not kept yet
  #sending = false;
  #failed = 0;
  #timer = null;
  #tried = -Infinity;
  #answered = new Set(); // on this page
  #shut = new Set(); // gradings that take no marks now; asked again on kick

  /**
   * send(grading, marks) gives [{id, status, why}] or throws an error whose
   * kind is "net", "sign-in", "refused" or "busy" and that says what to tell.
   * answered(list) lets go of marks that the server has.
   */
  constructor({ keep, send, person, changed = () => {}, kept = () => {}, answered, chance = Math.random,
    later = (f, ms) => setTimeout(f, ms), never = (timer) => clearTimeout(timer), now = () => performance.now() }) {
    Object.assign(this, { keep, send, person, changed, kept, later, never, now, chance });
    this.answered = answered ?? ((list) => keep.remove(list.map((h) => h.mark.id)));
    this.trouble = null;
  }

  get held() { return [...this.#all.values()]; }
  get mine() { return this.held.filter((h) => h.person === this.person); }
  get waiting() { return this.mine.filter((h) => !h.refused); }
  get refused() { return this.mine.filter((h) => h.refused); }
  get others() { return this.held.filter((h) => h.person !== this.person); }
  get fresh() { return [...this.#fresh.values()]; }
  get keeping() { return this.#fresh.size; }
  get sending() { return this.#sending; }

  /**
   * load takes over what the device keeps, at first and when another page
   * changed it, and gives all of it.
   */
  async load() {
    const before = [...this.#all.keys()];
    const all = await this.keep.all();
    const ids = new Set(all.filter((h) => !h.done).map((h) => h.mark.id));
    const gone = all.whole === false ? [] : before.filter((id) => this.#all.has(id) && !ids.has(id)).map((id) => this.#all.get(id)); // another page has their answers
    for (const held of gone) this.#all.delete(held.mark.id);
    for (const held of all) {
      const id = held.mark.id;
      if (ids.has(id) && !this.#fresh.has(id) && !this.#answered.has(id)) this.#all.set(id, held);
    }
    this.changed([...gone, ...all]);
    return all;
  }

  /**
   * add takes marks in; it resolves when they are kept, before they are sent.
   * meanwhile() is called at once, when the disk is at it already. That they are
   * not kept yet is told only where that takes long: to show it, and then that
   * they are kept, takes longer than to keep them.
   */
  async add(list, meanwhile = () => {}) {
    for (const held of list) this.#fresh.set(held.mark.id, held);
    const kept = this.keep.add(list);
    meanwhile();
    const slow = this.later(() => this.changed(list), SEEN);
    await kept;
    this.never(slow);
    for (const held of list) {
      this.#fresh.delete(held.mark.id);
      this.#all.set(held.mark.id, held);
    }
    this.changed(list);
    this.kept(list);
    this.#shut.clear();
    this.flush();
  }

  /** again sends the refused ones once more. */
  async again() {
    const list = this.refused;
    for (const held of list) held.refused = '';
    this.changed(list);
    for (const held of list) await this.keep.put(held);
    this.kick();
  }

  /** aside lets a refused mark go, on a person's word. */
  async aside(id) {
    const held = this.#all.get(id);
    if (!held?.refused) return;
    this.#all.delete(id);
    this.#answered.add(id);
    await this.keep.remove([id]);
    this.changed([held]);
  }

  /** kick tries as soon as may be, whatever the wait was. */
  kick() {
    this.#failed = 0;
    this.#shut.clear();
    this.flush();
  }

  async flush() {
    if (this.#sending) return;
    this.never(this.#timer);
    const grading = this.waiting.find((h) => !this.#shut.has(h.grading))?.grading;
    if (grading === undefined) {
      if (!this.waiting.length) this.trouble = null;
      this.changed([]);
      return;
    }
    const rest = this.trouble ? this.#tried + SHORTEST - this.now() : 0;
    if (rest > 0) {
      this.#timer = this.later(() => this.flush(), rest);
      return;
    }
    this.#tried = this.now();
    this.#sending = true;
    this.changed([]);
    const batch = this.waiting.filter((h) => h.grading === grading).slice(0, BATCH);
    let done = [];
    let busy = false;
    try {
      done = await this.#settle(batch, await this.send(grading, batch.map((h) => h.mark)));
      this.#failed = 0;
      this.trouble = null;
    } catch (err) {
      busy = err.kind === 'busy'; // another page of this device sends now
      if (!busy) this.trouble = { kind: err.kind ?? 'net', say: err.say ?? '', do: err.do ?? '', ...(err.other ? { other: true } : {}) };
      if (err.kind === 'refused') this.#shut.add(grading);
      else if (!busy) this.#failed++;
    }
    this.#sending = false;
    this.changed(done);
    if (!this.waiting.length) return;
    if (busy) this.#timer = this.later(() => this.flush(), 500);
    else if (this.#failed) this.#timer = this.later(() => this.flush(), this.#pause());
    else this.flush();
  }

  // Doubling from two seconds, each wait shortened by chance to no less than
  // its half, so that many devices do not come back in step.
  #pause() {
    return Math.min(LONGEST, 2 * SHORTEST * 2 ** (this.#failed - 1)) * (0.5 + this.chance() / 2);
  }

  async #settle(batch, answers) {
    const by = new Map((Array.isArray(answers) ? answers : []).map((a) => [a.id, a]));
    const done = [];
    const stored = [];
    for (const held of batch) {
      const a = by.get(held.mark.id);
      if (a?.status === 'stored' || a?.status === 'double') {
        this.#all.delete(held.mark.id);
        this.#answered.add(held.mark.id);
        stored.push(held);
      } else if (a?.status === 'refused') {
        held.refused = a.why || 'the server gave no reason';
        await this.keep.put(held);
      } else {
        continue;
      }
      done.push(held);
    }
    if (stored.length) await this.answered(stored);
    if (!done.length) throw Object.assign(new Error('no answer for any mark'), { kind: 'net' });
    return done;
  }
}
