// What differs from device to device: its habits (which hand, whether it
// buzzes, how a time is shown), whether the screen stays on, whether its
// storage lasts, and whether this page opens without a connection.

const HABITS = 'rankwright.habits';

/** habitsIn reads and writes the habits of this device. */
export function habitsIn(storage) {
  let habits = { hand: '', buzz: true, tenths: true };
  try {
    habits = { ...habits, ...JSON.parse(storage.getItem(HABITS)) };
  } catch {
    // as they are
  }
  return {
    get: (name) => habits[name],
    set(name, value) {
      habits[name] = value;
      try {
        storage.setItem(HABITS, JSON.stringify(habits));
      } catch {
        // for this page alone, then
      }
    },
  };
}

/** buzz confirms by the hand what is kept; a longer one says that it is not. */
export const buzz = (long) => globalThis.navigator?.vibrate?.(long ? [60, 60, 60] : 15);

/** stayOn keeps the screen on while the page is seen; tell hears whether it does. */
export async function stayOn(tell) {
  if (!navigator.wakeLock) return tell(false);
  const ask = async () => {
    if (document.hidden) return;
    try {
      await navigator.wakeLock.request('screen');
      tell(true);
    } catch {
      tell(false); // a low battery, or no wish to
    }
  };
  document.addEventListener('visibilitychange', ask);
  await ask();
}

/** lastingStorage asks that the storage is not cleared; undefined is no answer. */
export async function lastingStorage() {
  try {
    return await navigator.storage.persisted() || await navigator.storage.persist();
  } catch {
    return undefined; // a page without TLS cannot ask
  }
}

/** reopening resolves to whether this page is kept and opens without a connection. */
export async function reopening(address) {
  try {
    await navigator.serviceWorker.register('/worker.js');
    const { active } = await navigator.serviceWorker.ready;
    return await new Promise((done) => {
      navigator.serviceWorker.addEventListener('message', (e) => { if (e.data?.kind === 'kept') done(e.data.kept); });
      active.postMessage({ kind: 'keep', url: address });
    });
  } catch {
    return false; // no TLS, or the browser has no workers
  }
}

/** keepToo has the worker keep other pages before they are needed. */
export async function keepToo(addresses) {
  const { active } = await navigator.serviceWorker.ready;
  active.postMessage({ kind: 'keep-too', urls: addresses });
}

/**
 * renewed resolves to whether every other page of these children that the worker
 * keeps is as fresh as this one; so it is where there is no worker.
 */
export async function renewed(address) {
  const active = (await navigator.serviceWorker?.getRegistration())?.active;
  if (!active) return true;
  return new Promise((done) => {
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = (e) => done(e.data);
    setTimeout(done, 20_000, false); // an older worker does not answer
    active.postMessage({ kind: 'renew', url: address }, [port2]);
  });
}

/** storage is the page's own, or null where it is refused. */
export function storage() {
  try {
    const s = globalThis.localStorage;
    s.setItem('rankwright.try', '1');
    s.removeItem('rankwright.try');
    return s;
  } catch {
    return null;
  }
}
