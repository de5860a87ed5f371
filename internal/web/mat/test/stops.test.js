import test from 'node:test';
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { heads, news } from '../stops.js';

for (const v of JSON.parse(readFileSync(new URL('./heads.json', import.meta.url)))) {
  test(`the heads of a sheet: ${v.name}`, () => assert.deepEqual(heads(v.presences), v.heads));
}

// A stream as the web platform has it, that a test plays.
function hall() {
  const h = { open: [], timers: [], heard: [], page: { hidden: false, addEventListener: (kind, f) => { h.turn = f; } } };
  class Source {
    constructor(url) {
      Object.assign(this, { url, on: {}, readyState: 0 });
      h.open.push(this);
    }
    addEventListener(kind, f) { this.on[kind] = f; }
    close() {
      this.readyState = 2;
      h.open = h.open.filter((s) => s !== this);
    }
  }
  h.news = news('g/1', (now) => h.heard.push(now), { Source, page: h.page, chance: () => 1, later: (f, ms) => h.timers.push({ f, ms }), never: () => {} });
  return h;
}

test('news is heard, and a page that is hidden holds no connection', () => {
  const h = hall();
  assert.equal(h.open[0].url, '/gradings/g%2F1/events');
  h.open[0].on.now({ data: '{"stopped":["e1"]}' });
  assert.deepEqual(h.heard, [{ stopped: ['e1'] }]);
  h.page.hidden = true;
  h.turn();
  assert.equal(h.open.length, 0);
  h.page.hidden = false;
  h.turn();
  assert.equal(h.open.length, 1);
});

test('a stream that is refused is asked for with growing pauses up to a minute, and at once when the connection is back', () => {
  const h = hall();
  for (let i = 0; i < 9; i++) {
    h.open[0].on.error({});
    assert.equal(h.open.length, 0);
    h.timers[i].f();
  }
  assert.deepEqual(h.timers.map((t) => t.ms), [1000, 2000, 4000, 8000, 16_000, 32_000, 60_000, 60_000, 60_000]);
  h.open[0].on.error({});
  h.news.again();
  assert.equal(h.open.length, 1);
  h.news.again(); // it is open
  assert.equal(h.open.length, 1);
  h.open[0].on.now({ data: '{}' });
  h.open[0].on.error({});
  assert.equal(h.timers.at(-1).ms, 1000);
});

test('the end of a session ends the stream', () => {
  const h = hall();
  h.open[0].on.ended({});
  assert.equal(h.open.length, 0);
  assert.equal(h.timers.length, 0);
});
