import test from 'node:test';
import assert from 'node:assert/strict';
import { Run, seconds, clockface, plausible, ago } from '../run.js';

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

test('a page that is loaded again goes on with a run by the clock of the day', () => {
  const c = clocks();
  c.run.start();
  c.go(4000);
  c.go(10, 6010); // slept
  const since = c.run.since;
  assert.equal(c.run.elapsed(), 10_010);
  const d = clocks(); // another page, whose monotonic clock begins anew
  d.now = 50;
  d.wall = c.wall + 7000;
  d.run.goOn(since);
  assert.equal(d.run.elapsed(), 17_010);
  assert.equal(d.run.slept, 0);
  d.go(1500);
  assert.equal(d.run.elapsed(), 18_510);
  assert.equal(d.run.since, since);
});

test('a run that is too old, or begins in the future, is not believed', () => {
  const now = 1_790_000_000_000;
  assert.ok(plausible(now, now));
  assert.ok(plausible(now - 19 * 60_000, now));
  assert.ok(!plausible(now - 21 * 60_000, now));
  assert.ok(!plausible(now + 1000, now));
  assert.equal(ago(now - 21 * 60_000, now), '21 minutes ago');
  assert.equal(ago(now - 3 * 3_600_000, now), '3 hours ago');
  assert.equal(ago(now - 4 * 86_400_000, now), '4 days ago');
  assert.equal(ago(now + 3_600_000, now), 'at an hour that is still to come by this device’s clock');
});
