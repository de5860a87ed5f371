// What this device keeps until the server has answered. Marks go into the log
// (IndexedDB); where the log refuses, into the page's Storage, which is not
// written through to the disk; where that refuses too, they stay in memory and
// the keep says so. Nothing here throws: a mark that was tapped is never lost
// by an error of storage.

import { newDevice } from './ids.js';

const MARK = 'rankwright.mark.';
const HOLD = 'rankwright.hold.';
const PATIENCE = 8000;
const SPANS = 100; // numbers elsewhere that are told at once

/** keepIn({open, storage}): open() gives a log as openLog does, copy is a second one as copyIn gives it, or null. */
export function keepIn({ open, copy = null, storage = null, clock = 0, makeDevice = newDevice, patience = PATIENCE, changed = () => {} }) {
  let log = null;
  let device = ''; // of marks that the log did not take; one for each page
  let seq = 0;
  const last = {}; // by grading, of those marks
  const loose = new Map(); // in memory alone
  const mirror = new Map(); // in the log too, for the case that it is cleared under this page

  const keep = {
    /** where is "log", "storage" or "memory": the worst place of a mark now. */
    where: 'log',
    why: '',
    /** clock is the largest logical clock that this page has seen. */
    clock,
    /** back is how many marks were put back from the second copy, damaged how many of its places cannot be read. */
    back: 0,
    damaged: 0,

    /** all gives what the device keeps; its "whole" is false where the log could not be read just now. */
    async all() {
      await (restored ??= restore());
      const had = [...mirror.keys()];
      const by = new Map();
      let whole = true;
      for (const held of stored()) by.set(held.mark.id, held);
      for (const held of loose.values()) by.set(held.mark.id, held);
      try {
        for (const held of await soon((await opened()).all())) {
          by.set(held.mark.id, held);
          if (!held.done) mirror.set(held.mark.id, held);
        }
        const answered = had.filter((id) => mirror.has(id) && (!by.has(id) || by.get(id).done)); // by way of another page
        for (const id of answered) mirror.delete(id);
        if (answered.length) copy?.gone(answered);
      } catch (err) {
        refused(err);
        whole = false;
        for (const [id, held] of mirror) if (!by.has(id)) by.set(id, held); // it is there all the same
      }
      const out = [...by.values()].sort((a, b) => a.mark.clock - b.mark.clock || a.mark.seq - b.mark.seq);
      for (const held of out) keep.clock = Math.max(keep.clock, held.mark.clock);
      return Object.defineProperty(out, 'whole', { value: whole });
    },

    /** add gives each mark its number and clock; it resolves when they are kept. */
    async add(list) {
      let writing;
      let copied; // at the same time
      try {
        const to = log?.open ? log : await opened();
        const all = [...loose.values(), ...list];
        writing = to.add(all, keep.clock, makeDevice, () => { copied = copy?.add(all); });
        await soon(writing);
        for (const held of all) {
          mirror.set(held.mark.id, held);
          loose.delete(held.mark.id); // and no other that came meanwhile
        }
        keep.where = loose.size ? 'memory' : 'log';
      } catch (err) {
        refused(err);
        if (err.late) writing?.then(() => log.remove(list.map((held) => held.mark.id)), () => {}); // kept elsewhere by now
        for (const held of list) {
          device ||= makeDevice();
          held.mark = { ...held.mark, device, seq: ++seq, clock: ++keep.clock };
          last[held.grading] = seq;
          if (!store(held)) loose.set(held.mark.id, held);
        }
        copied = copy?.add(list);
        keep.where = loose.size ? 'memory' : 'storage';
      }
      await copied;
      for (const held of list) keep.clock = Math.max(keep.clock, held.mark.clock);
      changed();
    },

    /**
     * tally tells of each name under which this device gives marks
     * {device, seq, unsent}: the last number that it gave at a grading, and how
     * many of its marks the server has not answered. A refused one is answered.
     * elsewhere, if any, are the numbers [[from, to]] of marks of other gradings.
     */
    async tally(grading) {
      const by = new Map();
      const of = (device) => by.get(device) ?? by.set(device, { device, seq: 0, unsent: 0 }).get(device);
      let own;
      try { // first: a mark that comes after is counted below
        own = await soon((await opened()).own());
      } catch {
        // what it gave is not known now
      }
      if (own) of(own.name).seq = own.last?.[grading] ?? 0;
      if (device) of(device).seq = last[grading] ?? 0;
      const others = [];
      for (const { mark, refused, done, grading: at } of await keep.all()) {
        if (done) continue;
        if (at !== grading) {
          others.push(mark);
          continue;
        }
        const one = of(mark.device);
        one.seq = Math.max(one.seq, mark.seq);
        if (!refused) one.unsent++;
      }
      for (const { device: name, seq: n } of others.sort((a, b) => a.seq - b.seq)) {
        const one = by.get(name);
        const spans = one && (one.elsewhere ??= []);
        const last = spans?.at(-1);
        if (last?.[1] === n - 1) last[1] = n;
        else if (spans && spans.length < SPANS) spans.push([n, n]);
      }
      return by.size ? [...by.values()] : [{ device: '', seq: 0, unsent: 0 }];
    },

    /** hold keeps something beside the marks under a name; undefined drops it. */
    async hold(name, what) {
      try {
        await soon((await opened()).hold(name, what));
        tried(() => storage.removeItem(HOLD + name));
      } catch {
        tried(() => (what === undefined ? storage.removeItem(HOLD + name) : storage.setItem(HOLD + name, JSON.stringify(what))));
      }
    },

    /** held gives what hold kept, or undefined. */
    async held(name) {
      let what;
      try {
        what = await soon((await opened()).held(name));
      } catch {
        // then perhaps in the storage
      }
      if (what === undefined) tried(() => { what = parsed(storage.getItem(HOLD + name)) ?? undefined; });
      return what;
    },

    /** put writes what became of a mark, such as that it was refused. */
    async put(held) {
      try {
        await soon((await opened()).put(held));
      } catch (err) {
        refused(err);
        if (!store(held)) loose.set(held.mark.id, held);
      }
      changed();
    },

    async remove(ids) {
      copy?.gone(ids);
      for (const id of ids) {
        loose.delete(id);
        mirror.delete(id);
        tried(() => storage.removeItem(MARK + id));
      }
      try {
        await soon((await opened()).remove(ids));
      } catch (err) {
        refused(err); // they are sent again, and are doubles then
      }
      if (!loose.size && keep.where === 'memory') keep.where = 'storage';
      changed();
    },

    /** done keeps answered marks for a page that was kept before they were. */
    async done(list) {
      const at = Date.now();
      try {
        await soon((await opened()).done(list.map((held) => ({ ...held, done: at }))));
      } catch {
        return keep.remove(list.map((held) => held.mark.id));
      }
      copy?.gone(list.map((held) => held.mark.id));
      for (const { mark } of list) {
        loose.delete(mark.id);
        mirror.delete(mark.id);
        tried(() => storage.removeItem(MARK + mark.id));
      }
      changed();
    },
  };

  // What the second copy has and nothing else: the browser lost it with its
  // power. Each mark goes back under its own number.
  let restored = null;
  async function restore() {
    const second = await copy?.found;
    if (!second) return;
    keep.damaged = second.damaged;
    const has = new Set([...stored().map((held) => held.mark.id), ...loose.keys()]);
    let lost = second.found;
    try {
      const to = await opened();
      for (const held of await soon(to.all())) has.add(held.mark.id);
      lost = lost.filter((held) => !has.has(held.mark.id));
      await soon(to.back(lost, second.own));
      copy.cut();
    } catch (err) {
      refused(err);
      lost = lost.filter((held) => !has.has(held.mark.id));
      for (const held of lost) loose.set(held.mark.id, held);
    }
    keep.back = lost.length;
  }

  let opening = null;
  async function opened() {
    if (log?.open) return log;
    opening ??= soon(Promise.resolve().then(open)).finally(() => { opening = null; });
    log = await opening;
    log.cleared = cleared;
    return log;
  }

  // The browser, or a person, cleared the log while the page was open: what it
  // held is written once more.
  function cleared() {
    for (const [id, held] of mirror) loose.set(id, held);
    if (!loose.size) return;
    keep.where = 'memory';
    keep.add([]);
  }

  function soon(promise) {
    let timer;
    const late = new Promise((_, fail) => { timer = setTimeout(() => fail(Object.assign(new Error('no answer'), { late: true })), patience); });
    return Promise.race([promise, late]).finally(() => clearTimeout(timer));
  }

  function refused(err) {
    keep.why = String(err?.name ?? err);
    if (keep.where === 'log') keep.where = storage ? 'storage' : 'memory';
  }

  function stored() {
    const out = [];
    tried(() => {
      for (let i = 0; i < storage.length; i++) {
        const key = storage.key(i);
        if (!key.startsWith(MARK)) continue;
        const held = parsed(storage.getItem(key));
        if (held?.mark?.id) out.push(held);
      }
    });
    return out;
  }

  const store = (held) => tried(() => storage.setItem(MARK + held.mark.id, JSON.stringify(held)));

  function tried(what) {
    try {
      what();
      return true;
    } catch {
      return false;
    }
  }
  return keep;
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null; // not ours to throw away
  }
}
