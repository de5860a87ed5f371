// What the page says of the marks that are not sent yet, how many, why and
// what is safe, and of a clock that is wrong.

/**
 * told gives {state, text, wait}; wait says that trying at once would help.
 * where is where the device keeps marks, reopens whether this page opens
 * without a connection, ended the server's words {say, do} on a session that has ended, or null.
 */
export function told({ keeping = 0, waiting, refused, sending, trouble, where, reopens, ended = null }) {
  const count = (k) => (k === 1 ? '1 mark' : `${k} marks`);
  const n = count(waiting);
  const kept = `${keeps(where)}${where === 'memory' ? '' : ` ${leave(reopens)}`}`;
  if (keeping) return { state: 'keeping', text: `Keeping ${count(keeping)} on this device…`, wait: false };
  if (!waiting && ended && !refused) return { state: 'sign-in', text: `All marks are saved. ${ended.say || 'You are not signed in any more.'} ${ended.do || 'Sign in again before you mark on.'}`, wait: false };
  if (!waiting) {
    const r = refused === 1 ? '1 mark was refused, see below.' : `${refused} marks were refused, see below.`;
    return refused ? { state: 'refused', text: `${r} All others are saved.`, wait: false } : { state: 'saved', text: 'All marks are saved.', wait: false };
  }
  if (!trouble) return { state: sending ? 'sending' : 'waiting', text: `Sending ${n}…`, wait: false };
  if (trouble.kind === 'sign-in') {
    const say = trouble.say || 'You are not signed in any more.';
    const back = (trouble.do || 'Sign in again.').replace(/\.$/, '');
    return { state: 'sign-in', text: `${n} not sent: ${say[0].toLowerCase()}${say.slice(1)} ${back}; ${where === 'memory' ? 'do it in another tab and leave this page open.' : 'they are kept on this device.'}`, wait: true };
  }
  if (trouble.kind === 'refused') return { state: 'refused', text: `${n} not taken. ${trouble.say} ${trouble.do} ${kept}`.replace(/ +/g, ' '), wait: true };
  return { state: 'away', text: `${n} not sent yet: ${trouble.say ? 'the school’s computer has a problem' : 'no connection'}. ${kept}`, wait: true };
}

/** keeps says whether marks are safe on this device. */
export function keeps(where) {
  if (where === 'memory') return 'This browser keeps nothing: leave this page open until they are sent.';
  if (where === 'storage') return 'They are kept on this device, though not against a flat battery; keep marking.';
  return 'They are kept on this device; keep marking.';
}

/** leave says which of the two holds: a page that reopens, or one to leave open. */
export function leave(reopens) {
  return reopens ? 'This page also opens without a connection.' : 'Leave this page open until the connection is back.';
}

/** lasts says what the browser promised about its storage. */
export function lasts(persisted) {
  if (persisted === true) return 'This browser has promised not to clear kept marks by itself.';
  if (persisted === false) return 'This browser may clear kept marks when its space runs short; sent marks are safe.';
  return 'This browser makes no promise how long it keeps marks; sent marks are safe.';
}

/** stands says what it means for the marks that a grading is at another state; "" while it is on the mat. */
export function stands(state, taken) {
  if (state === 'mat' || !state) return '';
  if (taken) return 'The head instructor is deciding now. A mark can still be corrected.';
  return 'This grading is not on the mat any more. Marks that are given now are refused; they wait here until a person looks at them. Ask the head instructor.';
}

/** twice says whether marks are on the device a second time; where as in copyIn. */
export function twice(where) {
  if (where === 'file') return 'Each mark is also in a second file on this device, in case the first is harmed by a flat battery.';
  return `There is no second copy of the marks on this device${where === 'no TLS' ? ', since the address is not https' : ''}: after a flat battery let it send before you mark on without a connection.`;
}

/** putBack says what the second copy was needed for; "" where it was not. */
export function putBack(back, damaged) {
  const say = [];
  if (back) say.push(`${back === 1 ? '1 mark was' : `${back} marks were`} found in the second copy on this device alone, as can happen after a flat battery. ${back === 1 ? 'It was' : 'They were'} put back and will be sent.`);
  if (damaged) say.push(`${damaged === 1 ? 'One place' : `${damaged} places`} in the second copy of the marks cannot be read; all others can. Compare the last marks before the battery died with what you remember.`);
  return say.join(' ');
}

// The clock decides nothing: the order of marks is that of their logical clocks.
const MIN = 60_000;
const HOUR = 60 * MIN;
const DAY = 24 * HOUR;

/** clockOff puts milliseconds into words, more than 0 being ahead; "" for 0. */
export function clockOff(ms) {
  if (!ms) return '';
  const by = Math.abs(ms);
  const [n, unit] = by > 345 * DAY ? [by / (365.25 * DAY), 'year'] : by >= 1.5 * DAY ? [by / DAY, 'day'] : by >= 1.5 * HOUR ? [by / HOUR, 'hour'] : [by / MIN, 'minute'];
  const whole = Math.max(1, Math.round(n));
  return `This device’s clock is ${whole} ${unit}${whole === 1 ? '' : 's'} ${ms > 0 ? 'ahead' : 'behind'}. Marks count all the same; set it right when you can.`;
}
