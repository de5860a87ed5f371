// A safety stop on the scoring page: as soon as a child is stopped anywhere,
// their column is greyed and it is said aloud. It needs no other module.

const page = document.getElementById('mat').dataset;
const stopped = new Set();
let box = null;

/** stop greys the columns of the children stopped; others stay as they are. */
export function stop(entries) {
  for (const e of entries) {
    if (stopped.has(e)) continue;
    const head = document.querySelector(`.mat-grid thead th[data-e="${CSS.escape(e)}"]`);
    if (!head) continue;
    stopped.add(e);
    if (head.classList.contains('mat-away')) continue; // the page came with it
    head.classList.add('mat-away');
    head.dataset.in = '';
    const word = head.querySelector('small') ?? head.appendChild(document.createElement('small'));
    word.textContent = 'stopped';
    const at = [...head.parentElement.children].indexOf(head);
    for (const row of document.querySelectorAll('.mat-grid tr[data-q]')) row.cells[at]?.classList.add('mat-stopped');
    announce(head.dataset.name);
  }
}

function announce(name) {
  if (!box) {
    box = Object.assign(document.createElement('div'), { className: 'notice notice-stop' });
    box.setAttribute('role', 'alert');
    box.append(document.createElement('span'), Object.assign(document.createElement('div'), { className: 'notice-body' }));
    document.getElementById('mat').prepend(box);
  }
  const p = Object.assign(document.createElement('p'), { textContent: `${name} is stopped for safety. Nothing more is asked today; what you marked so far is kept.` });
  p.className = 'notice-title';
  box.lastChild.append(p);
  globalThis.navigator?.vibrate?.([200, 100, 200]);
}

if (typeof EventSource === 'function' && page.grading) {
  const stream = new EventSource(`/gradings/${encodeURIComponent(page.grading)}/events`);
  stream.addEventListener('now', (e) => stop(JSON.parse(e.data).stopped));
  stream.addEventListener('ended', () => stream.close());
}
