// What suits whom, written down quickly: each answer is saved at once, the keys
// 1 to 4 give it and go on, up and down go from family to family; left and
// right choose, as in any group of answers. Without this script each family's own Save
// button does the same.

const root = document.getElementById('wishes');
const KEYS = { 1: 'best', 2: 'yes', 3: 'if_need_be', 4: 'no' };

if (root) {
  root.classList.add('times-quick');
  root.addEventListener('change', (e) => save(e.target));
  root.addEventListener('keydown', keyed);
  document.getElementById('wishes-only').addEventListener('change', (e) => root.classList.toggle('times-only-open', e.target.checked));
}

const queues = new WeakMap(); // one family's answers go one after the other

function save(input) {
  const form = input.form;
  const row = input.closest('tr');
  const body = new URLSearchParams({ family: row.dataset.family, [input.name]: input.value });
  const before = queues.get(form) ?? Promise.resolve();
  queues.set(form, before.then(() => send(form, row, body)));
}

async function send(form, row, body) {
  const state = form.querySelector('[role="status"]');
  state.textContent = 'Saving…';
  try {
    const r = await fetch(root.dataset.send, { method: 'POST', body, headers: { Accept: 'application/json' }, credentials: 'same-origin', signal: AbortSignal.timeout(10_000) });
    const said = await r.json();
    if (!r.ok) throw new Error(`${said.say} ${said.do}`);
    state.textContent = 'Saved';
    row.toggleAttribute('data-done', said.done);
    row.classList.remove('times-unsaved');
    // Answers come back in any order: the rows know best.
    const open = root.querySelectorAll('tbody tr:not([data-done])').length;
    const all = root.querySelectorAll('tbody tr').length;
    const families = (n) => (n === 1 ? '1 family' : `${n} families`);
    document.querySelector('.title .lead').textContent = open ? `${families(open)} of ${all} still to ask.` : `All ${families(all)} ${all === 1 ? 'has' : 'have'} answered.`;
  } catch (e) {
    row.classList.add('times-unsaved');
    state.textContent = e.name === 'Error' ? `Not saved. ${e.message}` : 'Not saved: no connection. Press Save when it is back.';
  }
}

function keyed(e) {
  const box = e.target.closest('.times-suits');
  if (!box || e.ctrlKey || e.metaKey || e.altKey) return;
  const suits = KEYS[e.key];
  const cells = [...root.querySelectorAll('tr:not([hidden]) .times-suits')].filter((x) => x.getClientRects().length);
  const at = cells.indexOf(box);
  const across = box.closest('tr').querySelectorAll('.times-suits').length;
  let to = null;
  if (suits) {
    const input = box.querySelector(`input[value="${suits}"]`);
    if (!input.checked) {
      input.checked = true;
      save(input);
    }
    to = at + 1;
  } else if (e.key === 'ArrowDown') to = at + across;
  else if (e.key === 'ArrowUp') to = at - across;
  if (to === null) return;
  e.preventDefault();
  const next = cells[to];
  if (next) (next.querySelector('input:checked') ?? next.querySelector('input')).focus();
}
