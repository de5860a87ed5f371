// The check-in page: each tap is saved at once. Without this script, or where
// saving fails, each student's own Save button does the same.

const root = document.getElementById('arrivals');
const TRIES = 4;
const queues = new WeakMap(); // one student's answers go one after the other

root.classList.add('arrivals-quick');
root.addEventListener('change', (e) => changed(e.target));
root.addEventListener('submit', (e) => {
  if (e.submitter?.name !== 'feel') return;
  e.preventDefault(); // not well today is the answer "unwell"
  const unwell = e.target.querySelector('input[name="presence"][value="unwell"]');
  if (unwell.checked) return;
  unwell.checked = true;
  changed(unwell);
});

function changed(input) {
  const form = input.form;
  if (!form) return;
  const body = new URLSearchParams({ entry: form.elements.entry.value });
  const [kind, no] = input.name.split('.');
  const was = form.elements[no === undefined ? `${kind}-was` : `${kind}-was.${no}`];
  const box = input.type === 'checkbox';
  const value = box ? (input.checked ? 'yes' : 'no') : input.value;
  if (kind === 'presence') tell(form, input);
  if (kind === 'sitting') form.querySelector('.arrivals-sitting summary').textContent = input.selectedOptions[0].textContent.split(', room')[0];
  if (kind === 'squad') form.querySelector('.arrivals-squad summary').textContent = `Squad ${value}`;
  if (kind === 'door') body.set(`door-line.${no}`, form.elements[`door-line.${no}`].value);
  body.set(was.name, box ? (input.checked ? 'no' : 'yes') : '');
  body.set(input.name, box && !input.checked ? '' : value);
  const before = queues.get(form) ?? Promise.resolve();
  queues.set(form, before.then(() => save(form, body)).then((ok) => { if (ok) was.value = value; }));
}

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
  form.closest('li').dataset.presence = input.value === 'late' ? 'present' : input.value;
  for (const b of document.querySelectorAll('[data-count]')) {
    const n = root.querySelectorAll(`li[data-presence="${b.dataset.count}"]`).length;
    b.textContent = b.textContent.replace(/^\d+/, n);
  }
}
