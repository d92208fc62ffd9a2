// A test as it stands on this device: what the computer knows, and what it does not know yet.
//
// The computer decides; this only foretells what it will say, so that a test goes on without it.

const LEFT_OUT = "-";
const AMBIGUOUS = /^[+-]?[1-9]\d{0,2}[.,]\d{3}$/;
const NUMBER = /^[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)$/;

export function stepsOf(document) {
  return document.procedure.steps;
}

export function asksOf(document) {
  return stepsOf(document).flatMap((step) => step.asks.map((ask) => ({ step, ask })));
}

export function findAsk(document, name) {
  return asksOf(document).find((one) => one.ask.name === name) || null;
}

// What was entered, in order: first what the computer has, then what waits to be sent.
export function entriesOf(document, kept) {
  const offset_ms = (kept.run && Number.isFinite(kept.run.offset_s) ? kept.run.offset_s : 0) * 1000;
  const known = document.stand.entries.map((one) => ({
    ...one,
    at: Date.parse(one.time) + offset_ms,
    where: "computer",
  }));
  const waiting = kept.done
    .filter((one) => one.state === "waiting" && (one.doing === "enter" || one.doing === "amend"))
    .map((one) => ({
      id: one.id,
      name: one.name,
      given: one.given,
      at: Date.parse(one.time),
      state: "taken",
      why: one.doing === "amend" ? one.reason : "",
      amends: one.doing === "amend",
      where: "device",
    }));
  const found = [...known];
  for (const one of waiting) {
    const asked = findAsk(document, one.name);
    const followed = asked && !one.amends ? followsFrom(document, asked.ask, one, found) : [];
    const refused = followed.filter((each) => each.effect === "refuse");
    found.push(
      refused.length
        ? { ...one, state: "refused", why: refused.map((each) => each.text).join(" ") }
        : one,
    );
  }
  return found;
}

export function inForce(entries, name) {
  return entries.findLast((one) => one.name === name && one.state === "taken") || null;
}

export function given(entries, name) {
  const one = inForce(entries, name);
  return !one || one.given === LEFT_OUT ? "" : one.given;
}

export function applies(entries, ask) {
  return ask.when.every((one) => given(entries, one.name) === one.word);
}

function complete(entries, ask) {
  const one = inForce(entries, ask.name);
  if (!one) return false;
  return ask.kind !== "wait" || one.given === "end" || one.given === LEFT_OUT;
}

export function currentOf(document, entries) {
  return (
    asksOf(document).find(({ ask }) => applies(entries, ask) && !complete(entries, ask)) || null
  );
}

export function lotOf(document, entries, name) {
  const one = name ? inForce(entries, name) : null;
  if (!one) return null;
  const text = one.given.toLowerCase();
  return document.lots.find((lot) => lot.name.toLowerCase() === text || lot.id === one.given) || null;
}

export function indicatorOf(document, entries, ask) {
  const lot = lotOf(document, entries, ask.lot);
  const known = document.indicators;
  return (lot && known[lot.device]) || known["banded-oil-indicator"] || null;
}

export function tubeOf(document, entries, ask) {
  const lot = lotOf(document, entries, ask.lot);
  return (lot && document.tubes[lot.device]) || null;
}

// Length of a wait [ms]: what the device in use asks for, else what the procedure says.
export function lengthOf(document, entries, ask) {
  let minutes = ask.minutes || 0;
  if (ask.device_time) {
    const lot = lotOf(document, entries, ask.lot);
    const own = lot && (ask.device_time === "purge" ? lot.purge_min : lot.sample_min);
    if (Number.isFinite(own)) minutes = own;
  }
  return minutes * 60_000;
}

// When a wait that is under way began, by this device's clock [ms]; null where none is.
export function begunAt(entries, ask) {
  const one = inForce(entries, ask.name);
  return one && one.given === "begin" ? one.at : null;
}

export function waitLeft(document, entries, ask, now) {
  const begun = begunAt(entries, ask);
  if (begun === null) return null;
  const length = lengthOf(document, entries, ask);
  return now < begun ? length : Math.max(0, begun + length - now);
}

export function today(zone, now) {
  // Year first, in the zone of the site, as days of expiry are written.
  return new Intl.DateTimeFormat("en-CA", {
    timeZone: zone,
    year: "numeric",
    month: "2-digit",
    day: "2-digit",
  }).format(now);
}

export function readNumber(text) {
  const bare = text.trim().replace("−", "-");
  if (AMBIGUOUS.test(bare)) return { ambiguous: bare };
  if (!NUMBER.test(bare)) return { value: null };
  return { value: Number(bare.replace(",", ".")) };
}

// What will follow from an entry, as far as this device can tell.
export function followsFrom(document, ask, entry, entries) {
  const found = [];
  const say = (effect, text) => found.push({ effect, text, name: ask.name });
  if (entry.given === LEFT_OUT) return found;
  if (ask.kind === "choose") {
    const one = ask.choices.find((choice) => choice.word === entry.given);
    if (one && one.effect) say(one.effect, one.why);
  } else if (ask.kind === "number") {
    const first = entry.given.trim().split(/\s+/)[0];
    const rest = entry.given.trim().slice(first.length).trim();
    const { value } = readNumber(first);
    if (Number.isFinite(value) && (!rest || rest === ask.unit)) {
      if (ask.low !== null && value < ask.low) say(ask.below, ask.why);
      if (ask.high !== null && value > ask.high) say(ask.above, ask.why);
    }
  } else if (ask.kind === "lot") {
    const lot = document.lots.find((one) => one.name === entry.given);
    if (lot && lot.expires && lot.expires < today(document.zone, entry.at || Date.now())) {
      say(ask.expired, `${lot.name}: ${lot.expires}`);
    }
  } else if (ask.kind === "wait" && entry.given === "end") {
    const begun = entries.findLast(
      (one) => one.name === ask.name && one.state === "taken" && one.given === "begin",
    );
    if (begun) {
      const lasted = entry.at - begun.at;
      if (lasted < lengthOf(document, entries, ask)) say(ask.short, `${ask.ask} ${ask.why}`.trim());
    }
  }
  return found;
}

// Why the test is void, as far as is known; the computer's own words where it has them.
export function voidReasons(document, entries) {
  const told = [...document.stand.void];
  for (const { ask } of asksOf(document)) {
    const one = inForce(entries, ask.name);
    if (!one || one.where !== "device" || !applies(entries, ask)) continue;
    for (const each of followsFrom(document, ask, one, entries)) {
      if (each.effect === "void" && each.text) told.push(each.text);
    }
  }
  // An amendment that waits may have cured what the computer still says.
  const cures = entries.some((one) => one.where === "device" && one.amends);
  if (!cures) return told;
  return told.filter((text) => !document.stand.void.includes(text) || stillVoid(document, entries));
}

function stillVoid(document, entries) {
  return asksOf(document).some(({ ask }) => {
    const one = inForce(entries, ask.name);
    if (!one || !applies(entries, ask)) return false;
    return followsFrom(document, ask, one, entries).some((each) => each.effect === "void");
  });
}

export function progressOf(document, here) {
  const steps = stepsOf(document);
  const place = here ? steps.findIndex((one) => one.id === here.step.id) : steps.length - 1;
  return { number: place + 1, total: steps.length };
}

// What came back from the computer and has to be looked at.
export function problemsOf(kept, document, entries) {
  const open = kept.done.filter((one) => ["refused", "differs"].includes(one.state) && !one.seen);
  return open.filter((one) => {
    if (one.state !== "refused" || one.doing !== "enter") return true;
    // Foretold on this device and asked again already: nothing new.
    const asked = findAsk(document, one.name);
    const foretold =
      asked &&
      followsFrom(document, asked.ask, { given: one.given, at: Date.parse(one.time) }, entries).some(
        (each) => each.effect === "refuse",
      );
    return !foretold;
  });
}

export function keptFor(kept, name) {
  return kept.done.find((one) => one.state === "kept" && one.doing === "enter" && one.name === name);
}

export { LEFT_OUT };
