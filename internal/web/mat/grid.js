// The grid on the screen. The page that the server rendered is the state it
// starts from; every tap gives marks, and what is not sent yet lies over it.

import { face, isMark } from './face.js';

// With more columns than these, those far from the screen are left out.
const MANY = 40;
const STEP = 8; // columns that are taken in or out at a time

const HOLD = 550; // milliseconds after which a finger means to open the cell
const STRAY = 10; // pixels that a finger may move and still tap

// What is extra, or of another station, is not among the marks that are missing.
const counts = (tr) => tr.dataset.extra !== 'yes' && !tr.parentElement.hidden;

// What a button is for: in a squad of several ranks not always what its row is called by.
const asks = (b, tr) => b.dataset.q ?? tr.dataset.q;

// What a button has: values, note, and whether a mark was corrected.
const stand = ({ dataset: { v = '', n = '', corrected = '' } }) => ({ v, n, corrected });

export class Grid {
  /** give(marks) gets [{entry, requirement, try, value, note}] of one tap; child({e, name}) opens a child. */
  constructor(root, { give, open, watch, child, ready = () => true }) {
    this.root = root;
    this.table = root.querySelector('.mat-grid');
    this.columns = [...this.table.tHead.rows[0].querySelectorAll('th[data-e]')].map((th) => th.dataset);
    this.cells = new Map();
    this.places = new Map(); // of each button: its row and its column
    this.had = new Map();
    this.sure = new Map(); // of each button: its values, note and correction as they were last safe
    this.given = new Set();
    this.left = new Map(); // of each row: the buttons of those who are here and have no mark
    this.changed = new Set();
    this.unseen = new Set(); // buttons that do not show yet what they have
    this.asked = 0;
    this.rows = [...this.table.querySelectorAll('tr[data-q]')];
    for (const tr of this.rows) {
      this.left.set(tr, new Set());
      let n = -1;
      for (const box of tr.children) { // not by cellIndex, which counts from the first cell each time
        const column = this.columns[n++];
        const b = column && box.querySelector('button.tap');
        if (!b) continue;
        this.places.set(b, { tr, column, n });
        this.cells.set(`${column.e} ${asks(b, tr)}`, b);
        if (counts(tr)) this.asked++;
        this.#counted(b);
      }
    }
    this.give = give;
    this.open = open;
    this.watch = watch;
    this.child = child;
    this.ready = ready; // is what the device keeps laid over the page?
    this.early = []; // what was tapped before that
    this.details = false;
    this.finger = false; // not a mouse and not the keyboard
    this.#listen();
    this.#heads();
    this.#rove();
    for (const tr of this.rows) this.#all(tr);
    this.near = () => {}; // lays out the columns at which one looks, and a row
    if (this.columns.length > MANY) this.#far();
  }

  // What is not seen of hundreds of columns costs each tap all the same.
  #far() {
    const box = this.table.parentElement;
    const heads = [...this.table.tHead.rows[0].cells];
    const rows = this.rows.map((tr) => [...tr.cells]);
    const top = heads[0].parentElement;
    let from = 1;
    let to = heads.length;
    let timer = null;
    this.table.classList.add('mat-many');
    this.table.style.setProperty('--of', heads.length - 1); // as wide as with all of them
    this.table.setAttribute('aria-colcount', String(heads.length));
    heads.forEach((th, n) => th.setAttribute('aria-colindex', String(n + 1)));
    this.near = (n, tr) => {
      timer = null;
      tr?.classList.remove('mat-past');
      const wide = heads[from].offsetWidth || 1;
      const seen = Math.floor((box.clientWidth - heads[0].offsetWidth) / wide) || 1;
      const back = getComputedStyle(this.table).direction === 'rtl' ? -1 : 1;
      let at = box.scrollLeft * back / wide + 1;
      if (n > 0 && (n < at || n >= at + seen)) { // a column that the keyboard goes to
        at = n < at ? n : n - seen + 1;
        box.scrollLeft = (at - 1) * wide * back;
      }
      const a = Math.max(1, Math.floor((at - STEP) / STEP) * STEP);
      const z = Math.min(heads.length, Math.ceil((at + seen + STEP) / STEP) * STEP);
      if (a === from && z === to) return;
      [top, ...this.rows].forEach((tr, i) => {
        const cells = i ? rows[i - 1] : heads;
        for (let k = from; k < to; k++) if (k < a || k >= z) cells[k].classList.add('mat-far');
        for (let k = a; k < z; k++) {
          cells[k].classList.remove('mat-far');
          cells[k].setAttribute('aria-colindex', String(k + 1));
        }
        tr.style.setProperty('--skip', a - 1);
      });
      [from, to] = [a, z];
    };
    const soon = () => { timer ??= setTimeout(this.near, 50); };
    box.addEventListener('scroll', soon, { passive: true });
    addEventListener('resize', soon);
    this.near();
    const eyes = new IntersectionObserver((list) => {
      for (const e of list) e.target.classList.toggle('mat-past', !e.isIntersecting);
    }, { root: box, rootMargin: '30% 0px' });
    for (const tr of this.rows) eyes.observe(tr);
  }

  #of(button) {
    const { tr, column } = this.places.get(button);
    return { row: tr.dataset, entry: column.e, name: column.name, here: column.in === 'yes', requirement: asks(button, tr) };
  }

  /** cell tells all about a button, in the form that face() takes. */
  cell(button) {
    const { row, ...at } = this.#of(button);
    const d = button.dataset;
    return {
      ...at, button, show: row.show, kind: row.kind, of: Number(row.of), tries: Number(row.tries), keep: row.keep,
      atMost: row.atmost === 'yes', must: row.must === 'yes', scale: row.scale, enough: row.enough, levels: (row.levels ?? '').split(' ').filter(Boolean), expect: d.x ?? '',
      values: Array.from({ length: Number(row.tries) }, (_, i) => (d.v ?? '').split('|')[i] ?? ''),
      others: (d.ov ?? '').split(' ').filter(Boolean), othersSay: d.o ?? '', note: d.n ?? '',
    };
  }

  /** of gives the cells of a row that can be marked. */
  of(tr) { return [...tr.querySelectorAll('button.tap')].map((b) => this.cell(b)); }

  /**
   * put takes in a value that was given; held says what became of it. A "new"
   * one is shown by mark: when it is kept, or when that takes long.
   */
  put({ entry, requirement, try: n, value, note }, held = '') {
    const b = this.cells.get(`${entry} ${requirement}`);
    if (!b) return;
    if (!this.sure.has(b)) this.sure.set(b, stand(b));
    const c = this.cell(b);
    const had = this.had.get(b) ?? ['', ...c.values.map((v) => (isMark(v) ? v : ''))]; // by try, what stood there and was not taken back
    if (isMark(value) && had[n] && had[n] !== value) b.dataset.corrected = 'yes';
    if (isMark(value)) had[n] = value;
    this.had.set(b, had);
    c.values[n - 1] = value;
    b.dataset.v = c.values.join('|');
    this.#counted(b);
    if ((b.dataset.n ?? '') !== (note ?? '')) b.dataset.n = note ?? '';
    if (held === 'new') this.unseen.add(b);
    else this.#hold(b, held);
  }

  /** back shows a cell as it was last safe. */
  back({ entry, requirement }) {
    const b = this.cells.get(`${entry} ${requirement}`);
    if (!b || !this.sure.has(b)) return;
    Object.assign(b.dataset, this.sure.get(b));
    this.had.delete(b); // what was put aside corrects nothing
    this.#counted(b);
    this.#hold(b, '');
  }

  /** mark says of a cell that it is "new", "waiting", "refused" or, with "", safe. */
  mark(entry, requirement, held) {
    const b = this.cells.get(`${entry} ${requirement}`);
    if (b && (this.unseen.has(b) || (b.dataset.held ?? '') !== held)) this.#hold(b, held);
  }

  #hold(b, held) {
    this.unseen.delete(b);
    if (held) {
      b.dataset.held = held;
    } else {
      delete b.dataset.held;
      this.sure.set(b, stand(b));
    }
    this.#paint(b);
    this.changed.add(this.places.get(b).tr);
    if (this.changed.size === 1) queueMicrotask(() => { // once a row, not once a cell
      for (const tr of this.changed) this.#all(tr);
      this.changed.clear();
    });
  }

  #paint(b) {
    const c = this.cell(b);
    const f = face(c);
    const name = `tap tap-${f.state}`;
    if (b.className !== name) b.className = name;
    const [big, small] = b.children;
    const looks = `${f.icon} ${f.text} ${f.word}`; // what is the same is not laid out again
    if (b.dataset.looks !== looks) {
      b.dataset.looks = looks;
      big.textContent = f.text;
      big.className = f.icon && `mat-${f.icon}`;
      small.textContent = f.word;
    }
    const say = [f.say];
    if (b.dataset.corrected) say.push('corrected');
    if (c.note) say.push('with a note');
    if (b.dataset.held === 'new') say.push('not kept yet');
    if (b.dataset.held === 'waiting') say.push('not sent yet');
    if (b.dataset.held === 'refused') say.push('refused');
    b.setAttribute('aria-label', `${c.name}, ${c.show}: ${say.join(', ')}`);
    if (b.dataset.corrected) b.title = 'corrected';
    else if (b.title) b.title = '';
  }

  // What "all have shown it" would still give in a row.
  #left(tr) { return [...this.left.get(tr)].sort((a, b) => this.places.get(a).n - this.places.get(b).n).map((b) => this.cell(b)); }

  #all(tr) {
    const b = tr.querySelector('.mat-all:not(.mat-time)');
    if (!b) return;
    const left = this.left.get(tr).size;
    const off = left ? 'false' : 'true';
    if (b.getAttribute('aria-disabled') !== off) b.setAttribute('aria-disabled', off);
    const say = left ? b.dataset.say : 'all marked';
    if (b.firstElementChild.textContent !== say) b.firstElementChild.textContent = say;
  }

  /** rest gives a value to everybody of the row who has no mark yet. */
  rest(tr, value) {
    if (!this.ready()) { // it would overrule exceptions that are not shown yet
      this.early.push([tr, value]);
      return;
    }
    const marks = this.#left(tr).map((c) => ({
      entry: c.entry, requirement: c.requirement, try: 1, value: value === 'asked' ? c.expect || tr.dataset.enough : value, note: '',
    })).filter((m) => m.value);
    if (marks.length) this.give(marks);
  }

  /** only shows the rows of these sections; without any, all. */
  only(sections) {
    const caution = this.table.querySelector('.mat-caution');
    let first = null; // of those in sight that ask for the cautions
    for (const body of this.table.tBodies) {
      body.hidden = sections.length > 0 && !sections.includes(body.dataset.s);
      if (!body.hidden && body.dataset.caution) first ??= body;
    }
    if (caution && first) first.prepend(caution);
    this.again();
  }

  /** caught gives what was asked for all before the page was ready. */
  caught() { for (const [tr, value] of this.early.splice(0)) this.rest(tr, value); }

  /** again looks at every row once more, after columns were taken out or put back. */
  again() {
    this.asked = 0;
    this.given.clear();
    for (const b of this.cells.values()) {
      this.#counted(b);
      if (b.parentElement.classList.contains('mat-stopped')) this.given.delete(b);
      else if (counts(this.places.get(b).tr)) this.asked++;
    }
    for (const tr of this.rows) this.#all(tr);
  }

  /** count tells how many of the asked cells have a mark. */
  count() { return { given: this.given.size, asked: this.asked }; }

  /** section is that of a cell's row. */
  section(entry, requirement) { return this.places.get(this.cells.get(`${entry} ${requirement}`))?.tr.parentElement.dataset.s; }

  /** look gives a cell the focus, and brings it to the screen unless that is to stay where it is. */
  look(entry, requirement, stay) {
    const b = this.cells.get(`${entry} ${requirement}`);
    if (!b) return;
    const { tr, n } = this.places.get(b);
    if (!stay) this.near(n, tr);
    b.focus({ preventScroll: stay });
  }

  // What is counted of a cell is counted when it changes, not when it is asked for.
  #counted(b) {
    const { tr, column } = this.places.get(b);
    const has = (b.dataset.v ?? '').split('|').some((v) => isMark(v));
    const left = this.left.get(tr);
    if (column.in === 'yes' && !has) left.add(b);
    else left.delete(b);
    if (!counts(tr)) return;
    if (has) this.given.add(b);
    else this.given.delete(b);
  }

  // What a tap on a cell gives; "" opens it.
  #value(c) {
    if (this.details || c.tries > 1) return '';
    return c.kind === 'tick' ? (c.values[0] === '1' ? '0' : '1') : this.#less(c);
  }

  // A tap on a button of a row. A quick one only gives marks and opens nothing:
  // it tells whether that was all of it.
  #tap(b, quick = false) {
    const tr = b.closest('tr');
    if (b.matches('.tap')) {
      const c = this.cell(b);
      const value = this.#value(c);
      if (value !== '') this.give([{ entry: c.entry, requirement: c.requirement, try: 1, value, note: c.note }]);
      else if (quick) return false;
      else this.open(c);
    } else if (b.matches('.mat-time')) {
      if (quick) return false;
      this.watch(tr);
    } else if (b.matches('.mat-all')) {
      this.rest(tr, tr.dataset.all);
    }
    return true;
  }

  // An exception in one tap: a cell that has what its row's button gives goes
  // one lower. "" is none.
  #less(c) {
    const all = c.button.closest('tr').dataset.all;
    const given = all === 'asked' ? c.expect || c.enough : all;
    if (!given || c.values[0] !== given) return '';
    const lower = c.levels.length ? c.levels.filter((v) => Number(v) < Number(given)) : [String(Number(given) - 1)];
    const next = lower.sort((a, b) => Number(b) - Number(a))[0] ?? '';
    return Number(next) < 0 ? '' : next;
  }

  // A tap on the head of a column opens the child.
  #heads() {
    for (const kind of ['click', 'contextmenu']) {
      this.table.tHead.addEventListener(kind, (e) => {
        const th = e.target.closest('th[data-e]');
        if (!th) return;
        e.preventDefault();
        this.child(th.dataset);
      });
    }
  }

  // A finger's tap counts when the finger is lifted: the browser says "click"
  // only after it has thought about double taps, hovering and focus, which a slow
  // device feels. Its touch is then spent, so that no click follows. All else is
  // a click: of a mouse, a key, a reader, or of a tap that opens something.
  #listen() {
    let held = null; // a finger that stays down opens the cell
    let opened = 0; // its click is not a tap
    let finger = null; // {b, x, y, id, at} while it may become a tap
    let spent = false; // its tap was taken
    const lift = (after = 0) => {
      const b = finger?.b;
      finger = null;
      clearTimeout(held);
      if (after) setTimeout(() => b?.classList.remove('mat-down'), after);
      else b?.classList.remove('mat-down');
    };
    this.table.addEventListener('pointerdown', (e) => {
      lift();
      spent = false;
      this.finger = e.pointerType !== 'mouse';
      const b = e.target.closest('tbody button');
      if (!b || !this.finger || !e.isPrimary) return; // with a second finger it is for the browser to say what is meant
      finger = { b, x: e.clientX, y: e.clientY, id: e.pointerId, at: e.timeStamp };
      if (!b.matches('.tap')) return;
      b.classList.add('mat-down'); // not :active, which browsers show once more before the click
      held = setTimeout(() => {
        lift();
        opened = Date.now();
        this.open(this.cell(b));
      }, HOLD);
    });
    this.table.addEventListener('pointermove', (e) => {
      if (finger && Math.hypot(e.clientX - finger.x, e.clientY - finger.y) > STRAY) lift();
    });
    this.table.addEventListener('pointercancel', () => lift());
    this.table.addEventListener('pointerup', (e) => {
      const { b, id, at } = finger ?? {};
      lift(200); // at the latest: what the tap gives shows it first
      if (!b || id !== e.pointerId || e.timeStamp - at >= HOLD) return;
      spent = this.#tap(b, true);
    });
    this.table.addEventListener('touchend', (e) => {
      if (!spent || !e.cancelable) return;
      e.preventDefault();
      spent = false;
    }, { passive: false });
    this.table.addEventListener('contextmenu', (e) => {
      const b = e.target.closest('button.tap');
      if (!b) return;
      e.preventDefault();
      lift();
      if (Date.now() - opened < 1000) return;
      opened = Date.now();
      this.open(this.cell(b));
    });
    this.table.addEventListener('click', (e) => {
      const b = e.target.closest('tbody button');
      const was = spent; // where the touch could not be spent
      spent = false;
      if (!b || was && e.detail || Date.now() - opened < 700) return;
      this.#tap(b);
    });
    this.table.addEventListener('keydown', (e) => this.#key(e));
  }

  // Arrow keys move from cell to cell; one cell of the grid is a tab stop.
  #rove() {
    let stop = null;
    for (const b of this.table.querySelectorAll('button')) {
      b.tabIndex = stop ? -1 : 0;
      stop ??= b;
    }
    this.table.addEventListener('focusin', (e) => {
      if (!e.target.matches('button') || e.target === stop) return;
      stop.tabIndex = -1;
      stop = e.target;
      stop.tabIndex = 0;
    });
  }

  #key(e) {
    this.finger = false;
    if (!e.target.matches('button') || e.altKey || e.ctrlKey || e.metaKey) return;
    if (e.key === 'n' && e.target.matches('.tap')) {
      e.preventDefault();
      this.open(this.cell(e.target));
      return;
    }
    const by = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[e.key];
    if (!by) return;
    e.preventDefault();
    if (getComputedStyle(this.table).direction === 'rtl') by[1] = -by[1]; // the row's button is on the right
    const at = e.target.closest('th, td');
    let row = this.rows.indexOf(at.parentElement);
    let col = at.cellIndex;
    for (;;) {
      row += by[0];
      col += by[1];
      const there = this.rows[row]?.cells[col];
      if (!there) return;
      const b = there.querySelector('button');
      if (b && !there.parentElement.parentElement.hidden) {
        this.near(col, there.parentElement);
        b.focus();
        return;
      }
    }
  }
}
