// What the page says of the marks that are not sent yet: how many, why, and
// what is safe.

/** told gives {state, text, wait}; wait says that trying at once would help. */
export function told({ waiting, refused, sending, trouble, safe }) {
  const n = waiting === 1 ? '1 mark' : `${waiting} marks`;
  const kept = safe ? 'They are kept on this device; keep marking.' : 'This device keeps nothing: leave this page open until they are sent.';
  if (!waiting) {
    const r = refused === 1 ? '1 mark was refused, see below.' : `${refused} marks were refused, see below.`;
    return refused ? { state: 'refused', text: `${r} All others are saved.`, wait: false } : { state: 'saved', text: 'All marks are saved.', wait: false };
  }
  if (!trouble) return { state: sending ? 'sending' : 'waiting', text: `Sending ${n}…`, wait: false };
  if (trouble.kind === 'sign-in') return { state: 'sign-in', text: `${n} not sent: you are not signed in any more. Sign in again; ${safe ? 'they are kept on this device.' : 'do it in another tab and leave this page open.'}`, wait: true };
  if (trouble.kind === 'refused') return { state: 'refused', text: `${n} not taken. ${trouble.say} ${trouble.do} ${kept}`.replace(/ +/g, ' '), wait: true };
  return { state: 'away', text: `${n} not sent yet: ${trouble.say ? 'the school’s computer has a problem' : 'no connection'}. ${kept}`, wait: true };
}
