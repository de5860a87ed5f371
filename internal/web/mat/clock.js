// What is said where a device's clock is wrong. The clock decides nothing: the
// order of marks is that of their logical clocks.

const MIN = 60_000;
const HOUR = 60 * MIN;
const DAY = 24 * HOUR;

/** clockOff puts milliseconds into words, more than 0 being ahead; "" for 0. */
export function clockOff(ms) {
  if (!ms) return '';
  const by = Math.abs(ms);
  const [n, unit] = by > 345 * DAY ? [by / (365.25 * DAY), 'year'] : by >= 1.5 * DAY ? [by / DAY, 'day'] : by >= 1.5 * HOUR ? [by / HOUR, 'hour'] : [by / MIN, 'minute'];
  const whole = Math.max(1, Math.round(n));
  return `This device’s clock is ${whole} ${unit}${whole === 1 ? '' : 's'} ${ms > 0 ? 'ahead' : 'behind'}. Marks count all the same; set it right when you can.`;
}
