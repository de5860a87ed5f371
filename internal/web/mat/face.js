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
  const f = v === '' ? { state: 'none', icon: '', text: '–', word: 'no mark', more: [] } : shown(c, v);
  let said = f.word; // what is read begins with what is seen
  const instead = (word, say) => {
    f.more.unshift(said);
    f.word = word;
    said = say;
  };
  const tries = c.values.filter(isMark).length;
  if (tries > 1) instead(`${c.keep} of ${tries}`, `${c.keep} of ${tries} tries`);
  const all = [v, ...c.others].filter(isMark);
  if (new Set(all).size > 1) {
    f.state = 'apart';
    instead('differ', 'differ between examiners');
  } else if (c.others.length) {
    instead(`${all.length} marked`, `${all.length} marked`);
  }
  const { more, ...seen } = f;
  return { ...seen, say: [...(/\d/.test(f.text) ? [f.text] : []), said, ...more].join(', ') };
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
  const f = { state: 'full', icon: 'met', text: '', word: 'shown', more: [] };
  if (c.kind === 'tick') return v === '1' ? f : { ...f, state: short, icon: 'unmet', word: 'not shown' };
  if (c.kind === 'consent') {
    if (v === 'abstain') return { ...f, state: 'marked', icon: '', text: '–', word: 'abstains' };
    return v === 'yes' ? { ...f, word: 'yes' } : { ...f, state: short, icon: 'unmet', word: 'no' };
  }
  Object.assign(f, { state: 'marked', icon: '', text: v, word: 'marked' });
  if (c.kind === 'time') {
    f.text = `${brief(c, v)} s`;
    if (f.text !== `${v} s`) f.more.push(`${v} s exactly`);
  }
  if (c.expect !== '') {
    const reached = reaches(c, v);
    f.state = reached ? 'full' : short;
    f.word = reached ? 'reached' : `${c.must ? 'must be' : 'asked'} ${c.expect}`;
  }
  return f;
}
