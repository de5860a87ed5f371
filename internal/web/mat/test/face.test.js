import test from 'node:test';
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { face } from '../face.js';
import { plain } from '../sheet.js';
import { told } from '../told.js';

for (const v of JSON.parse(readFileSync(new URL('./faces.json', import.meta.url)))) {
  test(`a cell: ${v.name}`, () => assert.deepEqual(face(v.cell), v.face));
}

test('a typed number is written as the server writes it', () => {
  for (const [typed, want] of [['12', '12'], ['12.50', '12.5'], ['007', '7'], ['0', '0'], ['0.10', '0.1'], ['3.000', '3']]) {
    assert.equal(plain(typed), want);
  }
});

test('the page says how many are not sent, why, and what is safe', () => {
  const none = { waiting: 0, refused: 0, sending: false, trouble: null, where: 'log', reopens: false };
  assert.equal(told(none).text, 'All marks are saved.');
  assert.match(told({ ...none, waiting: 1, sending: true }).text, /^Sending 1 mark/);
  const away = told({ ...none, waiting: 3, trouble: { kind: 'net', say: '', do: '' } });
  assert.match(away.text, /^3 marks not sent yet: no connection\. They are kept/);
  assert.ok(away.wait);
  assert.match(away.text, /Leave this page open until the connection is back\.$/);
  assert.match(told({ ...none, waiting: 3, reopens: true, trouble: { kind: 'net', say: '', do: '' } }).text, /This page also opens without a connection\.$/);
  assert.match(told({ ...none, waiting: 3, where: 'storage', trouble: { kind: 'net', say: '', do: '' } }).text, /not against a flat battery/);
  assert.equal(told({ ...none, keeping: 2 }).text, 'Keeping 2 marks on this device…');
  assert.match(told({ ...none, waiting: 3, where: 'memory', trouble: { kind: 'net', say: '', do: '' } }).text, /keeps nothing: leave this page open/);
  assert.match(told({ ...none, waiting: 2, trouble: { kind: 'sign-in', say: '', do: '' } }).text, /Sign in again/);
  assert.equal(told({ ...none, waiting: 2, trouble: { kind: 'sign-in', say: 'This device is not paired any more.', do: 'Scan the code at the desk again.' } }).text,
    '2 marks not sent: this device is not paired any more. Scan the code at the desk again; they are kept on this device.');
  assert.match(told({ ...none, waiting: 2, trouble: { kind: 'refused', say: 'The grading is closed.', do: 'Ask.' } }).text, /2 marks not taken\. The grading is closed\. Ask\./);
  assert.match(told({ ...none, refused: 1 }).text, /1 mark was refused/);
});
