// How a cell looks and what it says, from its marks. matFaceOf in Go does the
// same for the page as it is first shown; both are held to
// test/faces.json. What decides anything is worked out on the server.

/**
 * face tells {state, icon, text, word, say} of a cell
 * {kind, values, keep, atMost, expect, must, others}: values by try, "" or "x"
 * where there is none.
 */
export function face(c) {
  const v = kept(c);
  const f = v === '' ? { state: 'none', icon: '', text: '–', word: 'no mark', say: 'not marked yet' } : shown(c, v);
  const tries = c.values.filter(isMark).length;
  if (tries > 1) {
    f.word = `${c.keep} of ${tries}`;
    f.say += `, ${f.word} tries`;
  }
  const all = [v, ...c.others].filter(isMark);
  if (new Set(all).size > 1) {
    f.state = 'apart';
    f.word = 'differ';
    f.say += ', examiners differ';
  } else if (c.others.length) {
    f.word = `${all.length} marked`;
    f.say += `, ${all.length} marked`;
  }
  return f;
}

export const isMark = (v) => v !== '' && v !== 'x';

function kept(c) {
  const marks = c.values.filter(isMark);
  if (!marks.length) return '';
  if (c.keep === 'first') return marks[0];
  if (c.keep === 'last') return marks[marks.length - 1];
  return marks.reduce((a, b) => ((c.atMost ? Number(b) < Number(a) : Number(b) > Number(a)) ? b : a));
}

const reaches = (c, v) => (c.atMost ? Number(v) <= Number(c.expect) : Number(v) >= Number(c.expect));

// A time is shown to the tenth, unless that would tell another story than the
// whole of it.
function brief(c, v) {
  const [whole, part = ''] = v.split('.');
  if (part.length < 2) return v;
  const n = Math.floor((Number(whole) * 1000 + Number(part.padEnd(3, '0')) + 50) / 100);
  const short = n % 10 ? `${Math.floor(n / 10)}.${n % 10}` : String(n / 10);
  return c.expect === '' || reaches(c, short) === reaches(c, v) ? short : v;
}

function shown(c, v) {
  const short = c.must ? 'low' : 'part';
  if (c.kind === 'tick') {
    return v === '1' ? { state: 'full', icon: 'met', text: '', word: 'shown', say: 'shown' }
      : { state: short, icon: 'unmet', text: '', word: 'not shown', say: 'not shown' };
  }
  if (c.kind === 'consent') {
    if (v === 'abstain') return { state: 'marked', icon: '', text: '–', word: 'abstains', say: 'abstains' };
    return v === 'yes' ? { state: 'full', icon: 'met', text: '', word: 'yes', say: 'yes' }
      : { state: short, icon: 'unmet', text: '', word: 'no', say: 'no' };
  }
  const time = c.kind === 'time';
  const f = { state: 'marked', icon: '', text: time ? `${brief(c, v)} s` : v, word: 'marked', say: time ? `${v} seconds` : v };
  if (c.expect !== '') {
    const reached = reaches(c, v);
    f.state = reached ? 'full' : short;
    f.word = reached ? 'reached' : `${c.must ? 'must be' : 'asked'} ${c.expect}`;
  }
  f.say += `, ${f.word}`;
  return f;
}
