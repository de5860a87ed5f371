// The check-in page: each tap is saved at once. Without this script, or where
// saving fails, each student's own Save button does the same.

const root = document.getElementById('arrivals');
const TRIES = 4;
const queues = new WeakMap(); // one student's answers go one after the other

root.classList.add('arrivals-quick');
root.addEventListener('change', (e) => {
  const form = e.target.form;
  if (!form) return;
  const body = new URLSearchParams({ entry: form.elements.entry.value });
  let was;
  if (e.target.name === 'presence') {
    was = form.elements['presence-was'];
    body.set('presence', e.target.value);
    tell(form, e.target);
  } else {
    was = form.elements[e.target.name.replace('clear.', 'clear-was.')];
    body.set(was.name, e.target.checked ? 'no' : 'yes');
    body.set(e.target.name, e.target.checked ? 'yes' : '');
  }
  const value = e.target.type === 'checkbox' ? (e.target.checked ? 'yes' : 'no') : e.target.value;
  const before = queues.get(form) ?? Promise.resolve();
  queues.set(form, before.then(() => save(form, body)).then((ok) => { if (ok) was.value = value; }));
});

async function save(form, body) {
  const state = form.querySelector('.arrivals-state');
  form.classList.remove('arrivals-unsaved');
  state.textContent = 'Saving…';
  for (let n = 1; n <= TRIES; n++) {
    try {
      const r = await fetch(form.action, { method: 'POST', body, headers: { Accept: 'application/json' }, credentials: 'same-origin', signal: AbortSignal.timeout(10_000) });
      const said = await r.json();
      if (r.ok) {
        state.textContent = 'Saved';
        return true;
      }
      if (r.status < 500) {
        state.textContent = `Not saved. ${said.say} ${said.do}`;
        form.classList.add('arrivals-unsaved');
        return false;
      }
    } catch {
      // no answer: try again below
    }
    state.textContent = 'Not saved yet, trying again…';
    if (n < TRIES) await new Promise((done) => setTimeout(done, 500 * 2 ** n));
  }
  state.textContent = 'Not saved: no connection. Press Save when it is back.';
  form.classList.add('arrivals-unsaved');
  return false;
}

function tell(form, input) {
  const say = form.querySelector('.arrivals-say');
  say.textContent = input.dataset.say;
  say.hidden = !input.dataset.say;
  form.closest('li').dataset.presence = input.value;
  for (const b of document.querySelectorAll('[data-count]')) {
    const n = root.querySelectorAll(`li[data-presence="${b.dataset.count}"]`).length;
    b.textContent = b.textContent.replace(/^\d+/, n);
  }
}
