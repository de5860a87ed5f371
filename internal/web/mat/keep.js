// What this device keeps until the server has answered: each mark under a key
// of its own, so that two open pages never write over each other.
//
// A keep has all(), put(), remove(), device() and number(); put and remove may
// give a promise. Another store can take its place.

import { newDevice } from './ids.js';

const MARK = 'rankwright.mark.';
const DEVICE = 'rankwright.device';
const NUMBER = 'rankwright.number';

/** keepIn keeps marks in a Storage, and in memory alone where there is none. */
export function keepIn(storage, makeDevice = newDevice) {
  let device = '';
  let number = 0;
  const keep = {
    /** safe says whether marks would outlive this page. */
    safe: storage != null,

    all() {
      const out = [];
      tried(() => {
        for (let i = 0; i < storage.length; i++) {
          const key = storage.key(i);
          if (!key.startsWith(MARK)) continue;
          const held = parsed(storage.getItem(key));
          if (held?.mark?.id) out.push(held);
        }
      });
      return out.sort((a, b) => a.mark.clock - b.mark.clock || a.mark.seq - b.mark.seq);
    },

    put(held) {
      tried(() => storage.setItem(MARK + held.mark.id, JSON.stringify(held)));
    },

    remove(id) {
      tried(() => storage.removeItem(MARK + id));
    },

    device() {
      if (device) return device;
      tried(() => { device = storage.getItem(DEVICE) ?? ''; });
      if (!device) {
        device = makeDevice();
        tried(() => {
          storage.setItem(NUMBER, '0');
          storage.setItem(DEVICE, device);
        });
      }
      return device;
    },

    /** number counts the marks of this device from 1. */
    number() {
      keep.device();
      if (keep.safe) tried(() => { number = Math.max(number, Number(storage.getItem(NUMBER)) || 0); });
      number++;
      if (keep.safe && !tried(() => storage.setItem(NUMBER, String(number)))) {
        device = makeDevice(); // the next page would give this number again
        number = 1;
      }
      return number;
    },
  };

  function tried(what) {
    if (storage == null) return false;
    try {
      what();
      return true;
    } catch {
      keep.safe = false;
      return false;
    }
  }
  return keep;
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null; // not ours to throw away
  }
}
