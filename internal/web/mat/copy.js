// The page's side of the second copy of its marks (second.js). Nothing here
// throws: without it, marks are in IndexedDB as before, and the page says so.

const PATIENCE = 4000;

/** copyIn starts the worker; where is "file", "no TLS", "no files" or why there is none. */
export function copyIn({ start = () => new Worker(new URL('./second.js', import.meta.url), { type: 'module' }),
  secure = !!globalThis.isSecureContext, can = secure && !!globalThis.navigator?.storage?.getDirectory, patience = PATIENCE, failed = () => {} } = {}) {
  const waits = new Map();
  let n = 0;
  let worker = null;

  const copy = {
    where: can ? 'file' : secure ? 'no files' : 'no TLS',

    /** found resolves to {found: marks, own, damaged}, or null. */
    found: null,

    /** add resolves to whether marks are on the disk a second time. */
    add: (list) => ask('add', list).then(() => true, () => false),

    /** gone are marks that are needed no more. */
    gone: (ids) => { ask('gone', ids).catch(() => {}); },

    /** cut clears the files of what is needed no more. */
    cut: () => ask('cut').catch(() => {}),
  };

  function ask(what, list) {
    if (!worker) return Promise.reject(new Error(copy.where));
    return new Promise((done, fail) => {
      const at = ++n;
      const timer = setTimeout(() => end('no answer'), patience);
      waits.set(at, { done, fail, timer });
      worker.postMessage({ n: at, what, with: list });
    });
  }

  // What fails once is not believed again on this page.
  function end(why) {
    copy.where = why;
    worker?.terminate();
    worker = null;
    for (const { fail, timer } of waits.values()) {
      clearTimeout(timer);
      fail(new Error(why));
    }
    waits.clear();
    failed();
  }

  try {
    if (can) worker = start();
  } catch (err) {
    copy.where = String(err?.name ?? err);
  }
  if (worker) {
    worker.onmessage = ({ data: { n: at, value, err } }) => {
      const one = waits.get(at);
      if (!one) return;
      if (err) return end(err);
      clearTimeout(one.timer);
      waits.delete(at);
      one.done(value);
    };
    worker.onerror = () => end('the worker ended');
  }
  copy.found = ask('open').catch(() => null);
  return copy;
}
