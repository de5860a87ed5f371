// What goes to the server: a batch of marks, in version 1 of the form in which
// marks travel, a device's word on itself, and a stop for safety.

const PATIENCE = 15_000;

/**
 * sendMarks gives an answer for each mark, or throws with a kind. heard(body)
 * hears what else the server says.
 */
export async function sendMarks(grading, marks, { person, get, heard = () => {} } = {}) {
  const body = await post(`/gradings/${encodeURIComponent(grading)}/marks`, { v: 1, sent: Date.now(), marks }, get, person);
  heard(body);
  return body.answers;
}

/** sendWord says {device, seq, unsent} of this device; the answer is how the grading stands. */
export const sendWord = (grading, word, { person, get } = {}) => post(`/gradings/${encodeURIComponent(grading)}/device`, { ...word, sent: Date.now() }, get, person);

/** sendStop stops a child for safety. */
export const sendStop = (grading, entry, get) => post(`/gradings/${encodeURIComponent(grading)}/stop`, new URLSearchParams({ entry }), get);

// person is whose page this is: where somebody else has signed in since, the
// server takes nothing, and the error says "other".
async function post(path, data, get = globalThis.fetch, person = '') {
  const form = data instanceof URLSearchParams; // its type goes by itself
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE);
  let reply, body;
  try {
    reply = await get(path, {
      method: 'POST',
      headers: { ...(form ? {} : { 'Content-Type': 'application/json' }), ...(person ? { 'Rankwright-Person': person } : {}), Accept: 'application/json' },
      body: form ? data : JSON.stringify(data),
      credentials: 'same-origin',
      signal: stop.signal,
    });
    body = await reply.json();
  } catch {
    throw trouble('net', '', '');
  } finally {
    clearTimeout(timer);
  }
  if (reply.ok) return body;
  if (reply.status === 401) throw Object.assign(trouble('sign-in', body.say, body.do), { other: !!reply.headers?.get('Rankwright-Person') });
  if (reply.status >= 500 || reply.status === 429) throw trouble('net', body.say, body.do);
  throw trouble('refused', body.say, body.do);
}

/**
 * onePage lets one page of this device send at a time, where the browser has
 * locks. Without them two pages may send the same mark; the server then
 * answers one of them "double".
 */
export function onePage(send, locks = globalThis.navigator?.locks) {
  if (!locks) return send;
  return (grading, marks) => locks.request('rankwright.send', { ifAvailable: true }, (lock) => {
    if (!lock) throw trouble('busy', '', '');
    return send(grading, marks);
  });
}

function trouble(kind, say, next) {
  return Object.assign(new Error(say || 'no connection'), { kind, say, do: next });
}
