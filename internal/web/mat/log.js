// The log of this device in IndexedDB. A mark counts as kept when its
// transaction is complete, and the transaction asks for "strict": without it
// browsers say "complete" before the disk has it, and a flat battery takes the
// marks along.

const VERSION = 1;

/** openLog gives the log, or throws where this browser keeps nothing. */
export async function openLog(idb = globalThis.indexedDB) {
  const opening = idb.open('rankwright', VERSION);
  opening.onupgradeneeded = () => {
    opening.result.createObjectStore('marks', { keyPath: 'mark.id' });
    opening.result.createObjectStore('own'); // this device: its name, the last number, the logical clock
  };
  const db = await new Promise((done, fail) => {
    opening.onsuccess = () => done(opening.result);
    opening.onerror = opening.onblocked = () => fail(opening.error ?? new Error('blocked'));
  });
  db.onversionchange = () => { log.open = false; db.close(); };
  db.onclose = () => {
    log.open = false;
    log.cleared();
  };

  function run(mode, durability, what) {
    return new Promise((done, fail) => {
      const tx = db.transaction(['marks', 'own'], mode, { durability });
      let asked;
      tx.oncomplete = () => done(asked?.result);
      tx.onabort = () => fail(tx.error ?? new Error('aborted'));
      asked = what(tx.objectStore('marks'), tx.objectStore('own'));
    });
  }

  const log = {
    open: true,
    cleared: () => {}, // by the browser, or by a person

    all: () => run('readonly', 'relaxed', (marks) => marks.getAll()),

    /** own is this device {name, seq, clock, last: by grading}; undefined before its first mark. */
    own: () => run('readonly', 'relaxed', (marks, own) => own.get('device')),

    /** hold keeps something beside the marks, such as a run of the stopwatch; undefined drops it. */
    hold: (name, what) => run('readwrite', 'strict', (marks, own) => { if (what === undefined) own.delete(name); else own.put(what, name); }),
    held: (name) => run('readonly', 'relaxed', (marks, own) => own.get(name)),

    /**
     * add numbers the marks that have no number yet and keeps all of them, in
     * one transaction: two pages never give the same number. numbered() is
     * called when they have theirs, while the disk is at it.
     */
    add: (list, clock, makeDevice, numbered = () => {}) => run('readwrite', 'strict', (marks, own) => {
      const asked = own.get('device');
      asked.onsuccess = () => {
        const me = asked.result ?? { name: makeDevice(), seq: 0, clock: 0 };
        me.clock = Math.max(me.clock, clock);
        for (const held of list) {
          const m = held.mark;
          if (!m.seq) {
            Object.assign(m, { device: me.name, seq: ++me.seq, clock: ++me.clock });
            me.last = { ...me.last, [held.grading]: m.seq };
          }
          marks.put(held);
        }
        own.put(me, 'device');
        asked.transaction.commit?.(); // not only once this page has heard of each of these
        numbered();
      };
    }),

    /**
     * back keeps marks of the second copy that are not here, under the numbers
     * that they have, and gives no number again that the copy knows to be given.
     */
    back: (list, counted) => run('readwrite', 'strict', (marks, own) => {
      for (const held of list) marks.put(held);
      own.get('device').onsuccess = (e) => {
        const me = e.target.result;
        const known = counted.find((one) => one.name === me?.name);
        if (!known || known.seq <= me.seq && known.clock <= me.clock) return;
        me.seq = Math.max(me.seq, known.seq);
        me.clock = Math.max(me.clock, known.clock);
        me.last = { ...me.last };
        for (const [g, n] of Object.entries(known.last)) me.last[g] = Math.max(me.last[g] ?? 0, n);
        own.put(me, 'device');
      };
    }),

    put: (held) => run('readwrite', 'strict', (marks) => { marks.put(held); }),

    // Lost by a flat battery, these are sent once more and answered "double".
    remove: (ids) => run('readwrite', 'relaxed', (marks) => { for (const id of ids) marks.delete(id); }),
    done: (list) => run('readwrite', 'relaxed', (marks) => { for (const held of list) marks.put(held); }),
  };
  return log;
}
