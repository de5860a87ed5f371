// One run of the stopwatch. Nothing counts: a time is the difference of two
// readings, so a screen that was locked or a page that was slow changes
// nothing. The monotonic clock may stand still while a device sleeps; then the
// clock of the day tells the difference, and the run says so.

const SLEPT = 1500; // milliseconds by which the two clocks may differ

export class Run {
  constructor({ now = () => performance.now(), wall = () => Date.now() } = {}) {
    Object.assign(this, { now, wall });
    this.began = null;
    this.slept = 0;
  }

  get going() { return this.began !== null; }

  start(at = this.now()) {
    this.began = at;
    this.slept = 0;
    this.gap = this.wall() - this.now();
  }

  stop() { this.began = null; }

  /** elapsed is the milliseconds until a reading of the monotonic clock. */
  elapsed(at = this.now()) {
    const more = this.wall() - this.now() - this.gap;
    if (more > SLEPT) {
      this.slept += more;
      this.gap += more;
    } else if (more < -SLEPT) {
      this.gap += more; // somebody set the clock of the day back
    }
    return Math.max(0, at - this.began) + this.slept;
  }
}

/** seconds writes milliseconds as a mark has them: seconds, to the thousandth. */
export function seconds(ms) {
  const n = Math.max(1, Math.round(ms));
  return `${Math.floor(n / 1000)}.${String(n % 1000).padStart(3, '0')}`.replace(/\.?0+$/, '');
}

/** clockface writes milliseconds for the eye; it never shows more than has passed. */
export function clockface(ms, tenths) {
  const t = Math.floor(ms / 100);
  const min = Math.floor(t / 600);
  const sec = Math.floor((t % 600) / 10);
  const small = tenths ? `.${t % 10}` : '';
  return min ? `${min}:${String(sec).padStart(2, '0')}${small}` : `${sec}${small}`;
}
