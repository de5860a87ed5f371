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

  /** since is the hour of the day at which the run began, for a page that is loaded again. */
  get since() { return this.wall() - this.elapsed(); }

  /** goOn takes up a run that began at an hour of the day: the clock of the day tells how long ago. */
  goOn(since) {
    this.start(this.now() - (this.wall() - since));
  }

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

// The longest run of which one may still believe that somebody holds the watch.
const LONG = 20 * 60_000;

/** plausible says whether a run that began at an hour of the day may still go on. */
export const plausible = (since, wall = Date.now()) => wall - since >= 0 && wall - since <= LONG;

/** ago puts into words how long ago an hour of the day was. */
export function ago(since, wall = Date.now()) {
  const min = Math.round((wall - since) / 60_000);
  if (min < 0) return 'at an hour that is still to come by this device’s clock';
  const [n, unit] = min < 100 ? [min, 'minute'] : min < 48 * 60 ? [Math.round(min / 60), 'hour'] : [Math.round(min / 1440), 'day'];
  return `${n} ${unit}${n === 1 ? '' : 's'} ago`;
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
