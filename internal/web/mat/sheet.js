// The sheet of one cell: every way of marking that is more than one tap, and
// the note. It is one dialog that is filled for the cell that was opened.

import { isMark } from './face.js';

export class Sheet {
  /** give(marks) as in the grid; rest(cell, value) marks the rest of the row; stop(cell) opens the child. */
  constructor(dialog, { give, rest, stop }) {
    Object.assign(this, { dialog, give, rest, stop });
    this.form = dialog.querySelector('form');
    this.number = this.form.elements.number;
    this.note = this.form.elements.note;
    this.#listen();
  }

  #part(name) { return this.dialog.querySelector(`[data-part="${name}"]`); }

  open(cell, finger) {
    this.cell = cell;
    this.lifted = false; // the finger that holds the cell may still be down: its click is for nothing here
    this.#part('name').textContent = cell.name;
    this.#part('show').textContent = cell.show;
    this.#part('asked').textContent = asked(cell);
    this.#part('others').textContent = cell.othersSay;
    this.#part('others').hidden = !cell.othersSay;
    for (const set of this.dialog.querySelectorAll('fieldset[data-for]')) {
      set.hidden = set.disabled = set.dataset.for !== choices(cell);
    }
    this.#tries(cell);
    this.#steps(cell);
    this.note.value = cell.note;
    this.#part('note').open = cell.note !== '';
    this.#part('wrong').textContent = '';
    this.#load();
    this.dialog.showModal();
    if (finger) return; // the keys of the screen would cover the sheet
    this.dialog.querySelector('fieldset:not([hidden]) input:checked, fieldset:not([hidden]) input')?.focus();
  }

  // The value of the chosen try.
  #load() {
    const v = this.cell.values[this.#try() - 1] ?? '';
    for (const r of this.form.querySelectorAll('input[name="value"]')) r.checked = !r.matches(':disabled') && r.value === v && isMark(v);
    this.number.value = isMark(v) ? v : '';
    this.#part('unsee').hidden = !isMark(v);
    this.#chips();
  }

  #try() { return Number(this.form.querySelector('input[name="try"]:checked')?.value ?? 1); }

  #tries(cell) {
    const box = this.#part('tries');
    box.hidden = cell.tries < 2;
    box.querySelector('div').replaceChildren();
    if (cell.tries < 2) return;
    const open = cell.values.findIndex((v) => !isMark(v));
    const chosen = open < 0 ? cell.tries : open + 1;
    for (let n = 1; n <= cell.tries; n++) {
      const label = document.createElement('label');
      label.className = 'segment';
      const input = Object.assign(document.createElement('input'), { type: 'radio', name: 'try', value: String(n), checked: n === chosen });
      const span = document.createElement('span');
      span.textContent = `Try ${n}`;
      label.append(input, span);
      box.querySelector('div').append(label);
    }
  }

  // The written-out steps, and a key for each number where there are few.
  #steps(cell) {
    const list = cell.button.closest('tr').querySelector('.mat-steps');
    this.#part('steps').replaceChildren(...(list ? [...list.children].map((li) => li.cloneNode(true)) : []));
    this.#part('steps').hidden = !list;
    this.#part('unit').textContent = cell.kind === 'time' ? 'seconds' : cell.of ? `of ${cell.of}` : '';
    this.number.max = cell.of || '';
    this.number.step = cell.kind === 'time' ? 'any' : '1';
    this.number.inputMode = cell.kind === 'time' ? 'decimal' : 'numeric';
    for (const b of this.dialog.querySelectorAll('[data-add]')) b.hidden = cell.kind === 'time';
  }

  #chips() {
    const { kind, of } = this.cell;
    const box = this.#part('chips');
    box.replaceChildren();
    if (kind === 'time' || !of || of > 20) return;
    for (let n = 0; n <= of; n++) {
      const b = Object.assign(document.createElement('button'), { type: 'button', className: 'button mat-chip', textContent: String(n), value: String(n) });
      b.setAttribute('aria-pressed', String(this.number.value === String(n)));
      box.append(b);
    }
  }

  #listen() {
    this.dialog.addEventListener('pointerdown', () => { this.lifted = true; });
    this.dialog.addEventListener('click', (e) => {
      if (!this.lifted && e.detail > 0) {
        e.preventDefault();
        return;
      }
      if (e.target === this.dialog) this.dialog.close(); // the backdrop
      const b = e.target.closest('button');
      if (b?.dataset.add) this.#step(Number(b.dataset.add));
      else if (b?.matches('.mat-chip')) this.#done(b.value);
      else if (b?.value === 'unsee') this.#done('x');
      else if (b?.value === 'rest') this.#rest();
      else if (b?.matches('.mat-quick')) this.#quick(b.value);
      else if (b?.value === 'close') this.dialog.close();
      else if (b?.value === 'stop') {
        this.dialog.close();
        this.stop(this.cell);
      } else if (e.target.name === 'value' && e.detail > 0) this.#done(e.target.value); // a finger, not an arrow key
    });
    this.form.addEventListener('change', (e) => {
      if (e.target.name === 'try') this.#load();
    });
    this.form.addEventListener('submit', (e) => {
      e.preventDefault();
      const v = this.#value();
      if (v !== null) this.#done(v);
    });
    this.dialog.addEventListener('keydown', (e) => {
      if (!/^[0-9]$/.test(e.key) || e.target.matches('textarea, [type="number"], [type="text"]')) return;
      const r = [...this.form.querySelectorAll('fieldset:not([hidden]) input[name="value"]')].find((x) => x.value === e.key);
      if (r) this.#done(r.value);
    });
  }

  #step(by) {
    const top = this.cell.of || Infinity;
    const n = Math.min(top, Math.max(0, (Number(this.number.value) || 0) + by));
    this.number.value = String(n);
    for (const b of this.#part('chips').children) b.setAttribute('aria-pressed', String(b.value === this.number.value));
  }

  // One of the school's own short notes, behind what is written already.
  #quick(text) {
    const has = this.note.value.trim();
    this.#part('note').open = true;
    if (has.split('; ').includes(text)) return;
    const whole = has ? `${has}; ${text}` : text;
    const most = this.note.maxLength;
    this.#part('wrong').textContent = whole.length > most ? `The note would be too long with “${text}”. Shorten it first.` : '';
    if (whole.length <= most) this.note.value = whole;
  }

  // The value that stands in the sheet, or null with a sentence.
  #value() {
    const counted = choices(this.cell) === 'number';
    const text = counted ? this.number.value.trim().replace(',', '.') : this.form.querySelector('fieldset:not([hidden]) input[name="value"]:checked')?.value ?? '';
    const say = (s) => {
      this.#part('wrong').textContent = s;
      return null;
    };
    if (text === '') return say(this.note.value.trim() ? 'Choose a mark; the note goes with it.' : 'Choose a mark first, or close.');
    if (!counted) return text;
    if (this.cell.kind === 'time') {
      if (!/^\d{1,6}(\.\d{1,3})?$/.test(text)) return say('Write seconds, such as 12 or 12.5.');
    } else if (!/^\d{1,6}$/.test(text) || (this.cell.of && Number(text) > this.cell.of)) {
      return say(this.cell.of ? `Write a whole number from 0 to ${this.cell.of}.` : 'Write a whole number.');
    }
    return plain(text);
  }

  #done(value) {
    const c = this.cell;
    const n = this.#try();
    const note = value === 'x' ? '' : this.note.value.trim();
    this.dialog.close();
    if ((c.values[n - 1] || 'x') === value && c.note === note) return;
    this.give([{ entry: c.entry, requirement: c.requirement, try: n, value, note }]);
  }

  #rest() {
    const v = this.#value();
    if (v === null) return;
    this.#done(v);
    this.rest(this.cell, v);
  }
}

const choices = (c) => (c.kind === 'level' ? `scale-${c.scale}` : c.kind === 'tick' || c.kind === 'consent' ? c.kind : 'number');

function asked(c) {
  if (c.kind === 'tick' || c.kind === 'consent' || c.expect === '') return '';
  const of = c.of && c.kind !== 'level' ? ` of ${c.of}` : '';
  const unit = c.kind === 'time' ? ' seconds' : '';
  return `${c.must ? 'A must' : 'Asked'}: ${c.atMost ? 'at most ' : ''}${c.expect}${of}${unit}`;
}

/** plain writes a decimal without needless noughts, as the server does. */
export function plain(text) {
  const [whole, part = ''] = text.split('.');
  const tail = part.replace(/0+$/, '');
  return (whole.replace(/^0+(?=\d)/, '') || '0') + (tail ? '.' + tail : '');
}
