// The board of the timetable. A child (or a family) is picked up by a click, by
// Enter or by dragging; every sitting then says what it would do, before
// anything is dropped. The server alone says what a move does. Without this
// script each child is a link to a page that does the same.

const HOLD = 6; // pixels before a press becomes a drag
let root = document.getElementById('times');
let held = null; // { chip, chips, entries, effects, names, label, over }
let press = null; // a pointer that is down on a child
let ghost = null;
let busy = false;

if (root) {
  live();
  watch();
  document.addEventListener('keydown', (e) => {
    if (e.key !== 'Escape' || !held) return;
    e.preventDefault();
    letGo(true);
  });
  document.addEventListener('pointermove', moved);
  document.addEventListener('pointerup', dropped);
  document.addEventListener('pointercancel', () => endDrag());
}

// live gets a board ready that has just come.
function live() {
  if (!root.hasAttribute('data-may')) return;
  root.classList.add('times-live');
  const choose = root.querySelector('.times-choose');
  if (choose) choose.hidden = false;
  for (const c of chips()) {
    c.setAttribute('role', 'button');
    c.setAttribute('aria-pressed', 'false');
    c.draggable = false;
  }
  root.addEventListener('click', clicked);
  root.addEventListener('keydown', keyed);
  root.addEventListener('pointerdown', pressed);
  root.addEventListener('dragstart', (e) => e.preventDefault());
}

function chips() {
  return [...root.querySelectorAll('.times-chip')];
}

function places() {
  return [...root.querySelectorAll('[data-sitting]')];
}

function say(text) {
  const bar = document.getElementById('times-bar');
  bar.hidden = !text;
  const more = document.getElementById('times-more');
  more.hidden = !held;
  document.getElementById('times-let-go').hidden = !held;
  if (held) {
    more.href = held.chip.href;
    document.getElementById('times-more-who').textContent = held.names[0];
  }
  document.getElementById('times-say').textContent = text;
}

function wholeFamily() {
  return root.querySelector('input[name="times-what"]:checked')?.value !== 'child';
}

// ask sends a request; whatever goes wrong is an Error to be read out.
async function ask(address, options) {
  let r, said;
  try {
    r = await fetch(`${root.dataset.at}/${address}`, { ...options, headers: { Accept: 'application/json' }, credentials: 'same-origin', signal: AbortSignal.timeout(15_000) });
    said = await r.json();
  } catch {
    throw new Error('That did not work: no connection. Nothing was moved.');
  }
  if (!r.ok) throw new Error(`${said.say} ${said.do}`);
  return said;
}

// pick takes a child or its family up and asks what each sitting would do.
async function pick(chip) {
  letGo();
  const all = wholeFamily() ? chips().filter((c) => c.dataset.family === chip.dataset.family) : [chip];
  const mine = { chip, chips: all, entries: all.map((c) => c.dataset.entry), effects: new Map(), over: null };
  mine.names = [chip, ...all.filter((c) => c !== chip)].map((c) => c.querySelector('.times-who').firstChild.textContent.trim());
  mine.label = mine.names.join(', ');
  held = mine;
  for (const c of all) {
    c.classList.add('times-held');
    c.setAttribute('aria-pressed', 'true');
  }
  say(`${mine.label}: looking where they could be…`);
  let said;
  try {
    said = await ask(`effects?${new URLSearchParams(mine.entries.map((e) => ['entry', e]))}`);
  } catch (e) {
    if (held !== mine) return;
    letGo(true);
    say(e.message);
    return;
  }
  if (held !== mine) return;
  for (const f of said.effects) mine.effects.set(f.sitting, f);
  show();
}

// show writes on every sitting what it would do.
function show() {
  for (const p of places()) {
    const f = held.effects.get(p.dataset.sitting);
    if (!f) continue;
    const line = p.querySelector('.times-effect');
    line.hidden = false;
    line.textContent = f.here ? 'is here' : f.short;
    p.classList.toggle('times-not', !f.may);
    p.classList.toggle('times-may', f.may && !f.here);
    p.classList.toggle('times-good', f.may && f.cost < 0);
    p.querySelector('.times-put').hidden = f.here || !f.may;
    const put = p.querySelector('.times-put .button');
    put.setAttribute('aria-label', `${put.textContent}: ${p.dataset.name ?? 'waiting list'}, ${f.short}`);
  }
  say(`${held.label}: choose where to, or Escape.`);
  if (held.over) over(held.over);
}

// over tells the effect of one sitting term by term.
function over(place) {
  if (!held) return;
  if (held.over && held.over !== place) held.over.classList.remove('times-over');
  held.over = place;
  if (!place) return;
  place.classList.add('times-over');
  const f = held.effects.get(place.dataset.sitting);
  if (!f) return;
  say(`${place.dataset.name ?? 'Waiting list'}: ${f.short}.\n${f.lines.join('\n')}`);
}

function letGo(focus) {
  if (!held) return;
  const { chip, chips: all, over: at } = held;
  held = null;
  at?.classList.remove('times-over');
  for (const c of all) {
    c.classList.remove('times-held');
    c.setAttribute('aria-pressed', 'false');
  }
  for (const p of places()) {
    p.classList.remove('times-not', 'times-may', 'times-good', 'times-over');
    p.querySelector('.times-effect').hidden = true;
    p.querySelector('.times-put').hidden = true;
  }
  say('');
  if (focus) chip.focus();
}

async function put(place) {
  const f = held?.effects.get(place.dataset.sitting);
  if (!f || busy) return;
  if (f.here) {
    letGo(true);
    return;
  }
  if (!f.may) {
    over(place);
    return;
  }
  busy = true;
  const { entries } = held;
  try {
    const body = new URLSearchParams([...entries.map((e) => ['entry', e]), ['to', place.dataset.sitting]]);
    const said = await ask('move', { method: 'POST', body });
    letGo();
    await refresh();
    say(said.say);
    root.querySelector(`.times-chip[data-entry="${CSS.escape(entries[0])}"]`)?.focus({ preventScroll: true });
  } catch (e) {
    say(e.message);
  }
  busy = false;
}

// refresh shows the board as the server has it now, and keeps open what was.
async function refresh() {
  const r = await fetch(location.href, { headers: { Accept: 'text/html' }, credentials: 'same-origin', signal: AbortSignal.timeout(15_000) });
  if (!r.ok || r.redirected) throw new Error('The page could not be loaded again. Load it by hand.');
  const page = new DOMParser().parseFromString(await r.text(), 'text/html');
  const fresh = page.getElementById('times');
  if (!fresh) {
    location.reload();
    return;
  }
  for (const d of fresh.querySelectorAll('details[id]')) d.open = root.querySelector(`#${CSS.escape(d.id)}`)?.open ?? d.open;
  const what = root.querySelector('input[name="times-what"]:checked')?.value;
  const choice = what && fresh.querySelector(`input[name="times-what"][value="${what}"]`);
  if (choice) choice.checked = true;
  root.replaceWith(fresh);
  root = fresh;
  const lead = page.querySelector('.title .lead');
  if (lead) document.querySelector('.title .lead').textContent = lead.textContent;
  live();
}

function clicked(e) {
  if (e.target.id === 'times-let-go') {
    letGo(true);
    say('');
    return;
  }
  const chip = e.target.closest('.times-chip');
  if (chip) {
    if (e.ctrlKey || e.metaKey || e.shiftKey) return; // a new tab, as with any link
    e.preventDefault();
    if (held?.chip === chip) letGo(true);
    else if (!press?.dragged) pick(chip);
    return;
  }
  const place = e.target.closest('.times-put .button')?.closest('[data-sitting]');
  if (place) put(place);
}

function keyed(e) {
  const chip = e.target.closest('.times-chip');
  if (chip && e.key === ' ') {
    e.preventDefault();
    chip.click();
    return;
  }
  if (!held) return;
  const at = e.target.closest('[data-sitting]');
  if (e.key === 'Enter' && at && at === held.over && !e.target.closest('.times-put') && held.chip !== chip) {
    e.preventDefault();
    put(at);
    return;
  }
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
  if (!step) return;
  e.preventDefault();
  const open = places().filter((p) => !p.querySelector('.times-put').hidden);
  if (!open.length) return;
  const next = open[(open.indexOf(held.over) + step + open.length) % open.length];
  over(next);
  next.querySelector('.times-put .button').focus();
}

document.addEventListener('focusin', (e) => {
  const place = held && e.target.closest?.('.times-put')?.closest('[data-sitting]');
  if (place) over(place);
});

// A press becomes a drag after a few pixels: with a mouse anywhere on the
// child, with a finger on the band, so that the page can still be scrolled.
function pressed(e) {
  const chip = e.target.closest('.times-chip');
  if (!chip || e.button !== 0 || (e.pointerType !== 'mouse' && !e.target.closest('.times-band'))) return;
  press = { chip, id: e.pointerId, x: e.clientX, y: e.clientY, dragged: false };
}

function moved(e) {
  if (!press || press.id !== e.pointerId) return;
  if (!press.dragged) {
    if (Math.hypot(e.clientX - press.x, e.clientY - press.y) < HOLD) return;
    press.dragged = true;
    pick(press.chip);
    ghost = document.createElement('div');
    ghost.className = 'times-ghost';
    ghost.textContent = held.label;
    root.append(ghost);
  }
  e.preventDefault();
  ghost.style.transform = `translate(${e.clientX + 12}px, ${e.clientY + 12}px)`;
  over(document.elementFromPoint(e.clientX, e.clientY)?.closest('[data-sitting]') ?? null);
  const edge = 60; // a drag near the edge scrolls
  if (e.clientY < edge) scrollBy(0, -12);
  else if (e.clientY > innerHeight - edge) scrollBy(0, 12);
}

async function dropped(e) {
  if (!press || press.id !== e.pointerId) return;
  const was = press;
  if (!was.dragged) {
    press = null;
    return;
  }
  const place = document.elementFromPoint(e.clientX, e.clientY)?.closest('[data-sitting]');
  endDrag();
  for (let n = 0; n < 100 && held && held.effects.size === 0; n++) await new Promise((done) => setTimeout(done, 50));
  if (!held) return;
  if (place && held.effects.get(place.dataset.sitting)?.may) put(place);
  else if (place && held.effects.get(place.dataset.sitting)) {
    over(place); // says why not; the child stays picked up
  } else letGo(true);
}

function endDrag() {
  ghost?.remove();
  ghost = null;
  const was = press;
  if (was) setTimeout(() => { if (press === was) press = null; }, 0); // after the click that follows
}

// watch follows the working out of a timetable until it has ended.
async function watch() {
  let failed = 0;
  while (document.getElementById('times-running')?.hasAttribute('data-running')) {
    await new Promise((done) => setTimeout(done, 500));
    try {
      const said = await ask('progress');
      const line = document.getElementById('times-progress');
      if (said.running) {
        if (line) line.textContent = said.say;
        continue;
      }
      location.reload();
      return;
    } catch {
      if (++failed > 20) return; // Refresh does the same by hand
    }
  }
}
