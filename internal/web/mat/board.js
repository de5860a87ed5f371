// The live board: hears of news by server-sent events and fetches the page
// anew, so that the server alone says how things stand. What was opened stays
// open. Without this script, Refresh does the same by hand.

const SLOW = 15_000; // where no stream can be had
const LIST = 20_000; // for which a list that was opened is left alone
const PRESS = 5000; // likewise a press whose end is not heard of
let board = document.getElementById('board');
let busy = false;
let again = false;
let stream = null;
let timer = 0;
let held = null; // a new board that waits for a finger to be lifted, or a list to be closed
let down = -Infinity; // when a button of the board was pressed
let listed = 0; // when a list of the board was opened

function say(text) {
  document.getElementById('board-live').textContent = text;
}

function live() {
  const at = new Date().toTimeString().slice(0, 8);
  say(stream?.readyState === EventSource.OPEN ? `Live, as of ${at}.` : `As of ${at}, every ${SLOW / 1000} seconds.`);
}

async function refresh() {
  if (busy) {
    again = true;
    return;
  }
  busy = true;
  try {
    const r = await fetch(location.href, { headers: { Accept: 'text/html' }, credentials: 'same-origin', signal: AbortSignal.timeout(10_000) });
    if (!r.ok || r.redirected) throw new Error(String(r.status));
    put(new DOMParser().parseFromString(await r.text(), 'text/html').getElementById('board'));
    live();
  } catch {
    say('Not live: no connection. What is shown may be old.');
  }
  busy = false;
  if (again) {
    again = false;
    refresh();
  }
}

// inHand says that a button is pressed or a list is open: it must not be taken
// from under the finger.
const inHand = () => performance.now() - down < PRESS || (board.contains(document.activeElement) && document.activeElement.matches('select') && performance.now() - listed < LIST);

function free() {
  if (!held || inHand()) return;
  const fresh = held;
  held = null;
  put(fresh);
}

// put shows the new board, and keeps open what was opened and the focus.
function put(fresh) {
  if (!fresh) return;
  if (inHand()) {
    held = fresh;
    return;
  }
  held = null;
  const open = new Map([...board.querySelectorAll('details[id]')].map((d) => [d.id, d.open]));
  for (const d of fresh.querySelectorAll('details[id]')) if (open.has(d.id)) d.open = open.get(d.id);
  const chosen = board.querySelector('#stop-entry')?.value;
  const at = focusPath();
  board.replaceWith(fresh);
  board = fresh;
  const select = board.querySelector('#stop-entry');
  if (select && chosen) select.value = chosen;
  if (at) board.querySelector(at)?.focus({ preventScroll: true });
}

function focusPath() {
  const f = document.activeElement;
  if (!f || !board.contains(f)) return '';
  if (f.id) return `#${CSS.escape(f.id)}`;
  const d = f.closest('details[id]');
  return d && f.tagName === 'SUMMARY' ? `#${CSS.escape(d.id)} > summary` : '';
}

function soon() {
  clearTimeout(timer);
  timer = setTimeout(refresh, 150);
}

function listen() {
  stream = new EventSource(board.dataset.events);
  const marks = (e) => {
    if (Number(JSON.parse(e.data).arrival) !== Number(board.dataset.arrival)) soon();
  };
  let first = true;
  let missed = false; // what came while there was no stream
  stream.addEventListener('marks', marks);
  stream.addEventListener('now', (e) => {
    if (first) {
      first = false;
      if (missed) {
        missed = false;
        soon(); // not only marks: who came, who is stopped
      } else {
        marks(e); // what was missed between the page and the stream
        live();
      }
    } else {
      soon();
    }
  });
  stream.addEventListener('device', soon);
  stream.addEventListener('ended', () => {
    stream.close();
    say('Not live: you are not signed in any more.');
  });
  stream.addEventListener('error', () => {
    if (stream.readyState === EventSource.CLOSED) {
      setInterval(refresh, SLOW); // refused: too many boards, or no streams here
      live();
    } else {
      first = missed = true;
      say('Not live: no connection. What is shown may be old.');
    }
  });
}

document.addEventListener('pointerdown', (e) => { down = board.contains(e.target) ? performance.now() : -Infinity; });
for (const kind of ['pointerup', 'pointercancel']) {
  document.addEventListener(kind, () => {
    down = -Infinity;
    setTimeout(free, 100); // its click comes first
  });
}
document.addEventListener('focusin', (e) => { if (e.target.matches('#board select')) listed = performance.now(); });
for (const kind of ['focusout', 'change']) {
  document.addEventListener(kind, (e) => {
    if (!e.target.matches('#board select')) return;
    listed = 0;
    setTimeout(free);
  });
}
setInterval(free, 1000);
listen();
setInterval(() => { if (!document.hidden) refresh(); }, 60_000); // who is behind time changes without any news
addEventListener('pageshow', (e) => { if (e.persisted) refresh(); });
