// One row typed in from paper. Enter goes to the next child, and from the last
// one on to the next row; without this script, Tab and the button do the same.

const form = document.getElementById('row');
const fields = [...form.querySelectorAll('.mat-lines input:not([type="hidden"])')];

for (const s of form.querySelectorAll('.mat-enter')) s.hidden = false;

form.addEventListener('focusin', (e) => {
  if (fields.includes(e.target)) e.target.select(); // what is typed takes the place of what was there
});

form.addEventListener('keydown', (e) => {
  const at = fields.indexOf(e.target);
  if (at < 0 || e.altKey || e.ctrlKey || e.metaKey || e.isComposing) return;
  const to = { Enter: at + 1, ArrowDown: at + 1, ArrowUp: at - 1 }[e.key];
  if (to === undefined) return;
  e.preventDefault();
  if (e.repeat && e.key === 'Enter') return; // held down, it would run through the rows
  if (to < fields.length) fields[to]?.focus();
  else if (e.key === 'Enter') form.requestSubmit();
});

// The page opened with the focus in the first field that is empty.
document.activeElement?.select?.();
