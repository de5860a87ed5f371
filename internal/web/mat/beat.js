// What this device says of itself while its grading is on the mat: how many
// marks it has not sent, and the highest number that it has given. The desk
// sees by it who is silent and what never came; the answer tells the page what
// it must know where no stream of news can be had. Nothing here touches the
// screen; report, tally, timers and chance are handed in.

const SEEN = 20_000; // milliseconds between two words of a page that is seen
const HIDDEN = 60_000; // the desk looks for a device after two minutes
const SOON = 700; // many taps are one word
const LONGEST = 300_000;

export class Beat {
  #timer = null;
  #busy = false;
  #soon = false;
  #failed = 0;
  #n = 0; // marks that are not sent
  #told = -1; // as the server heard last
  #due = 0; // when a word is due in any case
  #rest = false; // no marks are taken now

  /**
   * tally() gives [{device, seq, unsent}], report(one) the answer or an error
   * with a kind. heard(answer) says whether marks are taken now; silent(err)
   * hears why there was no answer.
   */
  constructor({ tally, report, heard, silent = () => {}, hidden = () => false, online = () => true, chance = Math.random,
    clock = () => performance.now(), later = (f, ms) => setTimeout(f, ms), never = (timer) => clearTimeout(timer) }) {
    Object.assign(this, { tally, report, heard, silent, hidden, online, chance, clock, later, never });
  }

  /** unsent hears how many marks wait. A change that lasts is told soon. */
  unsent(n) {
    const less = n < this.#n;
    this.#n = n;
    if (this.#failed && less) this.now(); // they were sent: the server is there
    else if (!this.#soon && !this.#failed && !this.#rest && n !== this.#told) {
      this.#soon = true;
      this.#next(SOON);
    }
  }

  /** now is for the beginning, a page that is seen again and a connection that is back. */
  now() {
    this.#failed = this.#due = 0;
    this.#next(0);
  }

  #next(ms) {
    this.never(this.#timer);
    this.#timer = this.later(() => this.#go(), ms);
  }

  // Shortened by chance, so that a room full of devices does not speak at once.
  #pause() {
    const each = this.#rest ? LONGEST : this.hidden() ? HIDDEN : SEEN;
    return Math.min(LONGEST, each * 2 ** this.#failed) * (this.#failed ? 0.5 + this.chance() / 2 : 0.9 + this.chance() / 10);
  }

  async #go() {
    if (this.#busy) return;
    this.#soon = false;
    const wait = this.#due - this.clock();
    if (wait > 0 && this.#n === this.#told) { // the change has passed
      this.#next(wait);
      return;
    }
    this.#busy = true;
    const online = this.online();
    try {
      if (online) {
        const n = this.#n;
        for (const one of await this.tally()) this.#rest = !this.heard(await this.report(one));
        this.#told = n;
        this.#failed = 0;
      }
    } catch (err) {
      this.#failed = Math.min(this.#failed + 1, 10);
      this.silent(err);
    }
    this.#busy = this.#soon = false; // what became of it meanwhile is asked below
    const pause = this.#pause();
    this.#due = this.clock() + pause;
    this.#next(pause);
    if (online) this.unsent(this.#n);
  }
}
