import test from 'node:test';
import assert from 'node:assert/strict';
import { Queue } from '../queue.js';
import { keepIn } from '../keep.js';
import { sendMarks, onePage } from '../send.js';

// A Storage as the web platform has it, that can be told to refuse.
class Memory {
  map = new Map();
  full = false;
  get length() { return this.map.size; }
  key(i) { return [...this.map.keys()][i]; }
  getItem(k) { return this.map.get(k) ?? null; }
  setItem(k, v) {
    if (this.full) throw new Error('QuotaExceededError');
    this.map.set(k, v);
  }
  removeItem(k) { this.map.delete(k); }
}

// A log as openLog gives one, in memory, that can be told to refuse or to hang.
function logOf(disk = { marks: new Map(), own: null }) {
  const log = { open: true, disk, refuses: false, hangs: false };
  const run = async (what) => {
    if (log.hangs) await new Promise((go) => { log.go = go; });
    if (log.refuses) throw Object.assign(new Error('no room'), { name: 'QuotaExceededError' });
    return what();
  };
  const copy = (h) => structuredClone(h);
  return Object.assign(log, {
    all: () => run(() => [...disk.marks.values()].map(copy)),
    add: (list, clock, makeDevice) => run(() => {
      disk.own ??= { name: makeDevice(), seq: 0, clock: 0 };
      disk.own.clock = Math.max(disk.own.clock, clock);
      for (const { mark: m } of list) if (!m.seq) Object.assign(m, { device: disk.own.name, seq: ++disk.own.seq, clock: ++disk.own.clock });
      for (const h of list) disk.marks.set(h.mark.id, copy(h));
    }),
    own: () => run(() => disk.own),
    put: (h) => run(() => { disk.marks.set(h.mark.id, copy(h)); }),
    remove: (ids) => run(() => { for (const id of ids) disk.marks.delete(id); }),
    done: (list) => run(() => { for (const h of list) disk.marks.set(h.mark.id, copy(h)); }),
  });
}

// A server that keeps each mark once, and does what the plan says of a batch.
function server(plan = []) {
  const has = new Map();
  const calls = [];
  const send = async (grading, marks) => {
    calls.push([grading, marks.map((m) => m.id)]);
    const step = plan.shift() ?? 'answer';
    if (step === 'unreachable') throw Object.assign(new Error('gone'), { kind: 'net' });
    if (step === 'closed') throw Object.assign(new Error('closed'), { kind: 'refused', say: 'Closed.', do: '' });
    const answers = marks.map((m) => {
      if (m.value === 'bad') return { id: m.id, status: 'refused', why: 'no such mark' };
      const status = has.has(m.id) ? 'double' : 'stored';
      has.set(m.id, m);
      return { id: m.id, status };
    });
    if (step === 'lost answer') throw Object.assign(new Error('cut'), { kind: 'net' });
    if (step === 'half') return answers.slice(0, Math.ceil(answers.length / 2));
    if (step === 'nonsense') return { strange: true };
    return answers;
  };
  return { has, calls, send };
}

async function bench(srv, { log = logOf(), storage = new Memory(), person = 'p1', open = async () => log, chance = 1, ...more } = {}) {
  const timers = [];
  const clock = { at: 0 }; // goes on by the waits, and by hand
  const keep = keepIn({ open, storage, patience: 30, ...more });
  const later = (f, ms) => timers.push({ f: () => { clock.at += ms; f(); }, ms });
  const q = new Queue({ keep, send: srv.send, person, later, never: () => { timers.length = 0; }, chance: () => chance, now: () => clock.at });
  await q.load();
  const tick = async () => {
    for (let i = 0; i < 60; i++) await Promise.resolve();
    await new Promise((r) => setImmediate(r));
  };
  const held = (id, more = {}) => ({ v: 1, person, name: 'Mira', grading: 'g1', rank: 'r', refused: '', mark: { id, value: '1', ...more } });
  const settle = async () => {
    for (let i = 0; i < 50 && q.waiting.length; i++) {
      await tick();
      timers.shift()?.f();
    }
    await tick();
  };
  return { q, keep, log, storage, timers, clock, tick, held, settle };
}

test('a mark leaves the queue only when the server has it', async () => {
  const srv = server(['unreachable', 'unreachable']);
  const b = await bench(srv);
  await b.q.add([b.held('a')]);
  await b.tick();
  assert.equal(b.q.waiting.length, 1);
  assert.equal(b.log.disk.marks.size, 1);
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
  assert.equal(b.log.disk.marks.size, 0);
});

test('waits double from two seconds up to five, and chance takes up to half off', async () => {
  for (const [chance, want] of [[1, [2000, 4000, 5000, 5000]], [0.5, [1500, 3000, 3750, 3750]], [0, [1000, 2000, 2500, 2500]]]) {
    const b = await bench(server(Array(8).fill('unreachable')), { chance });
    await b.q.add([b.held('a')]);
    const waits = [];
    for (let i = 0; i < want.length; i++) {
      await b.tick();
      waits.push(b.timers[0].ms);
      b.timers.shift().f();
    }
    assert.deepEqual(waits, want);
  }
});

test('a device in trouble tries at most once a second, however often it is tapped and told to try', async () => {
  const srv = server(Array(99).fill('unreachable'));
  const b = await bench(srv, { chance: 0 });
  for (let ms = 0; ms <= 10_000; ms += 100) {
    b.clock.at = ms;
    if (ms % 300 === 0) b.q.kick();
    await b.q.add([b.held(`m${ms}`)]);
    await b.tick();
  }
  assert.ok(srv.calls.length >= 10 && srv.calls.length <= 11, `${srv.calls.length} tries in ten seconds`);
  srv.calls.length = 0;
  b.clock.at += 1000;
  b.q.kick(); // a whole second later it is at once
  assert.equal(srv.calls.length, 1);
});

test('an answer that is lost on its way makes a double, not a second mark', async () => {
  const srv = server(['lost answer', 'lost answer']);
  const b = await bench(srv);
  await b.q.add([b.held('a'), b.held('b')]);
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a', 'b']);
  assert.equal(b.q.held.length, 0);
});

test('half an answer settles half, nonsense settles nothing', async () => {
  const srv = server(['nonsense', 'half']);
  const b = await bench(srv);
  await b.q.add([b.held('a'), b.held('b'), b.held('c')]);
  await b.tick();
  assert.equal(b.q.waiting.length, 3);
  await b.settle();
  assert.equal(srv.has.size, 3);
  assert.equal(b.log.disk.marks.size, 0);
});

test('a refused mark stays with its reason, also after the page is opened again', async () => {
  const srv = server();
  const b = await bench(srv);
  await b.q.add([b.held('a', { value: 'bad' }), b.held('b')]);
  await b.settle();
  assert.deepEqual(b.q.refused.map((h) => [h.mark.id, h.refused]), [['a', 'no such mark']]);
  const again = await bench(srv, { log: b.log });
  assert.deepEqual(again.q.refused.map((h) => h.mark.id), ['a']);
  await again.q.aside('b'); // not refused: stays untouched
  await again.q.aside('a');
  assert.equal(again.q.held.length, 0);
  assert.equal(again.log.disk.marks.size, 0);
});

test('a batch that is refused whole is not sent again and again, and no mark of it is lost', async () => {
  const srv = server(['closed']);
  const b = await bench(srv);
  await b.q.add([b.held('a')]);
  await b.tick();
  assert.equal(b.timers.length, 0);
  assert.equal(b.q.trouble.kind, 'refused');
  assert.equal(b.log.disk.marks.size, 1);
  b.q.kick();
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
});

test('a grading that takes no marks does not stop those of another', async () => {
  const srv = server(['closed']);
  const b = await bench(srv);
  await b.q.add([{ ...b.held('a'), grading: 'closed one' }, b.held('b')]);
  await b.tick();
  b.timers.shift().f();
  await b.tick();
  assert.deepEqual([...srv.has.keys()], ['b']);
  assert.deepEqual(b.q.waiting.map((h) => h.mark.id), ['a']);
});

test('marks of somebody else on this device wait for them', async () => {
  const srv = server(['unreachable']);
  const b = await bench(srv);
  await b.q.add([b.held('a')]);
  await b.tick();
  const other = await bench(srv, { log: b.log, person: 'p2' });
  other.q.kick();
  await other.tick();
  assert.equal(srv.has.size, 0);
  assert.equal(other.q.others.length, 1);
  const back = await bench(srv, { log: b.log, person: 'p1' });
  back.q.kick();
  await back.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
});

test('taps while a batch is on its way go with the next, at most a hundred at once', async () => {
  const srv = server();
  const b = await bench(srv);
  const first = b.q.add([b.held('first')]);
  await b.q.add(Array.from({ length: 250 }, (_, i) => b.held(`m${i}`)));
  await first;
  await b.settle();
  assert.equal(srv.has.size, 251);
  assert.ok(Math.max(...srv.calls.map(([, ids]) => ids.length)) <= 100);
  assert.equal(new Set(srv.calls.flatMap(([, ids]) => ids)).size, srv.calls.flatMap(([, ids]) => ids).length);
});

test('where the log refuses, the page\'s Storage keeps marks, under another name of the device', async () => {
  const srv = server(Array(2).fill('unreachable'));
  const b = await bench(srv);
  await b.q.add([b.held('a')]);
  const first = b.q.held[0].mark;
  b.log.refuses = true;
  await b.q.add([b.held('b')]);
  await b.tick();
  assert.equal(b.keep.where, 'storage');
  assert.equal(b.storage.length, 1);
  const second = b.q.held[1].mark;
  assert.notEqual(second.device, first.device);
  assert.deepEqual([first.seq, second.seq], [1, 1]);
  assert.ok(second.clock > first.clock);
  const again = await bench(srv, { log: b.log, storage: b.storage }); // the page is opened again
  assert.deepEqual(again.q.held.map((h) => h.mark.id), ['b']);
  b.log.refuses = false;
  const third = await bench(srv, { log: b.log, storage: b.storage });
  assert.deepEqual(third.q.held.map((h) => h.mark.id), ['a', 'b']);
  third.q.kick();
  await third.settle();
  assert.deepEqual([...srv.has.keys()], ['a', 'b']);
  assert.equal(b.storage.length + b.log.disk.marks.size, 0);
});

test('where everything refuses, marks stay in memory and the keep says so', async () => {
  for (const storage of [null, Object.assign(new Memory(), { full: true })]) {
    const srv = server(['unreachable']);
    const b = await bench(srv, { storage, open: async () => { throw new Error('SecurityError'); } });
    await b.q.add([b.held('a')]);
    await b.tick();
    assert.equal(b.keep.where, 'memory');
    assert.equal(b.q.waiting.length, 1);
    await b.settle();
    assert.deepEqual([...srv.has.keys()], ['a']);
  }
});

test('marks of the memory move into the log as soon as it takes them', async () => {
  const srv = server(Array(9).fill('unreachable'));
  const b = await bench(srv, { storage: null });
  b.log.refuses = true;
  await b.q.add([b.held('a')]);
  assert.equal(b.keep.where, 'memory');
  b.log.refuses = false;
  await b.q.add([b.held('b')]);
  assert.equal(b.keep.where, 'log');
  assert.deepEqual([...b.log.disk.marks.keys()], ['a', 'b']);
  assert.deepEqual(b.q.held.map((h) => h.mark.seq), [1, 1]);
});

test('a log that is cleared under the page is written once more', async () => {
  const srv = server(Array(9).fill('unreachable'));
  const disks = [{ marks: new Map(), own: null }, { marks: new Map(), own: null }];
  let log;
  const b = await bench(srv, { open: async () => { log = logOf(disks.shift()); return log; } });
  await b.q.add([b.held('a'), b.held('b')]);
  log.open = false;
  log.cleared();
  await b.tick();
  await b.tick();
  assert.equal(b.keep.where, 'log');
  assert.deepEqual([...log.disk.marks.keys()], ['a', 'b']);
  const names = new Set(b.q.held.map((h) => h.mark.device));
  await b.q.add([b.held('c')]);
  assert.equal(names.size, 1);
  const c = log.disk.marks.get('c').mark;
  assert.ok(!names.has(c.device) && c.seq === 1 && c.clock === 3);
});

test('a log that does not answer holds nothing up, and doubles nothing when it wakes', async () => {
  const srv = server(['unreachable']);
  const b = await bench(srv);
  b.log.hangs = true;
  const adding = b.q.add([b.held('a')]);
  assert.equal(b.q.keeping, 1);
  await adding;
  assert.equal(b.keep.where, 'storage');
  b.log.hangs = false;
  b.log.go();
  await b.tick();
  assert.equal(b.log.disk.marks.size, 0);
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
});

test('a page says nothing is kept before it is', async () => {
  const b = await bench(server());
  b.log.hangs = true;
  const adding = b.q.add([b.held('a')]);
  await b.tick();
  assert.deepEqual([b.q.keeping, b.q.waiting.length, b.log.disk.marks.size], [1, 0, 0]);
  b.log.hangs = false;
  b.log.go();
  await adding;
  assert.equal(b.q.keeping, 0);
});

test('two pages of one device give each number once, and let go of what the other has sent', async () => {
  const srv = server();
  const one = await bench(srv);
  const two = await bench(server(Array(9).fill('unreachable')), { log: logOf(one.log.disk) });
  await Promise.all([two.q.add([two.held('b')]), one.q.add([one.held('a')]), two.q.add([two.held('c')])]);
  await one.q.load();
  one.q.kick();
  await one.settle();
  assert.deepEqual([...srv.has.values()].map((m) => m.seq).sort(), [1, 2, 3]);
  assert.equal(new Set([...srv.has.values()].map((m) => m.device)).size, 1);
  assert.equal(two.q.waiting.length, 2);
  await two.q.load();
  assert.equal(two.q.waiting.length, 0);
});

test('the logical clock goes on over pages, whatever the clock of the day', async () => {
  const srv = server(Array(9).fill('unreachable'));
  const one = await bench(srv, { clock: 40 });
  await one.q.add([one.held('a'), one.held('b')]);
  const two = await bench(srv, { log: one.log, clock: 7 });
  await two.q.add([two.held('c')]);
  assert.deepEqual(two.q.held.map((h) => [h.mark.seq, h.mark.clock]), [[1, 41], [2, 42], [3, 43]]);
});

test('what cannot be read in the storage is passed over and left alone', async () => {
  const storage = new Memory();
  storage.setItem('rankwright.mark.x', '{broken');
  storage.setItem('another', '1');
  assert.deepEqual(await keepIn({ open: async () => logOf(), storage }).all(), []);
  assert.equal(storage.getItem('rankwright.mark.x'), '{broken');
});

test('an answer of the server becomes the right kind of trouble', async () => {
  const reply = (status, body) => async () => ({ ok: status < 300, status, json: async () => body });
  assert.deepEqual(await sendMarks('g', [], { get: reply(200, { answers: [] }) }), []);
  for (const [status, kind] of [[401, 'sign-in'], [403, 'refused'], [409, 'refused'], [422, 'refused'], [500, 'net'], [503, 'net'], [429, 'net']]) {
    await assert.rejects(sendMarks('g', [], { get: reply(status, { say: 'S', do: 'D' }) }), (e) => e.kind === kind && e.say === 'S');
  }
  await assert.rejects(sendMarks('g', [], { get: async () => { throw new TypeError('failed'); } }), (e) => e.kind === 'net');
  assert.equal(await onePage(() => 'sent', undefined)('g', []), 'sent');
  const locks = (free) => ({ request: async (name, how, f) => f(free ? {} : null) });
  assert.equal(await onePage(() => 'sent', locks(true))('g', []), 'sent');
  await assert.rejects(onePage(() => 'sent', locks(false))('g', []), (e) => e.kind === 'busy');
  await assert.rejects(sendMarks('g', [], { get: async () => ({ ok: true, status: 200, json: async () => { throw new SyntaxError('html'); } }) }), (e) => e.kind === 'net');
});

test('a device tells how far it has counted and what is not sent, for each name that it goes by', async () => {
  const log = logOf();
  const names = ['d-log', 'd-page'];
  const keep = keepIn({ open: async () => log, storage: new Memory(), makeDevice: () => names.shift() });
  const held = (id, grading, more = {}) => ({ grading, refused: '', mark: { id }, ...more });
  assert.deepEqual(await keep.tally('g'), [{ device: '', seq: 0, unsent: 0 }]);
  await keep.add([held('1', 'g'), held('2', 'g'), held('3', 'other'), held('4', 'g', { refused: 'why' })]);
  assert.deepEqual(await keep.tally('g'), [{ device: 'd-log', seq: 4, unsent: 2, elsewhere: [[3, 3]] }]);
  log.refuses = true;
  await keep.add([held('5', 'g')]);
  // The log cannot be read now: what this page has seen in it is told all the same.
  assert.deepEqual(await keep.tally('g'), [{ device: 'd-page', seq: 1, unsent: 1 }, { device: 'd-log', seq: 4, unsent: 2, elsewhere: [[3, 3]] }]);
  log.refuses = false;
  assert.deepEqual(await keep.tally('g'), [{ device: 'd-log', seq: 4, unsent: 2, elsewhere: [[3, 3]] }, { device: 'd-page', seq: 1, unsent: 1 }]);
  await keep.remove(['5']);
  assert.deepEqual((await keep.tally('g'))[1], { device: 'd-page', seq: 1, unsent: 0 });
  // 3 is elsewhere, and 5, 6 and 8: of each row the ends.
  await keep.add([held('6', 'other'), held('7', 'more'), held('8', 'g'), held('9', 'other')]);
  assert.deepEqual((await keep.tally('g'))[0], { device: 'd-log', seq: 7, unsent: 3, elsewhere: [[3, 3], [5, 6], [8, 8]] });
  assert.deepEqual((await keep.tally('more'))[0].elsewhere, [[1, 5], [7, 8]]);
});

test('a log that cannot be read for a moment makes no mark a saved one', async () => {
  for (const kind of ['refuses', 'hangs']) {
    const b = await bench(server(['unreachable']));
    await b.q.add([b.held('1'), b.held('2')]);
    await b.tick();
    b.log[kind] = true;
    await b.q.load(); // the page is seen again, or another tab says that something changed
    assert.equal(b.q.waiting.length, 2, kind);
    b.log[kind] = false;
    await b.q.load();
    assert.equal(b.q.waiting.length, 2, kind);
  }
});

test('a mark that is written while another one hangs does not take that one along', async () => {
  const log = logOf();
  const storage = new Memory();
  storage.full = true;
  const keep = keepIn({ open: async () => log, storage, patience: 40 });
  const held = (id) => ({ grading: 'g', refused: '', mark: { id } });
  await keep.all();
  const real = log.add;
  const slow = [];
  log.add = (...args) => new Promise((done) => { slow.push(() => done(real(...args))); });
  const first = keep.add([held('1')]);
  await new Promise((go) => setTimeout(go, 20));
  const second = keep.add([held('2')]);
  await first; // late: it is in memory now
  slow[1]();
  await second;
  assert.deepEqual((await keep.all()).map((h) => h.mark.id).sort(), ['1', '2']);
  assert.equal(keep.where, 'memory');
});
