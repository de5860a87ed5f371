// Ids that a device makes by itself. crypto.randomUUID is not there on a page
// without TLS, crypto.getRandomValues is.

const fromCrypto = (bytes) => globalThis.crypto.getRandomValues(bytes);

/** uuid7 is an id that sorts by the time it was made (RFC 9562, 5.7). */
export function uuid7(now = Date.now(), fill = fromCrypto) {
  const b = fill(new Uint8Array(16));
  for (let i = 5, t = now; i >= 0; i--, t = Math.floor(t / 256)) b[i] = t % 256;
  b[6] = 0x70 | (b[6] & 0x0f);
  b[8] = 0x80 | (b[8] & 0x3f);
  const hex = Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}

/** newDevice is the name of this device in the log of marks. */
export function newDevice(fill = fromCrypto) {
  return 'd-' + Array.from(fill(new Uint8Array(10)), (x) => x.toString(16).padStart(2, '0')).join('');
}
