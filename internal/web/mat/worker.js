// The worker of the scoring page: over TLS the page opens again without a
// connection. It keeps the pages of one grading that one person has opened,
// with their scripts, style sheets and typefaces, and forgets the pages when
// somebody signs in or out. The server writes its version and the list of
// files in front (matWorker).

const { version, shell, faces } = self.rankwright;
const NAME = 'rankwright-';
const OWN = NAME + version;
const PATIENCE = 4000; // for a page, where one is kept
let forgot = 0; // when somebody signed in or out: what was asked for before is nobody's

// What must not wait for this worker to wake, nor hang on its life: the stream
// of news, marks and the device's word on itself. Where a browser has no such
// routes, the worker lets them pass.
const STRAIGHT = /^\/gradings\/[^/]+\/(events|marks|device)$/;

self.addEventListener('install', (e) => {
  try {
    const straight = (name) => new URLPattern({ pathname: `/gradings/:id/${name}` });
    e.waitUntil(e.addRoutes([
      { condition: { urlPattern: straight('events') }, source: 'network' },
      { condition: { urlPattern: straight('marks'), requestMethod: 'POST' }, source: 'network' },
      { condition: { urlPattern: straight('device'), requestMethod: 'POST' }, source: 'network' },
    ]).catch(() => {}));
  } catch {
    // an older browser
  }
  e.waitUntil(caches.open(OWN).then((c) => c.addAll(shell)).then(() => self.skipWaiting()));
});

self.addEventListener('activate', (e) => {
  e.waitUntil(renew().then(() => self.clients.claim()));
});

self.addEventListener('fetch', (e) => {
  const url = new URL(e.request.url);
  if (url.origin !== self.location.origin) return;
  if (STRAIGHT.test(url.pathname) && e.request.mode !== 'navigate') return;
  if (e.request.method === 'POST' && /^\/(sign-in$|sign-out$|pair\/)/.test(url.pathname)) e.waitUntil(forget());
  if (e.request.method !== 'GET') return;
  if (/^\/[am]\//.test(url.pathname)) e.respondWith(asset(e.request));
  else if (e.request.mode === 'navigate' && isPage(url)) e.respondWith(page(e, url));
});

self.addEventListener('message', (e) => {
  const { kind, url, urls } = e.data ?? {};
  if (kind === 'forget') e.waitUntil(forget());
  if (kind === 'keep') e.waitUntil(keep(new URL(url)).then((kept) => e.source.postMessage({ kind: 'kept', kept })));
  if (kind === 'keep-too') e.waitUntil(keepToo(urls));
  if (kind === 'renew') e.waitUntil(sheets(new URL(url)).then((done) => e.ports[0].postMessage(done)));
});

// A rank's grid, or the choice of ranks; not the plain forms.
function isPage(url) {
  return /^\/gradings\/[^/]+\/marks(\/[^/]+)?$/.test(url.pathname) && !url.searchParams.has('row');
}

async function asset(request) {
  const kept = await caches.match(request);
  if (kept) return kept;
  const fresh = await fetch(request);
  if (fresh.ok) await (await caches.open(OWN)).put(request, fresh.clone());
  return fresh;
}

async function page(e, url) {
  const began = Date.now();
  const kept = await find(url);
  const asked = fetch(e.request);
  asked.catch(() => {});
  try {
    const fresh = await (kept ? Promise.race([asked, late()]) : asked);
    if (fresh.status >= 500 && kept) return kept;
    // A rank's page leads on only to the door: the session has ended.
    if (fresh.type === 'opaqueredirect' && (isMixed(url) || url.pathname.split('/').length > 4)) await forget();
    if (fresh.ok) e.waitUntil(put(url, fresh.clone(), began));
    return fresh;
  } catch {
    return kept ?? nothing();
  }
}

const late = () => new Promise((_, fail) => { setTimeout(fail, PATIENCE); });

async function keep(url) {
  if (!isPage(url)) return false;
  if (await (await caches.open(OWN)).match(url)) return true;
  const began = Date.now();
  try {
    const fresh = await fetch(url, { credentials: 'same-origin', redirect: 'manual' });
    return fresh.ok && await put(url, fresh, began);
  } catch {
    return false;
  }
}

// keepToo keeps pages that were not opened yet, one after the other.
async function keepToo(urls) {
  const began = Date.now();
  for (const url of urls) {
    if (began <= forgot) return;
    if (!await keep(new URL(url)) && !navigator.onLine) return;
  }
}

// A squad of several ranks has the address of the choice of ranks.
const isMixed = (url) => url.searchParams.has('squad') && url.pathname.split('/').length === 4;

// sheets asks again for the other kept sheets with the children of a page: those
// of its rank, and squads of several ranks; for such a squad all. It tells
// whether all of them are fresh now.
async function sheets(url) {
  const cache = await caches.open(OWN);
  let done = true;
  for (const { url: address } of await cache.keys()) {
    const at = new URL(address);
    if (at.href === url.href || !isPage(at) || (at.pathname !== url.pathname && !isMixed(at) && !isMixed(url))) continue;
    try {
      const began = Date.now();
      const fresh = await fetch(at, { credentials: 'same-origin', redirect: 'manual' });
      if (!fresh.ok || !await put(at, fresh, began)) await cache.delete(at);
    } catch {
      done = false;
    }
  }
  return done;
}

// put keeps a page with the hour at which it was asked for, and drops those of
// another person or grading.
async function put(url, response, began) {
  const text = await response.text();
  const own = /<div id="mat"[^>]*>/.exec(text)?.[0];
  if (!own) return false;
  const whose = `${/data-person="([^"]*)"/.exec(own)?.[1]} ${/data-grading="([^"]*)"/.exec(own)?.[1]}`;
  const headers = new Headers(response.headers);
  for (const name of ['Content-Encoding', 'Content-Length', 'Set-Cookie']) headers.delete(name);
  headers.set('X-Whose', encodeURIComponent(whose));
  const cache = await caches.open(OWN);
  for (const request of await cache.keys()) {
    if (!isPage(new URL(request.url))) continue;
    if ((await cache.match(request)).headers.get('X-Whose') !== headers.get('X-Whose')) await cache.delete(request);
  }
  await cache.put(url, new Response(text.replace('<div id="mat"', `<div id="mat" data-kept="${began}"`), { headers }));
  if (began <= forgot) {
    await cache.delete(url);
    return false;
  }
  await letters(cache, text);
  await older(async (old) => { await old.delete(url); });
  return true;
}

// letters keeps those parts of the typeface whose letters a page has; without
// one the page shows them in another typeface.
async function letters(cache, text) {
  for (const [file, some] of Object.entries(faces)) {
    if (!new RegExp(some, 'u').test(text) || await cache.match(file)) continue;
    await cache.add(file).catch(() => {});
  }
}

// find looks for the page itself, or for a page of the same grading where only
// the choice of ranks is missing.
async function find(url) {
  const exact = await (await caches.open(OWN)).match(url) ?? await caches.match(url);
  if (exact || isMixed(url) || url.pathname.split('/').length > 4) return exact;
  const ranks = (await pages()).filter((u) => u.pathname.startsWith(`${url.pathname}/`));
  return ranks.length ? Response.redirect(ranks[0]) : undefined;
}

async function pages() {
  const out = [];
  for (const name of await caches.keys()) {
    for (const request of await (await caches.open(name)).keys()) {
      const url = new URL(request.url);
      if (isPage(url)) out.push(url);
    }
  }
  return out;
}

function called(u) {
  const squad = Number(u.searchParams.get('squad'));
  if (u.pathname.endsWith('/marks')) return squad ? `Squad ${squad}, together` : 'All ranks';
  return `${decodeURIComponent(u.pathname.split('/').pop()).replace(/[<&]/g, '')}${squad ? `, squad ${squad}` : ''}`;
}

async function nothing() {
  const kept = (await pages()).map((u) => `<li><a class="button" href="${u.pathname}${u.search.replaceAll('&', '&amp;').replaceAll('"', '&quot;')}">${called(u)}</a></li>`).join('');
  const more = kept ? `<p>Kept on this device:</p><ul>${kept}</ul>` : '';
  const styles = shell.filter((path) => path.endsWith('.css') && !path.endsWith('print.css')).map((path) => `<link rel="stylesheet" href="${path}">`).join('');
  return new Response(`<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>No connection</title>${styles}<main class="main main-narrow"><div class="title"><h1>No connection</h1></div><p>This page was not opened on this device before. Marks that wait are kept; they are sent when the connection is back.</p>${more}</main>`, { status: 503, headers: { 'Content-Type': 'text/html; charset=utf-8' } });
}

// forget drops the pages, and what the server has of the marks. Marks that
// were not sent stay.
async function forget() {
  forgot = Date.now();
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      if (isPage(new URL(request.url))) await cache.delete(request);
    }
  }
  const opening = indexedDB.open('rankwright');
  opening.onupgradeneeded = () => opening.transaction.abort(); // there is none
  await new Promise((done) => {
    opening.onerror = done;
    opening.onsuccess = () => {
      const db = opening.result;
      const marks = db.transaction('marks', 'readwrite').objectStore('marks');
      marks.openCursor().onsuccess = (e) => {
        const at = e.target.result;
        if (!at) return;
        if (at.value.done) at.delete();
        at.continue();
      };
      marks.transaction.oncomplete = marks.transaction.onabort = () => { db.close(); done(); };
    };
  });
}

// A new version asks again for the pages that the old one kept, since they
// name the old files. What cannot be had now stays until it can.
async function renew() {
  await older(async (old, request) => {
    const url = new URL(request.url);
    const began = Date.now();
    const fresh = await fetch(url, { credentials: 'same-origin', redirect: 'manual' });
    if (fresh.ok) await put(url, fresh, began);
    else if (fresh.status < 500) await old.delete(request);
  });
}

// older runs through the pages of earlier versions, and ends those versions
// that have none left.
async function older(what) {
  for (const name of await caches.keys()) {
    if (name === OWN || !name.startsWith(NAME)) continue;
    const old = await caches.open(name);
    let left = false;
    for (const request of await old.keys()) {
      if (!isPage(new URL(request.url))) continue;
      try {
        await what(old, request);
        left ||= !!await old.match(request);
      } catch {
        left = true;
      }
    }
    if (!left) await caches.delete(name);
  }
}
