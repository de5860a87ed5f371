import test from 'node:test';
import assert from 'node:assert/strict';
import { Queue } from '../queue.js';
import { keepIn } from '../keep.js';
import { sendMarks } from '../send.js';

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

function bench(srv, storage = new Memory(), person = 'p1') {
  const timers = [];
  const keep = keepIn(storage);
  const q = new Queue({ keep, send: srv.send, person, later: (f, ms) => timers.push({ f, ms }), never: () => { timers.length = 0; }, chance: () => 1 });
  const tick = async () => {
    for (let i = 0; i < 20; i++) await Promise.resolve();
    await new Promise((r) => setImmediate(r));
  };
  const held = (id, more = {}) => ({ v: 1, person, name: 'Mira', grading: 'g1', rank: 'r', refused: '', mark: { id, seq: keep.number(), clock: 1, value: '1', ...more } });
  const settle = async () => {
    for (let i = 0; i < 50 && q.waiting.length; i++) {
      await tick();
      timers.shift()?.f();
    }
    await tick();
  };
  return { q, keep, storage, timers, tick, held, settle };
}

test('a mark leaves the queue only when the server has it', async () => {
  const srv = server(['unreachable', 'unreachable']);
  const b = bench(srv);
  await b.q.add([b.held('a')]);
  await b.tick();
  assert.equal(b.q.waiting.length, 1);
  assert.equal(b.keep.all().length, 1);
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
  assert.equal(b.keep.all().length, 0);
});

test('waits double from one second up to half a minute', async () => {
  const srv = server(Array(8).fill('unreachable'));
  const b = bench(srv);
  await b.q.add([b.held('a')]);
  const waits = [];
  for (let i = 0; i < 7; i++) {
    await b.tick();
    waits.push(b.timers[0].ms);
    b.timers.shift().f();
  }
  assert.deepEqual(waits, [1000, 2000, 4000, 8000, 16000, 30000, 30000]);
});

test('an answer that is lost on its way makes a double, not a second mark', async () => {
  const srv = server(['lost answer', 'lost answer']);
  const b = bench(srv);
  await b.q.add([b.held('a'), b.held('b')]);
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a', 'b']);
  assert.equal(b.q.held.length, 0);
});

test('half an answer settles half, nonsense settles nothing', async () => {
  const srv = server(['nonsense', 'half']);
  const b = bench(srv);
  await b.q.add([b.held('a'), b.held('b'), b.held('c')]);
  await b.tick();
  assert.equal(b.q.waiting.length, 3);
  await b.settle();
  assert.equal(srv.has.size, 3);
  assert.equal(b.keep.all().length, 0);
});

test('a refused mark stays with its reason, also after the page is opened again', async () => {
  const srv = server();
  const b = bench(srv);
  await b.q.add([b.held('a', { value: 'bad' }), b.held('b')]);
  await b.settle();
  assert.deepEqual(b.q.refused.map((h) => [h.mark.id, h.refused]), [['a', 'no such mark']]);
  const again = bench(srv, b.storage);
  assert.deepEqual(again.q.refused.map((h) => h.mark.id), ['a']);
  await again.q.aside('b'); // not refused: stays untouched
  await again.q.aside('a');
  assert.equal(again.q.held.length, 0);
  assert.equal(again.keep.all().length, 0);
});

test('a batch that is refused whole is not sent again and again, and no mark of it is lost', async () => {
  const srv = server(['closed']);
  const b = bench(srv);
  await b.q.add([b.held('a')]);
  await b.tick();
  assert.equal(b.timers.length, 0);
  assert.equal(b.q.trouble.kind, 'refused');
  assert.equal(b.keep.all().length, 1);
  b.q.kick();
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
});

test('a grading that takes no marks does not stop those of another', async () => {
  const srv = server(['closed']);
  const b = bench(srv);
  await b.q.add([{ ...b.held('a'), grading: 'closed one' }, b.held('b')]);
  await b.tick();
  assert.deepEqual([...srv.has.keys()], ['b']);
  assert.deepEqual(b.q.waiting.map((h) => h.mark.id), ['a']);
});

test('marks of somebody else on this device wait for them', async () => {
  const srv = server(['unreachable']);
  const b = bench(srv);
  await b.q.add([b.held('a')]);
  await b.tick();
  const other = bench(srv, b.storage, 'p2');
  other.q.kick();
  await other.tick();
  assert.equal(srv.has.size, 0);
  assert.equal(other.q.others.length, 1);
  const back = bench(srv, b.storage, 'p1');
  back.q.kick();
  await back.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
});

test('taps while a batch is on its way go with the next, at most a hundred at once', async () => {
  const srv = server();
  const b = bench(srv);
  const first = b.q.add([b.held('first')]);
  await b.q.add(Array.from({ length: 250 }, (_, i) => b.held(`m${i}`)));
  await first;
  await b.settle();
  assert.equal(srv.has.size, 251);
  assert.ok(Math.max(...srv.calls.map(([, ids]) => ids.length)) <= 100);
  assert.equal(new Set(srv.calls.flatMap(([, ids]) => ids)).size, srv.calls.flatMap(([, ids]) => ids).length);
});

test('where storage refuses, marks stay in memory and the keep says so', async () => {
  const srv = server(['unreachable']);
  const storage = new Memory();
  const b = bench(srv, storage);
  storage.full = true;
  await b.q.add([b.held('a')]);
  await b.tick();
  assert.equal(b.keep.safe, false);
  assert.equal(b.q.waiting.length, 1);
  await b.settle();
  assert.deepEqual([...srv.has.keys()], ['a']);
});

test('numbers of a device go on over pages, and begin anew with a new name', () => {
  const storage = new Memory();
  const one = keepIn(storage);
  assert.deepEqual([one.number(), one.number()], [1, 2]);
  const two = keepIn(storage);
  assert.equal(two.device(), one.device());
  assert.equal(two.number(), 3);
  assert.equal(one.number(), 4);
  storage.full = true;
  assert.equal(two.number(), 1);
  assert.notEqual(two.device(), one.device());
  const none = keepIn(null);
  assert.equal(none.number(), 1);
  assert.notEqual(none.device(), one.device());
});

test('what cannot be read in the storage is passed over and left alone', () => {
  const storage = new Memory();
  storage.setItem('rankwright.mark.x', '{broken');
  storage.setItem('another', '1');
  assert.deepEqual(keepIn(storage).all(), []);
  assert.equal(storage.getItem('rankwright.mark.x'), '{broken');
});

test('an answer of the server becomes the right kind of trouble', async () => {
  const reply = (status, body) => async () => ({ ok: status < 300, status, json: async () => body });
  assert.deepEqual(await sendMarks('g', [], reply(200, { answers: [] })), []);
  for (const [status, kind] of [[401, 'sign-in'], [403, 'refused'], [409, 'refused'], [422, 'refused'], [500, 'net'], [503, 'net'], [429, 'net']]) {
    await assert.rejects(sendMarks('g', [], reply(status, { say: 'S', do: 'D' })), (e) => e.kind === kind && e.say === 'S');
  }
  await assert.rejects(sendMarks('g', [], async () => { throw new TypeError('failed'); }), (e) => e.kind === 'net');
  await assert.rejects(sendMarks('g', [], async () => ({ ok: true, status: 200, json: async () => { throw new SyntaxError('html'); } })), (e) => e.kind === 'net');
});
