import test from 'node:test';
import assert from 'node:assert/strict';
import { Beat } from '../beat.js';
import { clockOff } from '../told.js';

// A device whose time a test moves.
function device({ unsent = 0 } = {}) {
  const d = { now: 0, said: [], fails: '', onLine: true, hid: false, state: 'mat', timers: [], silent: [] };
  d.beat = new Beat({
    tally: async () => [{ device: 'd-1', seq: 7, unsent }],
    report: async (word) => {
      d.said.push(d.now);
      if (d.fails) throw Object.assign(new Error(), { kind: d.fails });
      return { state: d.state, word };
    },
    heard: (now) => now.state === 'mat',
    silent: (err) => d.silent.push(err.kind),
    hidden: () => d.hid,
    online: () => d.onLine,
    chance: () => 1,
    clock: () => d.now,
    later: (f, ms) => { const t = { f, at: d.now + ms }; d.timers.push(t); return t; },
    never: (t) => { d.timers = d.timers.filter((x) => x !== t); },
  });
  d.go = async (ms) => {
    const end = d.now + ms;
    for (;;) {
      const t = d.timers.sort((a, b) => a.at - b.at)[0];
      if (!t || t.at > end) break;
      d.timers.shift();
      d.now = t.at;
      t.f();
      await new Promise((done) => { setImmediate(done); });
    }
    d.now = end;
  };
  return d;
}

test('a page that is seen says its word every twenty seconds, one that is hidden every minute', async () => {
  const d = device();
  d.beat.now();
  await d.go(61_000);
  assert.deepEqual(d.said, [0, 20_000, 40_000, 60_000]);
  d.hid = true;
  await d.go(200_000);
  assert.deepEqual(d.said.slice(4), [80_000, 140_000, 200_000, 260_000]);
});

test('marks that are sent at once are no news, marks that wait are told within a second, and once', async () => {
  const d = device();
  d.beat.unsent(0);
  d.beat.now();
  await d.go(5000);
  for (let i = 0; i < 100; i++) { // taps on a good connection
    d.beat.unsent(1);
    await d.go(60);
    d.beat.unsent(0);
    await d.go(60);
  }
  assert.deepEqual(d.said, [0]);
  d.beat.unsent(5);
  await d.go(1000);
  assert.equal(d.said.length, 2);
  assert.ok(d.said[1] - 17_000 <= 701, d.said);
  d.beat.unsent(5);
  await d.go(5000);
  assert.equal(d.said.length, 2);
});

test('a mark that comes while a word is on its way is told soon after it', async () => {
  const d = device();
  d.beat.now();
  d.timers.shift().f(); // the word is on its way
  d.beat.unsent(6);
  await new Promise((done) => { setImmediate(done); });
  await d.go(1000);
  assert.deepEqual(d.said, [0, 700]);
});

test('where the server is away the pauses grow to five minutes, and a mark that was sent ends them', async () => {
  const d = device();
  d.fails = 'net';
  d.beat.now();
  await d.go(3_600_000);
  const pauses = d.said.slice(1).map((at, i) => at - d.said[i]);
  assert.deepEqual(pauses.slice(0, 5), [40_000, 80_000, 160_000, 300_000, 300_000]);
  d.beat.unsent(3);
  await d.go(10_000);
  const n = d.said.length;
  d.fails = '';
  d.beat.unsent(2);
  await d.go(10);
  assert.equal(d.said.length, n + 1);
  assert.equal(d.silent[0], 'net');
});

test('without a network it is quiet, and speaks when the network is back', async () => {
  const d = device();
  d.onLine = false;
  d.beat.now();
  d.beat.unsent(4);
  await d.go(120_000);
  assert.deepEqual(d.said, []);
  assert.ok(d.timers.length <= 1);
  d.onLine = true;
  d.beat.now();
  await d.go(10);
  assert.equal(d.said.length, 1);
});

test('a grading that is not on the mat any more is asked after every five minutes', async () => {
  const d = device();
  d.state = 'closed';
  d.beat.now();
  d.beat.unsent(3);
  await d.go(1_000_000);
  assert.deepEqual(d.said.map((at) => Math.round(at / 300_000)), [0, 1, 2, 3]);
});

test('a clock that is off is said in plain words', () => {
  const day = 86_400_000;
  for (const [ms, words] of [[365 * day, '1 year ahead'], [-365 * day, '1 year behind'], [-26 * 365.25 * day, '26 years behind'], [40 * day, '40 days ahead'],
    [-day, '24 hours behind'], [3_600_000, '60 minutes ahead'], [-7_200_000, '2 hours behind'], [125_000, '2 minutes ahead'], [61_000, '1 minute ahead']]) {
    assert.equal(clockOff(ms), `This device’s clock is ${words}. Marks count all the same; set it right when you can.`);
  }
  assert.equal(clockOff(0), '');
  assert.equal(clockOff(undefined), '');
});
