// One batch of marks on its way to the server, in version 1 of the form in
// which marks travel.

const PATIENCE = 15_000;

/** sendMarks gives an answer for each mark, or throws with a kind. */
export async function sendMarks(grading, marks, get = globalThis.fetch) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE);
  let reply, body;
  try {
    reply = await get(`/gradings/${encodeURIComponent(grading)}/marks`, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json', Accept: 'application/json' },
      body: JSON.stringify({ v: 1, marks }),
      credentials: 'same-origin',
      signal: stop.signal,
    });
    body = await reply.json();
  } catch {
    throw trouble('net', '', '');
  } finally {
    clearTimeout(timer);
  }
  if (reply.ok) return body.answers;
  if (reply.status === 401) throw trouble('sign-in', body.say, body.do);
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
