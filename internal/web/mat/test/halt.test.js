import test from 'node:test';
import assert from 'node:assert/strict';
import { Halts } from '../halt.js';

function device() {
  const kept = {};
  return { kept, hold: async (name, what) => { if (what === undefined) delete kept[name]; else kept[name] = structuredClone(what); }, held: async (name) => structuredClone(kept[name]) };
}

const away = () => { throw Object.assign(new Error('no connection'), { kind: 'net' }); };

test('a stop without a connection is kept, shown and sent again until the server has it', async () => {
  const keep = device(), timers = [], sent = [];
  let server = away;
  const make = () => new Halts({ keep, send: async (g, e) => server(g, e), changed: () => {}, later: (f, ms) => timers.push([f, ms]), never: () => {} });
  const h = make();
  await h.stop('g1', 'e1', 'Ana');
  assert.deepEqual([h.waiting, h.with('g1', []), h.with('g2', [])], [['Ana'], ['e1'], []]);
  await new Promise(setImmediate);
  assert.deepEqual([timers.length, timers[0][1], keep.kept.halts], [1, 3000, [{ grading: 'g1', entry: 'e1', name: 'Ana' }]]);

  const next = make(); // the page is loaded again, still without one
  await next.load();
  await new Promise(setImmediate);
  assert.deepEqual(next.with('g1', ['e2']), ['e2', 'e1']);
  server = (g, e) => sent.push(`${g} ${e}`);
  await next.kick();
  assert.deepEqual([sent, next.waiting, keep.kept], [['g1 e1'], [], {}]);
  assert.deepEqual(next.with('g1', []), ['e1'], 'news from before the stop do not take it back');
  assert.deepEqual(next.with('g1', ['e1']), ['e1']);
  assert.deepEqual(next.with('g1', []), [], 'the desk took it back');
});

test('a stop that is refused is said and does not keep the next one from being sent', async () => {
  const keep = device(), sent = [];
  const h = new Halts({ keep, send: async (g, e) => {
    if (e === 'e1') throw Object.assign(new Error('no'), { kind: 'refused', say: 'no such child.', do: 'load the page again.' });
    sent.push(e);
  }, changed: () => {} });
  keep.kept.halts = [{ grading: 'g1', entry: 'e1', name: 'Ana' }];
  await h.load();
  await h.stop('g1', 'e2', 'Ben');
  for (let i = 0; i < 5; i++) await new Promise(setImmediate);
  const why = { grading: 'g1', entry: 'e1', name: 'Ana', refused: 'no such child. load the page again.' };
  assert.deepEqual([sent, h.refused, h.waiting, h.with('g1', [])], [['e2'], [why], [], ['e2']]);
  assert.deepEqual(keep.kept.halts, [why], 'another page says it too');
  await h.seen();
  assert.deepEqual([h.refused, keep.kept], [[], {}]);
});

test('two pages of one device keep both stops', async () => {
  const keep = device();
  const page = () => new Halts({ keep, send: async () => away(), changed: () => {}, later: () => {}, never: () => {} });
  await page().stop('g1', 'e1', 'Ana');
  await page().stop('g1', 'e2', 'Ben');
  assert.deepEqual(keep.kept.halts.map((x) => x.entry), ['e1', 'e2']);
});
