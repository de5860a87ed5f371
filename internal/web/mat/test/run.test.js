import test from 'node:test';
import assert from 'node:assert/strict';
import { Run, seconds, clockface } from '../run.js';

// Two clocks that a test moves: the monotonic one and that of the day.
function clocks() {
  const c = { now: 1000, wall: 1_790_000_000_000 };
  c.run = new Run({ now: () => c.now, wall: () => c.wall });
  c.go = (ms, wall = ms) => { c.now += ms; c.wall += wall; };
  return c;
}

test('a time is the difference of two readings, however seldom it is looked at', () => {
  const c = clocks();
  c.run.start();
  c.go(61_234);
  assert.equal(c.run.elapsed(), 61_234);
  assert.equal(c.run.slept, 0);
  assert.equal(c.run.elapsed(c.now - 234), 61_000); // a tap that was handled late
});

test('a device that slept is told by the clock of the day, and said', () => {
  const c = clocks();
  c.run.start();
  c.go(2000);
  c.go(10, 30_010);
  assert.equal(c.run.elapsed(), 32_010);
  assert.equal(c.run.slept, 30_000);
});

test('a clock of the day that is set back, or runs a little off, changes nothing', () => {
  const c = clocks();
  c.run.start();
  c.go(5000, -3_600_000);
  c.go(5000, 5900);
  assert.equal(c.run.elapsed(), 10_000);
  assert.equal(c.run.slept, 0);
});

test('a mark has seconds to the thousandth, and is never nothing', () => {
  for (const [ms, want] of [[12_344.6, '12.345'], [12_000, '12'], [12_300, '12.3'], [100_000, '100'], [0, '0.001'], [59_999.7, '60'], [10, '0.01']]) assert.equal(seconds(ms), want);
});

test('the face of the clock never shows more than has passed', () => {
  for (const [ms, tenths, want] of [[0, true, '0.0'], [999, true, '0.9'], [9_999, false, '9'], [60_000, true, '1:00.0'], [125_990, false, '2:05']]) assert.equal(clockface(ms, tenths), want);
});
