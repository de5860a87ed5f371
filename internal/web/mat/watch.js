// The shared stopwatch of a time requirement: one start for all, one tap for
// each child who finishes or lets go. Each tap is a mark at once, as on the
// grid; a false start takes back what the run had given. A run that goes on is
// kept on the device, so that a page that is loaded again takes it up.

import { isMark } from './face.js';
import { Run, seconds, clockface, plausible, ago } from './run.js';
import { plain } from './sheet.js';

export class Watch {
  /**
   * give(marks) as in the grid; cells(tr) are the cells of a row that can be
   * marked. hold(run) keeps a run that goes on, or drops it where it is undefined.
   */
  constructor(dialog, { give, cells, habits, hold = () => {}, run = new Run() }) {
    Object.assign(this, { dialog, give, cells, habits, hold, run });
    this.lanes = [];
    this.old = null; // a kept run that is too old to be believed
    this.#listen();
    document.addEventListener('visibilitychange', () => { if (!document.hidden && this.run.going) this.#tick(); });
  }

  #part(name) { return this.dialog.querySelector(`[data-part="${name}"]`); }

  // What another page needs to go on.
  #keep() {
    if (!this.run.going) {
      this.hold(undefined);
      return;
    }
    this.hold({
      since: this.run.since,
      lanes: this.lanes.map(({ entry, requirement, try: n, was, time, runs, state }) => ({ entry, requirement, try: n, was, time, runs, state })),
    });
  }

  /** goOn takes up a run that was kept, or asks first where it is too old. */
  goOn(kept, tr) {
    this.open(tr);
    this.old = plausible(kept.since) ? null : kept;
    if (this.old) {
      this.#say(`A run was started ${ago(kept.since)} and never stopped. It is dropped unless you go on with it.`);
      this.#paint();
    } else {
      this.#takeUp(kept);
    }
  }

  #takeUp(kept) {
    this.old = null;
    for (const lane of this.lanes) Object.assign(lane, kept.lanes.find((l) => l.entry === lane.entry));
    this.run.goOn(kept.since);
    this.again = true;
    this.#paint();
    if (!this.lanes.some((l) => l.state === 'on')) this.#end();
  }

  #drop() {
    this.old = null;
    this.#say('Dropped. Times that were taken in it stay as marks.');
    this.#keep();
    this.#paint();
  }

  open(tr) {
    this.row = tr;
    this.again = false;
    const all = this.cells(tr).filter((c) => c.here);
    this.race = tr.dataset.atmost === 'yes';
    this.#part('title').textContent = tr.dataset.show;
    this.#part('how').textContent = this.race ? 'Tap each child as they finish.' : 'Tap each child as they let go.';
    this.lanes = all.map((c) => {
      const free = c.values.findIndex((v) => !isMark(v));
      const at = free < 0 ? c.values.length : free + 1;
      return { entry: c.entry, requirement: c.requirement, name: c.name, note: c.note, expect: c.expect, tries: c.values.length, try: at, was: c.values[at - 1] || 'x', time: free < 0 ? c.values[at - 1] : '', runs: free >= 0, state: '' };
    });
    this.#part('lanes').replaceChildren(...this.lanes.map((lane, i) => this.#lane(lane, i)));
    this.last = 0;
    this.run.slept = 0;
    this.#say('');
    this.#paint();
    this.dialog.showModal();
    this.dialog.querySelector('[data-watch="start"]').focus();
  }

  #lane(lane, i) {
    const li = document.createElement('li');
    lane.button = Object.assign(document.createElement('button'), { type: 'button', className: 'button mat-lane', value: String(i) });
    lane.button.append(...['b', 'span', 'small'].map((tag) => document.createElement(tag)));
    li.append(lane.button);
    if (this.race) {
      lane.out = Object.assign(document.createElement('button'), { type: 'button', className: 'button button-quiet', textContent: 'Gave up', value: String(i) });
      lane.out.dataset.watch = 'out';
      lane.out.setAttribute('aria-label', `${lane.name} gave up`);
      li.append(lane.out);
    }
    return li;
  }

  // A lane is running, finished, or left out; before a run, a tap chooses.
  #paint() {
    const going = this.run.going;
    const left = this.lanes.filter((l) => l.state === 'on').length;
    this.lanes.forEach((lane, i) => {
      const [name, time, word] = lane.button.children;
      name.textContent = i < 9 ? `${i + 1} ${lane.name}` : lane.name;
      time.textContent = lane.time ? `${lane.time} s` : lane.state === 'on' ? '…' : '–';
      word.textContent = lane.state === 'on' ? (this.race ? 'running' : 'holding') : lane.state === 'out' ? 'gave up: no time' : lane.state === 'set' ? 'set; tap to take back'
        : going ? 'not in this run' : lane.runs ? (lane.try > 1 ? `runs, try ${lane.try}` : 'runs') : lane.time ? 'has a time; tap to do it again' : 'does not run';
      if (!going && lane.state !== 'on' && lane.state !== '') word.textContent = lane.runs ? 'runs again' : lane.state === 'out' ? 'gave up: no time' : 'set; tap to do it again';
      lane.button.dataset.state = lane.state;
      lane.button.setAttribute('aria-pressed', String(going ? lane.state === 'set' : lane.runs));
      lane.button.setAttribute('aria-disabled', String(going && lane.state === ''));
      if (lane.out) lane.out.hidden = lane.state !== 'on';
    });
    const key = (name) => this.dialog.querySelector(`[data-watch="${name}"]`);
    for (const name of ['drop', 'go-on']) key(name).hidden = !this.old;
    key('start').hidden = going || !!this.old;
    key('start').setAttribute('aria-disabled', String(!this.lanes.some((l) => l.runs)));
    key('start').textContent = this.lanes.some((l) => l.state) ? 'Start again' : 'Start all';
    key('stop').hidden = !going;
    key('stop').textContent = this.race ? 'Stop: the rest gave up' : `Stop: ${left} still hold`;
    key('false').hidden = !going && !this.lanes.some((l) => l.state === 'set' || l.state === 'out');
    key('tenths').textContent = this.habits.get('tenths') ? 'Whole seconds' : 'Tenths too';
    this.#tick();
  }

  #tick() {
    cancelAnimationFrame(this.frame);
    const going = this.run.going;
    const ms = going ? this.run.elapsed() : this.last ?? 0;
    this.#part('clock').textContent = clockface(ms, this.habits.get('tenths'));
    if (going && this.again) this.#say('This page was closed while the run went on; the time comes from the device’s clock. Check it.');
    else if (this.run.slept) this.#say(`This device slept for about ${Math.round(this.run.slept / 1000)} s; the time was taken from its clock. Check it.`);
    if (going && this.dialog.open) this.frame = requestAnimationFrame(() => this.#tick());
  }

  #say(text) { if (this.#part('say').textContent !== text) this.#part('say').textContent = text; }

  #start(at) {
    const chosen = this.lanes.filter((l) => l.runs);
    if (!chosen.length) return;
    for (const lane of this.lanes) {
      if (!lane.runs) {
        lane.state = '';
        continue;
      }
      if (lane.time && lane.try < lane.tries) { // the next try, also where others ran in between
        lane.try++;
        lane.was = 'x';
      } else if (lane.time) {
        lane.was = plain(lane.time);
      }
      lane.time = '';
      lane.state = 'on';
    }
    this.run.start(at);
    this.again = false;
    this.#say('');
    this.#keep();
    this.#paint();
    chosen[0].button.focus(); // the key that started is gone
  }

  #finish(lanes, at) {
    const value = seconds(this.run.elapsed(at));
    for (const lane of lanes) Object.assign(lane, { time: value, state: 'set', runs: false });
    if (lanes.length) this.give(lanes.map((l) => this.#mark(l, value)));
    this.#end(at);
  }

  #end(at) {
    if (!this.lanes.some((l) => l.state === 'on')) {
      this.last = this.run.elapsed(at);
      this.run.stop();
      this.again = false;
      const out = this.lanes.filter((l) => l.state === 'out').map((l) => l.name);
      this.#say(out.length ? `${out.join(', ')}: no time. Let them try again, or mark them by hand.` : 'Everybody has a time.');
    }
    this.#keep();
    this.#paint();
    this.#focus();
  }

  // What had the focus may be gone; the keys must still reach the stopwatch.
  #focus() {
    if (!this.dialog.contains(document.activeElement)) this.dialog.querySelector('[data-watch="start"]:not([hidden]), .mat-lane')?.focus();
  }

  #mark(lane, value) { return { entry: lane.entry, requirement: lane.requirement, try: lane.try, value, note: lane.note }; }

  #out(lane, at) {
    Object.assign(lane, { state: 'out', time: '', runs: true });
    this.#end(at);
  }

  // A false start: what this run gave goes back to what was there before.
  #false() {
    const set = this.lanes.filter((l) => l.state === 'set');
    if (set.length) this.give(set.map((l) => this.#mark(l, l.was)));
    for (const lane of this.lanes) {
      if (lane.state) Object.assign(lane, { state: '', time: isMark(lane.was) ? lane.was : '', runs: true });
    }
    this.run.stop();
    this.last = 0;
    this.#keep();
    this.#say('False start: nothing counts. Start again when they are ready.');
    this.#paint();
    this.#focus();
  }

  #tap(lane, at) {
    if (!this.run.going) {
      lane.runs = !lane.runs;
    } else if (lane.state === 'on') {
      this.#finish([lane], at);
      return;
    } else if (lane.state === 'set') {
      this.give([this.#mark(lane, lane.was)]); // a slip: they still run
      Object.assign(lane, { state: 'on', time: '', runs: true });
    } else if (lane.state === 'out') {
      lane.state = 'on';
    }
    if (this.run.going) this.#keep();
    this.#paint();
  }

  #do(what, at) {
    if (what === 'start') this.#start(at);
    if (what === 'stop' && !this.race) this.#finish(this.lanes.filter((l) => l.state === 'on'), at);
    if (what === 'stop' && this.race) {
      for (const l of this.lanes) if (l.state === 'on') Object.assign(l, { state: 'out', runs: true });
      this.#end(at);
    }
    if (what === 'false') this.#false();
    if (what === 'drop') this.#drop();
    if (what === 'go-on') this.#takeUp(this.old);
    if (what === 'tenths') {
      this.habits.set('tenths', !this.habits.get('tenths'));
      this.#paint();
    }
    if (what === 'close') this.#close();
  }

  #close() {
    if (this.run.going) {
      this.again = false;
      this.#say('Still running: stop it first, or say that it was a false start.');
      return;
    }
    if (this.old) this.#drop();
    this.dialog.close();
  }

  #listen() {
    // A finger counts when it comes down, as a thumb on a stopwatch does.
    let down = null;
    this.dialog.addEventListener('pointerdown', (e) => {
      const b = e.target.closest('.mat-lane');
      if (!b || !this.run.going || e.button) return;
      down = b;
      this.#tap(this.lanes[Number(b.value)], e.timeStamp);
    });
    this.dialog.addEventListener('click', (e) => {
      const b = e.target.closest('button');
      if (!b) return;
      if (b.dataset.watch === 'out') this.#out(this.lanes[Number(b.value)], e.timeStamp);
      else if (b.dataset.watch) this.#do(b.dataset.watch, e.timeStamp);
      else if (b.matches('.mat-lane') && b !== down) this.#tap(this.lanes[Number(b.value)], e.timeStamp);
      down = null;
    });
    this.dialog.addEventListener('cancel', (e) => {
      e.preventDefault();
      this.#close();
    });
    this.dialog.addEventListener('keydown', (e) => {
      down = null;
      if (e.repeat || e.altKey || e.ctrlKey || e.metaKey) return;
      const lane = /^[1-9]$/.test(e.key) && this.lanes[Number(e.key) - 1];
      if (lane) this.#tap(lane, e.timeStamp);
      else if (e.key === 'f' && this.run.going) this.#false();
    });
  }
}
