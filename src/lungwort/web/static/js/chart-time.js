// Ticks of a time axis at whole hours, days and months of the site's zone, whatever the browser's is.

const MINUTE = 60, HOUR = 3600, DAY = 86400, MONTH = 30 * DAY;
const STEPS = [1, 2, 5, 10, 15, 30, ...[1, 2, 5, 10, 15, 30].map((n) => n * MINUTE), ...[1, 2, 3, 6, 12].map((n) => n * HOUR), ...[1, 2, 5, 10].map((n) => n * DAY), ...[1, 2, 3, 6, 12, 24, 60, 120].map((n) => n * MONTH)];
const formats = new Map();

// How far the zone's clock is ahead of UTC at a moment [s].
export function ahead(at, zone) {
  if (!formats.has(zone)) {
    formats.set(zone, new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric", second: "numeric" }));
  }
  const whole = Math.floor(at);
  const part = Object.fromEntries(formats.get(zone).formatToParts(new Date(whole * 1000)).map((one) => [one.type, Number(one.value)]));
  return Date.UTC(part.year, part.month - 1, part.day, part.hour, part.minute, part.second) / 1000 - whole;
}

// The moment at which the zone's clock shows so many seconds since 1970.
function moment(clock, zone) {
  const guess = clock - ahead(clock, zone);
  return clock - ahead(guess, zone);
}

export function ticks(min, max, most, zone) {
  const step = STEPS.find((one) => (max - min) / one <= most) ?? STEPS.at(-1);
  const found = [];
  const begin = min + ahead(min, zone), end = max + ahead(max, zone);
  if (step >= MONTH) {
    const months = Math.round(step / MONTH);
    const first = new Date(begin * 1000);
    let number = Math.floor((first.getUTCFullYear() * 12 + first.getUTCMonth()) / months) * months;
    for (; found.length < 100; number += months) {
      const clock = Date.UTC(Math.floor(number / 12), number % 12, 1) / 1000;
      if (clock > end) break;
      found.push(moment(clock, zone));
    }
  } else if (step >= DAY) {
    const days = Math.round(step / DAY);
    for (let clock = Math.floor(begin / DAY) * DAY; clock <= end; clock += DAY) {
      const day = new Date(clock * 1000).getUTCDate();
      if ((day - 1) % days === 0 && (days === 1 || day <= 31 - days / 2)) found.push(moment(clock, zone));
    }
  } else {
    for (let clock = Math.floor(begin / step) * step; clock <= end + HOUR; clock += step) found.push(moment(clock, zone));
  }
  const inside = [...new Set(found)].filter((at) => at >= min && at <= max);
  return { at: inside, step };
}
