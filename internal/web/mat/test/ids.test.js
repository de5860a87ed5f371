import test from 'node:test';
import assert from 'node:assert/strict';
import { uuid7, newDevice } from '../ids.js';

test('an id has the form of RFC 9562, version 7, and begins with the time', () => {
  // The example of RFC 9562, appendix A.6: 017F22E2-79B0-7CC3-98C4-DC0C0C07398F at 2022-02-22T19:22:22Z.
  const random = [0, 0, 0, 0, 0, 0, 0xcc, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f];
  const fill = (b) => { b.set(random); return b; };
  assert.equal(uuid7(0x017f22e279b0, fill), '017f22e2-79b0-7cc3-98c4-dc0c0c07398f');
});

test('ids made later sort later, and no two are alike', () => {
  const ids = Array.from({ length: 2000 }, (_, i) => uuid7(1_700_000_000_000 + i));
  assert.deepEqual(ids, [...ids].sort());
  assert.equal(new Set(Array.from({ length: 5000 }, () => uuid7(5))).size, 5000);
});

test('a device has a name of its own', () => {
  assert.match(newDevice(), /^d-[0-9a-f]{20}$/);
  assert.notEqual(newDevice(), newDevice());
});
