// What an invented child would get is shown anew while the words are typed. The
// server fills them in and finds what to mend; without this script the button
// beside Save does the same.

const form = document.getElementById('wording');
const shown = document.getElementById('wording-look');
const PAUSE = 600; // ms without a key

let timer = 0;
let asked = null;

form.addEventListener('input', () => {
  clearTimeout(timer);
  timer = setTimeout(ask, PAUSE);
});
form.addEventListener('submit', () => {
  clearTimeout(timer);
  asked?.abort();
});

async function ask() {
  asked?.abort();
  asked = new AbortController();
  const body = new URLSearchParams(new FormData(form));
  body.set('do', 'look');
  try {
    const r = await fetch(form.action, { method: 'POST', body, credentials: 'same-origin', signal: asked.signal });
    if (!r.ok && r.status !== 422) return;
    const now = new DOMParser().parseFromString(await r.text(), 'text/html').getElementById('wording-look');
    if (now) shown.replaceChildren(...now.childNodes);
  } catch {
    // No connection: what is typed stays, and Save says so.
  }
}
