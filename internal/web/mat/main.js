// The scoring page: puts the grid, the sheet and the queue together, and says
// in words what is safe.

import { uuid7 } from './ids.js';
import { keepIn } from './keep.js';
import { Queue } from './queue.js';
import { sendMarks } from './send.js';
import { Grid } from './grid.js';
import { Sheet } from './sheet.js';
import { told } from './told.js';

const root = document.getElementById('mat');
const page = root.dataset;
const keep = keepIn(storage());
const status = document.getElementById('mat-status');
const trouble = document.getElementById('mat-trouble');
let clock = Number(page.clock) || 0;
let grid = null;
let said = ''; // to readers
let calm = 0;
const before = []; // what the last taps changed, for undo
const ours = (h) => h.grading === page.grading && h.mark.examiner === page.as;

const queue = new Queue({ keep, send: sendMarks, person: page.person, changed: show });

if (root.querySelector('.mat-grid') && page.may === 'yes') startGrid();
for (const h of queue.held) clock = Math.max(clock, h.mark.clock);
show(queue.mine);
queue.kick();

addEventListener('online', () => queue.kick());
document.addEventListener('visibilitychange', () => { if (!document.hidden) queue.kick(); });
addEventListener('beforeunload', (e) => { if (!keep.safe && queue.waiting.length) e.preventDefault(); });
document.addEventListener('click', (e) => {
  const b = e.target.closest('[data-do]');
  if (!b) return;
  if (b.dataset.do === 'send') queue.kick();
  if (b.dataset.do === 'again') queue.again();
  if (b.dataset.do === 'aside') queue.aside(b.value);
  if (b.dataset.do === 'undo') undo();
  if (b.dataset.do === 'details') {
    grid.details = !grid.details;
    b.setAttribute('aria-pressed', String(grid.details));
    root.classList.toggle('mat-opening', grid.details);
  }
});

function startGrid() {
  const sheet = new Sheet(document.getElementById('mat-sheet'), {
    give,
    rest: (cell, value) => grid.rest(cell.button.closest('tr'), value),
  });
  grid = new Grid(root, { give, open: (cell) => sheet.open(cell, grid.finger) });
  for (const h of queue.mine) {
    if (ours(h)) grid.put(h.mark, h.refused ? 'refused' : 'waiting');
  }
  for (const b of root.querySelectorAll('[data-do]')) b.hidden = false;
}

function give(marks, forUndo = true) {
  const held = marks.map((m) => ({
    v: 1, person: page.person, name: page.name, grading: page.grading, rank: page.rank, refused: '',
    mark: { id: uuid7(), ...numbered(), clock: ++clock, examiner: page.as, at: Date.now(), ...m },
  }));
  if (forUndo) {
    before.push(marks.map((m) => {
      const c = grid.cell(grid.cells.get(`${m.entry} ${m.requirement}`));
      return { ...m, value: c.values[m.try - 1] || 'x', note: c.note };
    }));
  }
  for (const h of held) grid.put(h.mark, 'waiting');
  queue.add(held);
}

function numbered() {
  const seq = keep.number(); // may change the device's name
  return { device: keep.device(), seq };
}

function undo() {
  const last = before.pop();
  if (!last) return;
  give(last, false);
  grid.cells.get(`${last[0].entry} ${last[0].requirement}`)?.focus({ preventScroll: last.length > 1 });
}

function show(changed) {
  if (grid) {
    for (const h of changed) {
      if (!ours(h)) continue;
      const rest = queue.mine.filter((o) => ours(o) && o.mark.entry === h.mark.entry && o.mark.requirement === h.mark.requirement);
      grid.mark(h.mark.entry, h.mark.requirement, rest.some((o) => o.refused) ? 'refused' : rest.length ? 'waiting' : '');
    }
    const undoing = root.querySelector('[data-do="undo"]');
    undoing.setAttribute('aria-disabled', String(!before.length));
    const { given, asked } = grid.count();
    document.getElementById('mat-count').textContent = `${given} of ${asked} marked`;
  }
  const t = told({ waiting: queue.waiting.length, refused: queue.refused.length, sending: queue.sending, trouble: queue.trouble, safe: keep.safe });
  status.dataset.state = t.state;
  root.querySelector('[data-do="send"]').hidden = !t.wait;
  document.getElementById('mat-door').hidden = t.state !== 'sign-in';
  // A reader hears each kind of news once, not every tap.
  clearTimeout(calm);
  calm = setTimeout(() => {
    if (t.text === said) return;
    said = t.text;
    document.getElementById('mat-say').textContent = t.text;
  }, t.state === 'sending' ? 1500 : 400);
  document.getElementById('mat-saved').textContent = t.text;
  list();
}

// Refused marks, and marks of somebody else on this device.
function list() {
  const refused = queue.refused;
  const others = queue.others;
  trouble.hidden = !refused.length && !others.length;
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
  for (const name of new Set(others.map((h) => h.name))) {
    const n = others.filter((h) => h.name === name).length;
    const li = document.createElement('li');
    li.textContent = `${n === 1 ? 'One mark' : `${n} marks`} by ${name} ${n === 1 ? 'waits' : 'wait'} on this device until ${name} signs in here.`;
    box.append(li);
  }
  trouble.querySelector('[data-do="again"]').hidden = !refused.length;
}

function storage() {
  try {
    const s = globalThis.localStorage;
    s.setItem('rankwright.try', '1');
    s.removeItem('rankwright.try');
    return s;
  } catch {
    return null;
  }
}
