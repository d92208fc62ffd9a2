// The guided test at an outlet. Each entry is kept on the device first; what the computer says
// counts; between the two nothing is lost.

import "./outlet-test-store.js";
import "./outlet-test-sync.js";
import { make } from "./outlet-test-inputs.js";
import { entriesOf, findAsk } from "./outlet-test-model.js";
import { draw, progress, screenOf } from "./outlet-test-screens.js";

const store = self.lungwortTestStore;
const sync = self.lungwortTestSync;
const guide = document.getElementById("guide");
const plain = document.getElementById("plain");
const test = JSON.parse(document.getElementById("document").textContent);
const run = test.run;
const IDLE_MS = 15_000;
const SOON_MS = 1_000;
const MOST_MS = 20_000;
const FRESH_MS = 300;
const SOUND = "lungwort-test-sound";
const CAUTIONS = `lungwort-test-cautions-${run}`;
const firstTitle = document.title;

const timers = new Set();
let lock = null;
let tone = null;
let pause = SOON_MS;
let timer = 0;
let busy = false;
let wanted = false;
let workerMissing = false;
let over = false;
const tabs = "BroadcastChannel" in self ? new BroadcastChannel("lungwort-tests") : null;

const at = {
  document: test,
  kept: { run: null, done: [], photos: [] },
  view: { name: "test", ask: "" },
  connection: "sending",
  detail: "",
  word(name, values = {}) {
    return test.words[name].replace(/\{(\w+)\}/g, (all, key) => (key in values ? String(values[key]) : all));
  },
  number(value) {
    return new Intl.NumberFormat(test.language === "de" ? "de-DE" : "en-GB", { maximumSignificantDigits: 6 }).format(value);
  },
  clock(moment) {
    return new Intl.DateTimeFormat(test.language === "de" ? "de-DE" : "en-GB", {
      timeZone: test.zone,
      hour: "2-digit",
      minute: "2-digit",
    }).format(moment);
  },
  day(text) {
    const [year, month, day] = text.split("-").map(Number);
    return new Intl.DateTimeFormat(test.language === "de" ? "de-DE" : "en-GB", {
      timeZone: "UTC",
      day: "numeric",
      month: "short",
      year: "numeric",
    }).format(Date.UTC(year, month - 1, day));
  },
  span(span_ms) {
    const whole = Math.max(0, Math.round(span_ms / 1000));
    const minutes = Math.floor(whole / 60);
    const seconds = whole % 60;
    if (minutes && seconds) return at.word("minutes_seconds", { minutes, seconds });
    return minutes ? at.word("minutes", { minutes }) : at.word("seconds", { seconds });
  },
  title(text) {
    const full = text ? `${text} · ${firstTitle}` : firstTitle;
    if (document.title !== full) document.title = full;
  },
  every(act) {
    timers.add(setInterval(act, 250));
  },
  awake: () => lock !== null,
  sound: () => remembered(SOUND) === "yes",
  ring() {
    if (navigator.vibrate) navigator.vibrate([400, 200, 400, 200, 400]);
    if (at.sound()) beep();
  },
  acts: {},
};

function remembered(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

function remember(name, value) {
  try {
    localStorage.setItem(name, value);
  } catch {
    // A private window remembers nothing; it only asks again.
  }
}

function beep() {
  if (!tone) return;
  for (const delay of [0, 0.5, 1]) {
    const wave = tone.createOscillator();
    const volume = tone.createGain();
    wave.frequency.value = 880;
    volume.gain.value = 0.3;
    wave.connect(volume).connect(tone.destination);
    wave.start(tone.currentTime + delay);
    wave.stop(tone.currentTime + delay + 0.3);
  }
}

async function keepAwake() {
  if (!("wakeLock" in navigator) || document.visibilityState !== "visible" || lock) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => {
      lock = null;
    });
  } catch {
    lock = null;
  }
}

// What is drawn.

let drawn = "";
let pressed = false;

addEventListener("pointerdown", () => {
  pressed = true;
}, true);
for (const name of ["pointerup", "pointercancel"]) {
  addEventListener(name, () => {
    pressed = false;
    setTimeout(() => render(), 0);
  }, true);
}

// What is being typed outlives news from the computer.
function halfTyped(body) {
  const fields = [...body.querySelectorAll("input:not([type=file]), textarea")];
  return fields.map((one) => ({
    value: one.value,
    checked: one.checked,
    kind: one.type,
    focused: one === document.activeElement,
  }));
}

function putBack(body, typed) {
  const fields = [...body.querySelectorAll("input:not([type=file]), textarea")];
  if (fields.length !== typed.length) return;
  fields.forEach((one, place) => {
    const before = typed[place];
    if (one.type !== before.kind) return;
    if (one.type === "radio" || one.type === "checkbox") {
      if (one.checked !== before.checked) {
        one.checked = before.checked;
        if (one.checked) one.dispatchEvent(new Event("change"));
      }
    } else one.value = before.value;
    if (before.focused) one.focus({ preventScroll: true });
  });
}

function render(force = false) {
  const due = screenOf(at);
  status(due);
  if (!force && due.name === drawn) return;
  // The first parts of the name say what is asked, the others what is known of it.
  const same = due.name.split("|", 5).join() === drawn.split("|", 5).join();
  // A press must not end on something else than it began on.
  if (pressed && same) return;
  drawn = due.name;
  for (const one of timers) clearInterval(one);
  timers.clear();
  at.title("");
  const { number, total } = progress(at, due);
  const bar = make("progress", { max: total, value: String(number), "aria-label": at.word("step", { number, total }) });
  bar.value = number;
  const body = make("div", { class: "screen" }, draw(at, due));
  const strip = guide.querySelector(".strip");
  strip.querySelector(".count").textContent = at.word("step", { number, total });
  strip.querySelector("progress").replaceWith(bar);
  const before = guide.querySelector(".screen");
  const typed = same ? halfTyped(before) : [];
  before.replaceWith(body);
  if (same) {
    putBack(body, typed);
    return;
  }
  // The second half of a double press must not answer the next question.
  body.classList.add("fresh");
  setTimeout(() => body.classList.remove("fresh"), FRESH_MS);
  const title = body.querySelector("h1");
  if (title && !force) {
    title.focus({ preventScroll: true });
    window.scrollTo(0, 0);
  }
}

function frame() {
  guide.replaceChildren(
    make(
      "header",
      { class: "strip" },
      make("p", { class: "place" }, make("b", {}, test.outlet), make("span", { class: "quiet" }, test.procedure.title)),
      make("p", { class: "count" }),
      make("progress", { max: "1" }),
      make("p", { class: "connection", role: "status" }),
    ),
    make("div", { class: "asides" }),
    make("div", { class: "screen" }),
  );
  guide.hidden = false;
  plain.remove();
}

function status(due) {
  const place = guide.querySelector(".connection");
  const waiting = at.kept.done.filter((one) => one.state === "waiting").length + at.kept.photos.filter((one) => one.state === "waiting").length;
  const kept = waiting === 1 ? at.word("kept_one") : at.word("kept_many", { count: waiting });
  let text = waiting ? at.word("sending") : at.word("connected");
  let kind = waiting ? "sending" : "ok";
  if (at.connection === "off") {
    text = waiting ? `${at.word("no_connection")} ${kept}` : at.word("no_connection");
    kind = "off";
  } else if (at.connection === "signed-out") {
    text = at.word("signed_out");
    kind = "off";
  } else if (at.connection === "refused") {
    text = `${at.word("not_allowed")} ${at.detail}${waiting ? ` ${kept}` : ""}`;
    kind = "off";
  }
  void due;
  if (place.dataset.said === text) return;
  place.dataset.said = text;
  place.className = `connection ${kind}`;
  place.replaceChildren(text);
  if (at.connection === "signed-out") {
    place.append(" ", make("a", { class: "button", href: `/sign-in?next=${encodeURIComponent(location.pathname)}` }, at.word("sign_in")));
  }
}

// Then each entry goes to the computer as a form, and nothing is taken that might be lost.
function cannotKeep() {
  aside("cannot", at.word("cannot_keep"));
  guide.querySelector(".screen").replaceChildren();
  if (!plain.isConnected) guide.after(plain);
}

function aside(kind, text) {
  const place = guide.querySelector(".asides");
  if (!place.querySelector(`.${kind}`)) place.append(make("p", { class: `aside ${kind}` }, text));
}

// What is kept, read anew.

async function reload(force = false) {
  const [known, done, photos] = await Promise.all([store.runOf(run), store.all("done", run), store.all("photos", run)]);
  at.kept = { run: known, done, photos };
  if (known && known.stand && known.stand.now > test.stand.now) test.stand = known.stand;
  render(force);
  settleEnd();
}

function settleEnd() {
  const known = at.kept.run;
  if (!known || !known.test) return;
  const open = at.kept.done.some((one) => ["late", "kept", "waiting"].includes(one.state) && ["enter", "amend"].includes(one.doing) && !one.seen);
  const photos = at.kept.photos.some((one) => one.state === "waiting");
  if (open || photos) return;
  if (over) return;
  over = true;
  clearTimeout(timer);
  const target = `/tests/${known.test.id}`;
  store.forget(run).finally(() => location.replace(target));
}

function changed() {
  if (tabs) tabs.postMessage({ run });
}

async function act(work) {
  try {
    await work();
  } catch (error) {
    cannotKeep();
    throw error;
  }
  changed();
  await reload();
  askForLater();
  sendNow();
}

let acting = false;

// The second half of a double press is not a second entry.
async function once(work) {
  if (acting) return;
  acting = true;
  try {
    await act(work);
  } finally {
    acting = false;
  }
}

async function keepEntry(what) {
  await store.keep(run, { owner: test.owner, who: test.who, ...what });
}

async function replaceKept(name) {
  for (const one of at.kept.done) {
    if (one.state === "kept" && one.name === name) await store.changed("done", one.id, { state: "replaced" });
  }
}

Object.assign(at.acts, {
  understood() {
    remember(CAUTIONS, "yes");
    at.acts.show("test");
  },
  show(name, ask = "", reason = "") {
    at.view = { name, ask, reason };
    render();
  },
  enter(ask, text) {
    return once(async () => {
      await replaceKept(ask.name);
      await keepEntry({ doing: "enter", name: ask.name, given: text });
    });
  },
  beginWait(ask) {
    // A sound can only be made after somebody touched the page.
    if (at.sound() && !tone && "AudioContext" in self) tone = new AudioContext();
    keepAwake();
    return at.acts.enter(ask, "begin");
  },
  confirmKept(one) {
    return once(async () => {
      await store.changed("done", one.id, { state: "replaced" });
      await keepEntry({ doing: "enter", name: one.name, given: one.given, first: one.first || one.time });
    });
  },
  amend(ask, text, reason, before) {
    return once(async () => {
      await keepEntry({ doing: "amend", name: ask.name, given: text, reason, instead_of: before });
      at.view = { name: "test", ask: "" };
    });
  },
  settle(one, text, before) {
    return once(async () => {
      await store.changed("done", one.id, { seen: true });
      await keepEntry({ doing: "amend", name: one.name, given: text, reason: at.word("conflict_reason"), instead_of: before });
    });
  },
  seen(one) {
    return act(() => store.changed("done", one.id, { seen: true }));
  },
  end(doing, reason) {
    return once(async () => {
      await keepEntry({ doing, reason });
      at.view = { name: "test", ask: "" };
    });
  },
  takeOver(one) {
    return act(() => store.changed("done", one.id, { owner: test.owner }));
  },
  sound(on) {
    remember(SOUND, on ? "yes" : "no");
    if (on && !tone && "AudioContext" in self) tone = new AudioContext();
  },
  async photo(part, field) {
    const file = field.files[0];
    const why = field.closest(".photo-part").querySelector(".refusal");
    field.value = "";
    if (!file) return;
    let text = "";
    if (file.size > test.most_photo_bytes) text = at.word("photo_large", { most: Math.floor(test.most_photo_bytes / 1024 / 1024) });
    else if (!(await isPhoto(file))) text = at.word("photo_kind");
    why.textContent = text;
    why.hidden = !text;
    if (!text) await act(() => store.keepPhoto(run, part.id, file));
  },
  dropPhoto(one) {
    return act(() => store.removePhoto(one.id));
  },
});

async function isPhoto(file) {
  const first = new Uint8Array(await file.slice(0, 12).arrayBuffer());
  const text = String.fromCharCode(...first);
  return (
    (first[0] === 0xff && first[1] === 0xd8 && first[2] === 0xff) ||
    text.startsWith("\x89PNG\r\n\x1a\n") ||
    (text.startsWith("RIFF") && text.slice(8) === "WEBP") ||
    text.slice(4, 8) === "ftyp"
  );
}

// To the computer, and back.

function later(span_ms) {
  clearTimeout(timer);
  timer = setTimeout(sendNow, span_ms);
}

async function sendNow() {
  clearTimeout(timer);
  if (over) return;
  if (busy) {
    wanted = true;
    return;
  }
  busy = true;
  wanted = false;
  let next = IDLE_MS;
  try {
    await sync.send(run, test.owner);
    at.connection = "ok";
    pause = SOON_MS;
  } catch (error) {
    if (error instanceof sync.SignedOut) at.connection = "signed-out";
    else if (error instanceof sync.Refused) {
      at.connection = "refused";
      at.detail = error.message;
    } else at.connection = "off";
    pause = Math.min(pause * 1.7, MOST_MS);
    next = pause * (0.8 + 0.4 * Math.random());
  } finally {
    busy = false;
  }
  changed();
  await reload();
  if (over) return;
  // What was kept while this was under way goes at once.
  later(wanted && at.connection === "ok" ? 0 : next);
}

function soon() {
  pause = SOON_MS;
  sendNow();
}

async function askForLater() {
  try {
    const worker = await navigator.serviceWorker.getRegistration("/tests/");
    if (worker && worker.sync) await worker.sync.register("lungwort-tests");
  } catch {
    // Without it this page sends by itself.
  }
}

async function startWorker() {
  if (!("serviceWorker" in navigator) || !self.isSecureContext) {
    workerMissing = true;
    aside("no-worker", at.word("no_worker"));
    return;
  }
  try {
    await navigator.serviceWorker.register("/tests/worker.js", { scope: "/tests/" });
    const ready = await navigator.serviceWorker.ready;
    const urls = performance
      .getEntriesByType("resource")
      .map((one) => one.name)
      .filter((one) => one.startsWith(`${location.origin}/static/`));
    ready.active.postMessage({ what: "keep", owner: test.owner, page: location.pathname, urls });
    navigator.serviceWorker.addEventListener("message", (event) => {
      if (event.data === "send") soon();
    });
  } catch {
    workerMissing = true;
    aside("no-worker", at.word("no_worker"));
  }
}

async function begin() {
  frame();
  try {
    const known = await store.runOf(run);
    // The page may come out of the worker's store with a token of before.
    const fresh = !known || !known.stand || known.stand.now < test.stand.now;
    await store.keepRun(run, { csrf: fresh || !known.csrf ? test.csrf : known.csrf, owner: test.owner });
  } catch {
    cannotKeep();
    return;
  }
  if (!test.stand.entries.length && remembered(CAUTIONS) !== "yes") at.view = { name: "cautions", ask: "" };
  await reload();
  keepAwake();
  startWorker();
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => false);
  sendNow();
}

addEventListener("online", soon);
addEventListener("offline", () => {
  at.connection = "off";
  render();
});
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") return;
  keepAwake();
  soon();
});
addEventListener("pageshow", (event) => {
  if (event.persisted) soon();
});
if (tabs) {
  tabs.addEventListener("message", (event) => {
    if (event.data.run === run) reload();
  });
}

// For whoever looks on with the browser's own tools.
self.lungwortTest = { at, idle: () => !busy && !wanted, entries: () => entriesOf(test, at.kept), findAsk, workerMissing: () => workerMissing };

begin();
