// The scoring page: puts the grid, the sheet, the stopwatch and the queue
// together, and says in words what is safe.

import { uuid7 } from './ids.js';
import { openLog } from './log.js';
import { keepIn } from './keep.js';
import { copyIn } from './copy.js';
import { Queue } from './queue.js';
import { sendMarks, sendWord, sendStop, onePage } from './send.js';
import { Beat } from './beat.js';
import { news, Stops } from './stops.js';
import { Halts } from './halt.js';
import { Grid } from './grid.js';
import { Sheet } from './sheet.js';
import { Watch } from './watch.js';
import { told, keeps, leave, lasts, stands, twice, putBack, clockOff } from './told.js';
import { habitsIn, buzz, stayOn, lastingStorage, reopening, keepToo, renewed, storage } from './device.js';

const root = document.getElementById('mat');
const page = root.dataset;
const local = storage();
const habits = habitsIn(local);
const status = document.getElementById('mat-status');
const trouble = document.getElementById('mat-trouble');
const station = document.getElementById('mat-station');
const keys = { undo: root.querySelector('[data-do="undo"]'), send: root.querySelector('[data-do="send"]') };
const others = 'BroadcastChannel' in globalThis ? new BroadcastChannel('rankwright') : null;
let facts = () => {}; // tells what holds on this device
const copy = copyIn({ failed: () => facts() });
const keep = keepIn({ open: openLog, copy, storage: local, clock: Number(page.clock) || 0, changed: () => others?.postMessage('changed') });
let grid = null;
let said = ''; // to readers
let calm = 0;
let reopens = false;
let out = false; // the session has ended, and what it kept is gone
let ended = null; // what the server told beat of a session that has ended
let stream = null;
let looked = false; // at what this device keeps: before that nothing is called saved
const device = {}; // what the browser gives: {lasts, on}
const before = []; // what the last taps changed, for undo
const given = new Map(); // what was tapped on this page, by mark
const ours = (h) => h.grading === page.grading && h.mark.examiner === page.as;

const queue = new Queue({
  keep, send: onePage((grading, marks) => sendMarks(grading, marks, { person: page.person, heard: clock })), person: page.person, changed: show,
  kept: () => { if (habits.get('buzz')) buzz(keep.where === 'memory'); },
  answered: (list) => (reopens ? keep.done(list) : keep.remove(list.map((h) => h.mark.id))),
});

// What this device says of itself, and what it hears.
const takes = (page.taken ?? '').split(' '); // states of a grading in which marks are taken
const beat = new Beat({
  tally: () => keep.tally(page.grading),
  report: (word) => sendWord(page.grading, word, { person: page.person }),
  heard(now) {
    ended = null;
    clock(now);
    grade(now);
    show([]);
    return takes.includes(now.state);
  },
  silent(err) {
    if (err.kind === 'sign-in' && !ended) {
      ended = err;
      show([]);
    }
  },
  hidden: () => document.hidden,
  online: () => navigator.onLine !== false,
});

const watch = root.querySelector('.mat-grid') && page.may === 'yes' ? startGrid() : null;
const stops = new Stops(root, () => {
  grid?.again();
  show([]);
});
let stopped = []; // who is stopped, as the server last said
const halts = new Halts({ keep, send: sendStop, changed: halted });
if (page.taken) halts.load();
load().then(() => {
  queue.kick();
  if (watch) takeUp(watch);
  if (!page.taken) return;
  beat.now();
  stream = news(page.grading, grade, { ended: () => beat.now() });
});
if (others) others.onmessage = () => load();
settings();
root.querySelector('.mat-squads [aria-current]')?.scrollIntoView({ block: 'nearest', inline: 'center' });

addEventListener('online', back);
document.addEventListener('visibilitychange', () => {
  if (document.hidden) return;
  load().then(() => queue.kick());
  if (page.taken) beat.now();
});
addEventListener('beforeunload', (e) => { if (queue.keeping || (keep.where === 'memory' && queue.waiting.length)) e.preventDefault(); });
document.addEventListener('click', (e) => {
  const seen = e.target.closest('[data-seen]')?.parentElement; // until it says something else
  if (seen) {
    seen.hidden = true;
    seen.dataset.seen = seen.querySelector('.notice-body').textContent;
    if (seen.id === 'mat-halt') halts.seen();
  }
  const b = e.target.closest('[data-do]');
  if (!b) return;
  if (b.dataset.do === 'send') queue.kick();
  if (b.dataset.do === 'again') queue.again();
  if (b.dataset.do === 'aside') aside(b.value);
  if (b.dataset.do === 'undo') undo();
  if (b.dataset.do === 'details') {
    grid.details = !grid.details;
    b.setAttribute('aria-pressed', String(grid.details));
    root.classList.toggle('mat-opening', grid.details);
  }
});

function back() {
  queue.kick();
  halts.kick();
  if (!page.taken) return;
  beat.now();
  stream?.again();
}

// How the grading stands: who is stopped, and whether marks are taken.
function grade(now) {
  stopped = now.stopped ?? [];
  stops.set(halts.with(page.grading, stopped));
  if (now.presence) stops.hear(now.presence);
  const [sheet, own] = (page.sheet ?? '').split('=');
  if (own && now.sheets && now.sheets[sheet] !== own) notice('mat-old', 'Students, squads or waivers were changed after this page was made. Open it again when you come to a pause.');
  notice('mat-moved', stands(now.state, takes.includes(now.state)));
}

// A stop of this page greys the column before the server has it.
function halted() {
  stops.set(halts.with(page.grading, stopped));
  const names = halts.waiting;
  const then = halts.trouble?.kind === 'sign-in' ? 'Sign in again; then it is sent by itself.' : 'It is sent by itself when the connection is back.';
  const say = names.length && halts.trouble ? [`The stop of ${names.join(' and ')} has not reached the school’s computer yet: call it out to the others. ${then}`] : [];
  for (const h of halts.refused) say.push(`The stop of ${h.name} was not taken: ${h.refused} Tell the head instructor.`);
  notice('mat-halt', say.join(' '));
}

function clock({ clock_off_ms: ms, clock: n }) {
  notice('mat-clock', clockOff(ms));
  if (n > keep.clock) keep.clock = n; // what is marked from now on comes after all that
}

function notice(id, text) {
  const box = document.getElementById(id);
  if (!box) return;
  box.hidden = !text || box.dataset.seen === text;
  write(box.querySelector('.notice-body'), text);
}

function startGrid() {
  const sheet = new Sheet(document.getElementById('mat-sheet'), {
    give,
    rest: (cell, value) => grid.rest(cell.button.closest('tr'), value),
    stop: ({ entry, name }) => child({ e: entry, name }),
  });
  const watch = new Watch(document.getElementById('mat-watch'), { give, habits, cells: (tr) => grid.of(tr), hold });
  grid = new Grid(root, { give, open: (cell) => sheet.open(cell, grid.finger), watch: (tr) => watch.open(tr), child, ready: () => looked });
  for (const b of root.querySelectorAll('[data-do]')) b.hidden = false;
  stations();
  return watch;
}

// An examiner who stands at a station has its rows alone, on this device and
// for this grading, until they choose another.
function stations() {
  if (!station) return;
  station.parentElement.hidden = false;
  const { grading, name } = habits.get('station') ?? {};
  const was = grading === page.grading && [...station.options].find((o) => o.text === name);
  if (was) was.selected = true;
  if (was?.value) at();
  station.addEventListener('change', () => {
    habits.set('station', { grading: page.grading, name: station.selectedOptions[0].text });
    at();
    show([]);
  });
}
function at() { grid.only(station.value.split(' ').filter(Boolean)); }

// The child of a column: the name whole, and the stop for safety.
const card = document.getElementById('mat-child');
function child({ e, name }) {
  card.dataset.e = e;
  const of = card.querySelector('[data-part="of"]');
  card.querySelector('h2').textContent = name;
  const head = root.querySelector(`.mat-grid th[data-e="${CSS.escape(e)}"]`);
  of.textContent = head.dataset.of ?? '';
  of.hidden = !of.textContent;
  card.querySelector('[data-part="stop"]').hidden = head.classList.contains('mat-away');
  card.querySelector('[data-part="is"]').hidden = head.dataset.stopped !== 'yes';
  card.showModal();
}
card?.addEventListener('click', (e) => {
  const b = e.target.closest('button');
  if (b?.value === 'stop') {
    halts.stop(page.grading, card.dataset.e, card.querySelector('h2').textContent);
    if (habits.get('buzz')) buzz(true);
  }
  if (b || e.target === card) card.close(); // a key, or the backdrop
});

// A run of the stopwatch belongs to one page at a time: a second tab of this
// device leaves it alone, where the browser has locks.
let holds = null; // lets the lock go
async function hold(run) {
  if (run && !holds) navigator.locks?.request('rankwright.watch', { ifAvailable: true }, (lock) => lock && new Promise((done) => { holds = done; }));
  if (!run) {
    holds?.();
    holds = null;
  }
  await keep.hold('watch', run && { ...run, grading: page.grading, person: page.person, as: page.as });
}

async function takeUp(watch) {
  const run = await keep.held('watch');
  if (!run || run.grading !== page.grading || run.person !== page.person || run.as !== page.as) return;
  // Another squad's run is not for this page; a squad of several ranks has the rows of each.
  const here = (tr, l) => grid.of(tr).some((c) => c.entry === l.entry && c.requirement === (l.requirement ?? run.requirement)); // what an older page kept has one for all
  const tr = grid.rows.find((row) => row.querySelector('.mat-time') && run.lanes.some((l) => here(row, l)) && run.lanes.every((l) => l.state !== 'on' || here(row, l)));
  if (!tr) return;
  for (let i = 0; i < 3; i++) { // the page before this one may be on its way out
    const locks = await navigator.locks?.query();
    if (!locks?.held.some((l) => l.name === 'rankwright.watch')) {
      watch.goOn(run, tr);
      return;
    }
    await new Promise((done) => { setTimeout(done, 200); });
  }
}

// What the device keeps, and what was tapped on this page, lies over the page
// that the server made, in the order in which it was given. A page that was
// kept is older than marks that the server has by now: those lie over it too.
async function load() {
  const kept = await queue.load();
  if (!looked) {
    looked = true;
    notice('mat-back', putBack(keep.back, keep.damaged));
    show([]);
  }
  if (!grid) return;
  const old = kept.filter((h) => h.done && included(h));
  const over = new Map(kept.filter((h) => ours(h) && h.person === page.person && !old.includes(h)).map((h) => [h.mark.id, h]));
  for (const h of given.values()) over.set(h.mark.id, h);
  const at = (h) => h.mark.clock ?? Infinity;
  for (const h of [...over.values()].sort((a, b) => at(a) - at(b))) grid.put(h.mark, held(h));
  show([]);
  grid.caught();
  if (!old.length) return;
  const own = old.filter((h) => h.grading === page.grading && h.person === page.person);
  await keep.remove(old.filter((h) => !own.includes(h)).map((h) => h.mark.id));
  // Another sheet with these children that the device keeps may be older than these.
  if (own.length) renewed(location.href).then((done) => done && keep.remove(own.map((h) => h.mark.id)));
}

// A page straight from the server has every mark that was answered before it
// was asked for.
function included(h) {
  if (!ours(h) || !grid.cells.has(`${h.mark.entry} ${h.mark.requirement}`)) return h.grading !== page.grading || h.person !== page.person;
  if (page.kept) return h.done < Number(page.kept);
  return h.done < performance.timeOrigin || h.done > Date.now();
}

function give(marks, forUndo = true) {
  const held = marks.map((m) => ({
    v: 1, person: page.person, name: page.name, grading: page.grading, rank: page.rank, refused: '',
    mark: { id: uuid7(), examiner: page.as, at: Date.now(), ...m },
  }));
  if (forUndo) {
    before.push(marks.map((m) => {
      const c = grid.cell(grid.cells.get(`${m.entry} ${m.requirement}`));
      return { ...m, value: c.values[m.try - 1] || 'x', note: c.note };
    }));
  }
  for (const h of held) {
    given.delete(`${h.mark.entry} ${h.mark.requirement} ${h.mark.try}`);
    given.set(`${h.mark.entry} ${h.mark.requirement} ${h.mark.try}`, h);
  }
  queue.add(held, () => { for (const h of held) grid.put(h.mark, 'new'); });
}

// What a refused mark had replaced is shown again.
async function aside(id) {
  const h = queue.refused.find((x) => x.mark.id === id);
  if (!h) return;
  const key = `${h.mark.entry} ${h.mark.requirement} ${h.mark.try}`;
  if (given.get(key)?.mark.id === id) given.delete(key);
  if (ours(h)) grid?.back(h.mark); // before it is no longer called refused, but safe
  await queue.aside(id);
  await load(); // what waits lies over it
}

function undo() {
  const last = before.pop();
  if (!last) return;
  give(last, false);
  if (station?.value && !station.value.split(' ').includes(grid.section(last[0].entry, last[0].requirement))) {
    station.value = ''; // what is taken back is seen
    at();
  }
  grid.look(last[0].entry, last[0].requirement, last.length > 1);
}

// What has become of a cell's marks, the worst first.
function held({ mark }) {
  const same = (h) => ours(h) && h.mark.entry === mark.entry && h.mark.requirement === mark.requirement;
  const rest = queue.mine.filter(same);
  if (rest.some((h) => h.refused)) return 'refused';
  if (queue.fresh.some(same)) return 'new';
  return rest.length ? 'waiting' : '';
}

function show(changed) {
  if (grid) {
    for (const h of changed) {
      if (ours(h)) grid.mark(h.mark.entry, h.mark.requirement, held(h));
    }
    set(keys.undo, 'aria-disabled', String(!before.length));
    const { given: n, asked } = grid.count();
    write(document.getElementById('mat-count'), `${n} of ${asked} marked`);
  }
  if (!looked && !ended && !queue.keeping && !queue.waiting.length) return;
  if (page.taken) beat.unsent(queue.waiting.length + queue.others.length + queue.keeping);
  const t = told({ ended, keeping: queue.keeping, waiting: queue.waiting.length, refused: queue.refused.length, sending: queue.sending, trouble: queue.trouble, where: keep.where, reopens });
  set(status, 'data-state', t.state);
  if (keys.send.hidden === t.wait) keys.send.hidden = !t.wait;
  document.getElementById('mat-door').hidden = t.state !== 'sign-in';
  // A reader hears each kind of news once, not every tap.
  clearTimeout(calm);
  calm = setTimeout(() => {
    if (t.text === said) return;
    said = t.text;
    document.getElementById('mat-say').textContent = t.text;
  }, t.state === 'sending' || t.state === 'keeping' ? 1500 : 400);
  write(document.getElementById('mat-saved'), t.text);
  safe();
  door(t.state === 'sign-in', (ended ?? queue.trouble)?.other);
  list();
}

// What is kept for a session that has ended is nobody's to read; what is kept
// for somebody who has signed in since is theirs.
function door(ended, other) {
  if (ended === out) return;
  out = ended;
  if (!out) return reopening(location.href).then((kept) => { reopens = kept; });
  reopens = false;
  if (!other) navigator.serviceWorker?.controller?.postMessage({ kind: 'forget' });
}

// What holds on this device, in words.
function safe() {
  const box = document.getElementById('mat-safe');
  if (!box) return;
  const text = `${keep.where === 'memory' ? keeps(keep.where) : `Marks are kept on this device until the school’s computer has them${keep.where === 'storage' ? ', though not against a flat battery' : ''}.`} ${leave(reopens)}`;
  write(box, text);
}

// What says the same already is not laid out again.
function write(box, text) { if (box.textContent !== text) box.textContent = text; }
function set(box, name, text) { if (box.getAttribute(name) !== text) box.setAttribute(name, text); }

async function settings() {
  const box = document.getElementById('mat-device');
  if (!box) return;
  const hand = () => { root.dataset.hand = habits.get('hand'); };
  hand();
  for (const r of box.querySelectorAll('[name="hand"]')) r.checked = r.value === habits.get('hand');
  box.querySelector('[name="buzz"]').checked = habits.get('buzz');
  box.addEventListener('change', (e) => {
    if (e.target.name === 'hand') habits.set('hand', e.target.value);
    if (e.target.name === 'buzz') habits.set('buzz', e.target.checked);
    hand();
  });
  facts = () => {
    const lines = [keep.where === 'memory' ? keeps('memory') : lasts(device.lasts), twice(copy.where), leave(reopens),
      device.on ? 'The screen stays on while this page is seen.' : 'The screen may turn off by itself; nothing is lost by it.'];
    document.getElementById('mat-facts').replaceChildren(...lines.map((text) => Object.assign(document.createElement('li'), { textContent: text })));
  };
  facts();
  stayOn((on) => { device.on = on; facts(); });
  lastingStorage().then((lasts) => { device.lasts = lasts; facts(); }); // some browsers ask the person first
  reopens = await reopening(location.href);
  facts();
  show([]);
  if (reopens && page.others) keepToo(page.others.split(' ').map((path) => new URL(path, location.href).href));
}

// Refused marks, and marks of somebody else on this device.
function list() {
  const refused = queue.refused;
  const waiting = queue.others;
  if (trouble.hidden && !refused.length && !waiting.length) return;
  trouble.hidden = !refused.length && !waiting.length;
  const box = trouble.querySelector('ul');
  box.replaceChildren(...refused.map((h) => {
    const li = document.createElement('li');
    const b = grid?.cells.get(`${h.mark.entry} ${h.mark.requirement}`);
    const c = b && grid.cell(b);
    li.append(`${c ? `${c.name}, ${c.show}` : h.mark.requirement}: ${h.mark.value}. Refused: ${h.refused}. `);
    const aside = Object.assign(document.createElement('button'), { type: 'button', className: 'button button-quiet', textContent: 'Put this mark aside', value: h.mark.id });
    aside.dataset.do = 'aside';
    li.append(aside);
    return li;
  }));
  for (const name of new Set(waiting.map((h) => h.name))) {
    const n = waiting.filter((h) => h.name === name).length;
    const li = document.createElement('li');
    li.textContent = `${n === 1 ? 'One mark' : `${n} marks`} by ${name} ${n === 1 ? 'waits' : 'wait'} on this device until ${name} signs in here.`;
    box.append(li);
  }
  trouble.querySelector('[data-do="again"]').hidden = !refused.length;
}
