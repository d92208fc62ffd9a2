// One screen a step: what is shown, from how the test stands.

import { button, foreseen, inputFor, make } from "./outlet-test-inputs.js";
import {
  begunAt,
  currentOf,
  entriesOf,
  findAsk,
  given,
  inForce,
  keptFor,
  lengthOf,
  problemsOf,
  progressOf,
  voidReasons,
  waitLeft,
} from "./outlet-test-model.js";

function heading(text) {
  return make("h1", { tabindex: "-1", class: "question" }, text);
}

function list(texts, kind = "") {
  return texts.length ? make("ul", { class: kind }, texts.map((one) => make("li", {}, one))) : null;
}

// What screen is due; its name changes only when something else has to be shown.
export function screenOf(at) {
  const { kept, document, view } = at;
  const entries = entriesOf(document, kept);
  const here = currentOf(document, entries);
  const ending = kept.done.find(
    (one) => ["finish", "abort"].includes(one.doing) && one.state === "waiting",
  );
  const problems = problemsOf(kept, document, entries);
  const voided = voidReasons(document, entries);
  const name = [
    view.name,
    view.ask || "",
    here ? here.ask.name : "end",
    here && begunAt(entries, here.ask) !== null ? "waiting" : "",
    entries.length,
    problems.map((one) => one.id).join(),
    kept.done.filter((one) => one.state === "kept").length,
    ending ? `${ending.id}${ending.owner === document.owner}${at.connection}` : "",
    kept.run && kept.run.test ? kept.run.test.id : "",
    voided.length,
    // Where the entries are listed, it says of each where it lies.
    here && view.name !== "entries" ? "" : entries.filter((one) => one.where === "device").length,
    document.stand.doubts.length,
    document.stand.warnings.length,
    kept.done.reduce((sum, one) => sum + (one.told || []).length, 0),
    kept.photos.map((one) => `${one.id}${one.state}`).join(),
    document.stand.photos.length,
  ].join("|");
  return { name, entries, here, ending, problems, voided };
}

export function draw(at, due) {
  const { kept, view } = at;
  if (kept.run && kept.run.test) return recorded(at, due);
  if (due.ending) return ending(at, due);
  if (view.name === "cautions") return cautions(at);
  if (view.name === "abort") return abort(at);
  if (view.name === "amend") return amend(at, due);
  if (view.name === "entries") return entered(at, due);
  if (due.problems.length) return problem(at, due);
  if (due.voided.length) return voided(at, due);
  if (!due.here) return complete(at, due);
  return step(at, due);
}

function cautions(at) {
  return [
    heading(at.word("cautions")),
    make("p", { class: "lead" }, at.document.procedure.title),
    make("div", { class: "cautions stop" }, list(at.document.procedure.cautions)),
    list(at.document.procedure.remarks, "quiet"),
    button(at.word("understood"), at.acts.understood, { class: "main large wide" }),
  ];
}

function followed(at) {
  const count = at.kept.done.filter((one) => one.state === "kept" && one.doing === "enter").length;
  if (!count) return null;
  const text = count === 1 ? at.word("kept_back_one") : at.word("kept_back_many", { count });
  return make("p", { class: "minded" }, text);
}

function step(at, due) {
  const { ask, step: part } = due.here;
  const last = due.entries.at(-1);
  const refused = last && last.name === ask.name && last.state === "refused" ? last : null;
  const standing = ask.standing || part.standing;
  return [
    make("p", { class: "step-title" }, part.title),
    make("p", { class: "step-text" }, part.text),
    followed(at),
    refused
      ? make(
          "div",
          { class: "note note-refused", role: "alert" },
          make("p", { class: "lead" }, `${at.word("not_accepted")}: ${refused.given}`),
          make("p", {}, refused.why),
        )
      : null,
    told(at, due, part),
    heading(ask.ask),
    ask.kind === "wait" ? wait(at, due) : [again(at, ask), inputFor(at, ask, due.entries, (text) => at.acts.enter(ask, text))],
    standing
      ? make("p", { class: "quiet" }, [at.word("founded", { standing }), ask.source || part.source].filter(Boolean).join(" "))
      : null,
    photo(at, part),
    more(at),
  ];
}

// What the computer said of the entries of this step and the one before.
function told(at, due, part) {
  const names = new Set(part.asks.map((one) => one.name));
  const last = due.entries.at(-1);
  if (last) names.add(last.name);
  const said = [...at.document.stand.doubts, ...at.document.stand.warnings]
    .filter((one) => names.has(one.name) && !one.text.startsWith("Left out"))
    .map((one) => one.text);
  const lapses = at.kept.done.filter((one) => names.has(one.name)).flatMap((one) => one.told || []);
  const all = [...new Set([...said, ...lapses])];
  return all.length
    ? make("div", { class: "note note-minded" }, make("p", { class: "lead" }, at.word("mind")), list(all))
    : null;
}

function again(at, ask) {
  const one = keptFor(at.kept, ask.name);
  if (!one) return null;
  const values = { given: worded(at, one.name, one.given), time: at.clock(Date.parse(one.time)) };
  return make(
    "div",
    { class: "note note-minded" },
    make("p", { class: "lead" }, at.word("kept_give", values)),
    button(at.word("kept_yes", { given: values.given }), () => at.acts.confirmKept(one), { class: "large" }),
  );
}

function wait(at, due) {
  const { ask } = due.here;
  const length = lengthOf(at.document, due.entries, ask);
  const begun = begunAt(due.entries, ask);
  const keptBack = keptFor(at.kept, ask.name);
  const most = ask.longest_minutes === null ? null : ask.longest_minutes * 60_000;
  if (begun === null) {
    return [
      keptBack ? make("p", { class: "minded" }, at.word("kept_wait")) : null,
      make(
        "p",
        { class: "lead" },
        [at.word("at_least", { length: at.span(length) }), most === null ? "" : at.word("at_most", { length: at.span(most) })].join(" "),
      ),
      button(at.word("begin_wait", { length: at.span(length) }), () => at.acts.beginWait(ask), { class: "main large wide" }),
      ask.optional ? button(at.word("leave_out"), () => at.acts.enter(ask, "-"), { class: "large" }) : null,
      sound(at),
    ];
  }
  const digits = make("span", { class: "digits" });
  const clock = make("p", { class: "countdown", role: "timer", "aria-live": "off" }, digits, make("span", { class: "left" }, at.word("left")));
  const over = make("p", { class: "lead", role: "status" });
  const late = make("p", { class: "minded", role: "alert", hidden: true });
  const go = button(at.word("go_on"), () => at.acts.enter(ask, "end"), { class: "main large wide", hidden: true });
  const early = make(
    "details",
    { class: "more early" },
    make("summary", {}, at.word("end_early")),
    make(
      "p",
      {},
      [at.word("early_follows"), ...foreseen(at, ask, { given: "end", at: begun }, due.entries), ask.why].filter(Boolean).join(" "),
    ),
    button(at.word("end_early_sure"), () => at.acts.enter(ask, "end"), { class: "danger large" }),
  );
  let rung = waitLeft(at.document, due.entries, ask, Date.now()) <= 0;
  const tick = () => {
    const now = Date.now();
    const left = waitLeft(at.document, due.entries, ask, now);
    const text = left > 0 ? figures(left) : figures(now - begun);
    if (digits.textContent !== text) digits.textContent = text;
    clock.classList.toggle("over", left <= 0);
    clock.querySelector(".left").hidden = left <= 0;
    go.hidden = left > 0;
    early.hidden = left <= 0;
    const said = left > 0 ? "" : at.word("time_over");
    if (over.textContent !== said) over.textContent = said;
    at.title(left > 0 ? `${figures(left)} ${at.word("left")}` : at.word("time_over"));
    if (left <= 0 && !rung) {
      rung = true;
      at.ring();
    }
    if (most !== null && left <= 0) {
      const lasted = now - begun;
      const long = lasted > most;
      const words = long
        ? `${at.word("longer", { length: at.span(lasted), most: at.span(most) })} ${at.word(`then_${ask.long}`)}`
        : at.word("longer_soon", { length: at.span(most) });
      if (late.textContent !== words) late.textContent = words;
      late.hidden = false;
    }
  };
  tick();
  at.every(tick);
  return [clock, over, late, go, early, sound(at), make("p", { class: "quiet" }, at.awake() ? at.word("screen_on") : at.word("screen_off"))];
}

function figures(span_ms) {
  const seconds = Math.ceil(Math.max(0, span_ms) / 1000);
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

function sound(at) {
  const box = make("input", {
    type: "checkbox",
    checked: at.sound(),
    on: { change: (event) => at.acts.sound(event.target.checked) },
  });
  return make("div", { class: "flag" }, make("label", {}, box, make("span", {}, at.word("sound"))));
}

function photo(at, part) {
  const known = at.document.stand.photos.filter((one) => one.step === part.id);
  const own = at.kept.photos.filter((one) => one.step === part.id && one.state !== "taken");
  const count = known.length + own.filter((one) => one.state === "waiting").length;
  const field = make("input", {
    type: "file",
    accept: "image/jpeg,image/png,image/webp,image/heic,.heic",
    capture: "environment",
    class: "hidden-file",
    on: { change: (event) => at.acts.photo(part, event.target) },
  });
  return make(
    "div",
    { class: "photo-part" },
    make("label", { class: "button large photo-button" }, field, make("span", {}, at.word("photo"))),
    count ? make("span", { class: "quiet" }, count === 1 ? at.word("photo_one") : at.word("photo_many", { count })) : null,
    make("p", { class: "refusal", role: "alert", hidden: true }),
    own
      .filter((one) => one.state === "refused")
      .map((one) =>
        make(
          "div",
          { class: "note note-refused" },
          make("p", {}, at.word("photo_refused", { why: one.why })),
          button(at.word("photo_drop"), () => at.acts.dropPhoto(one), { class: "large" }),
        ),
      ),
  );
}

function more(at) {
  return make(
    "div",
    { class: "actions foot" },
    button(at.word("earlier"), () => at.acts.show("entries"), { class: "large" }),
    button(at.word("abort"), () => at.acts.show("abort"), { class: "large quiet-button" }),
  );
}

function back(at) {
  return button(at.word("back"), () => at.acts.show("test"), { class: "large main" });
}

function entered(at, due) {
  const shown = due.entries.map((one) => {
    const asked = findAsk(at.document, one.name);
    const inUse = inForce(due.entries, one.name) === one;
    const state =
      one.state === "refused"
        ? at.word("not_accepted")
        : one.amends
          ? `${at.word("amended")}, ${where(at, one)}`
          : where(at, one);
    return make(
      "li",
      { class: inUse ? "entry-line" : "entry-line past" },
      make("span", { class: "asked" }, asked ? asked.ask.ask : one.name),
      make("b", {}, worded(at, one.name, one.given)),
      make("span", { class: "quiet" }, `${at.clock(one.at)} · ${state}${one.why ? ` · ${one.why}` : ""}`),
      inUse && asked && asked.ask.kind !== "wait"
        ? button(at.word("put_right"), () => at.acts.show("amend", one.name), { class: "large" })
        : null,
    );
  });
  const unused = at.kept.done.filter((one) => one.state === "kept" && one.doing === "enter");
  return [
    heading(at.word("earlier")),
    back(at),
    shown.length ? make("ol", { class: "entries" }, shown) : make("p", { class: "empty" }, at.word("nothing_yet")),
    unused.length
      ? [
          make("h2", {}, at.word("not_used")),
          make(
            "ul",
            { class: "entries" },
            unused.map((one) =>
              make(
                "li",
                { class: "entry-line" },
                make("span", { class: "asked" }, (findAsk(at.document, one.name) || { ask: { ask: one.name } }).ask.ask),
                make("b", {}, worded(at, one.name, one.given)),
                make("span", { class: "quiet" }, `${at.clock(Date.parse(one.time))} · ${one.why}`),
              ),
            ),
          ),
        ]
      : null,
  ].flat();
}

// What was entered as a reader knows it, not as it is kept.
function worded(at, name, text) {
  const found = findAsk(at.document, name);
  const ask = found ? found.ask : null;
  if (text === "-") return at.word("left_out");
  if (!ask) return text;
  if (ask.kind === "wait") return { begin: at.word("began"), end: at.word("ended") }[text] || text;
  if (ask.kind === "confirm") return at.word("done");
  if (ask.kind === "choose") {
    const one = ask.choices.find((choice) => choice.word === text);
    return one ? one.label : text;
  }
  if (ask.kind === "rows") {
    const words = [at.word("row_nothing"), at.word("row_dots"), at.word("row_line")];
    return text
      .split(",")
      .map((each) => words[at.document.row_states.indexOf(each.trim())] || each.trim())
      .join(", ");
  }
  return text;
}

function where(at, one) {
  return one.where === "computer" ? at.word("on_computer") : at.word("on_device");
}

function reasonField(at, text, label) {
  const id = `reason-${Math.random().toString(36).slice(2)}`;
  const field = make("textarea", { id, rows: 3, maxlength: 1000, value: text });
  const why = make("p", { class: "refusal", role: "alert", hidden: true });
  const read = () => {
    const said = field.value.trim().replace(/\s+/g, " ");
    why.hidden = Boolean(said);
    why.textContent = said ? "" : at.word("reason_needed");
    if (!said) field.focus();
    return said;
  };
  return { read, shown: make("div", { class: "field" }, make("label", { for: id }, label), field, why) };
}

function amend(at, due) {
  const found = findAsk(at.document, at.view.ask);
  const one = inForce(due.entries, at.view.ask);
  if (!found || !one) return entered(at, due);
  const reason = reasonField(at, at.view.reason || "", at.word("why_right"));
  const give = (text) => {
    const why = reason.read();
    if (why) at.acts.amend(found.ask, text, why, one.given);
  };
  const before = ["number", "tube"].includes(found.ask.kind) ? "" : one.given;
  return [
    make("p", { class: "step-title" }, at.word("put_right")),
    heading(found.ask.ask),
    make("p", { class: "lead" }, at.word("given_before", { given: worded(at, one.name, one.given) })),
    reason.shown,
    inputFor(at, found.ask, due.entries, give, before),
    make("div", { class: "actions foot" }, back(at)),
  ];
}

function abort(at) {
  const reason = reasonField(at, "", at.word("abort_why"));
  return [
    heading(at.word("abort")),
    reason.shown,
    button(
      at.word("abort_sure"),
      () => {
        const why = reason.read();
        if (why) at.acts.end("abort", why);
      },
      { class: "danger large wide" },
    ),
    make("div", { class: "actions foot" }, back(at)),
  ];
}

function problem(at, due) {
  const one = due.problems[0];
  const asked = findAsk(at.document, one.name);
  const title = one.state === "differs" ? at.word("differs") : at.word("problem");
  const value = given(due.entries, one.name);
  const settles = one.state === "differs" && asked && asked.ask.kind !== "wait" && value;
  return [
    heading(title),
    make(
      "div",
      { class: "note note-refused", role: "alert" },
      make("p", { class: "lead" }, at.word("you_entered", { given: worded(at, one.name, one.given) || "–", ask: asked ? asked.ask.ask : one.name })),
      make("p", {}, one.why),
    ),
    followed(at),
    settles
      ? make(
          "div",
          { class: "actions column" },
          one.doing === "enter"
            ? button(at.word("amend_to_mine", { given: worded(at, one.name, one.given) }), () => at.acts.settle(one, one.given, value), { class: "large" })
            : null,
          button(at.word("first_is_right", { given: worded(at, one.name, value) }), () => at.acts.settle(one, value, value), { class: "large" }),
        )
      : null,
    button(at.word("seen"), () => at.acts.seen(one), { class: settles ? "large" : "main large wide" }),
  ];
}

function voided(at, due) {
  return [
    make(
      "div",
      { class: "panel k-does_not_conform stop-panel", role: "alert" },
      make("div", {}, heading(at.word("void_title")), list([...new Set(due.voided)]), make("p", {}, at.word("void_says"))),
    ),
    button(at.word("void_record"), () => at.acts.end("finish", ""), { class: "main large wide" }),
    more(at),
  ];
}

function complete(at, due) {
  const doubts = at.document.stand.doubts.map((one) => one.text);
  const warnings = at.document.stand.warnings.map((one) => one.text);
  return [
    heading(at.word("all_entered")),
    followed(at),
    doubts.length
      ? make("div", { class: "note note-minded" }, make("p", { class: "lead" }, at.word("doubts")), list(doubts))
      : null,
    warnings.length
      ? make("div", { class: "note note-minded" }, make("p", { class: "lead" }, at.word("mind")), list(warnings))
      : null,
    make("p", {}, at.word("record_says")),
    button(at.word("record"), () => at.acts.end("finish", ""), { class: "main large wide" }),
    make(
      "ol",
      { class: "entries" },
      due.entries
        .filter((one) => inForce(due.entries, one.name) === one && one.given !== "end")
        .map((one) =>
          make(
            "li",
            { class: "entry-line" },
            make("span", { class: "asked" }, (findAsk(at.document, one.name) || { ask: { ask: one.name } }).ask.ask),
            make("b", {}, worded(at, one.name, one.given)),
            make("span", { class: "quiet" }, where(at, one)),
          ),
        ),
    ),
    more(at),
  ];
}

function ending(at, due) {
  const one = due.ending;
  const other = one.owner && one.owner !== at.document.owner;
  if (other) {
    return [
      heading(at.word("will_record")),
      make("p", { class: "lead" }, at.word("other_person", { who: one.who || "–" })),
      button(at.word("record_now"), () => at.acts.takeOver(one), { class: "main large wide" }),
    ];
  }
  return [
    heading(at.connection === "off" || at.connection === "signed-out" ? at.word("will_record") : at.word("recording")),
    make("p", { class: "lead" }, at.word("leave_open")),
    at.kept.photos.filter((each) => each.state === "refused").map((each) =>
      make("div", { class: "note note-refused" }, make("p", {}, at.word("photo_refused", { why: each.why })), button(at.word("photo_drop"), () => at.acts.dropPhoto(each), { class: "large" })),
    ),
  ].flat();
}

function recorded(at, due) {
  const lost = at.kept.done.filter((one) => ["late", "kept", "waiting"].includes(one.state) && ["enter", "amend"].includes(one.doing) && !one.seen);
  void due;
  return [
    heading(at.word("recorded")),
    lost.length
      ? [
          make("p", { class: "minded" }, at.word("recorded_without")),
          make(
            "ul",
            { class: "entries" },
            lost.map((one) =>
              make(
                "li",
                { class: "entry-line" },
                make("span", { class: "asked" }, (findAsk(at.document, one.name) || { ask: { ask: one.name } }).ask.ask),
                make("b", {}, worded(at, one.name, one.given)),
                make("span", { class: "quiet" }, one.why),
              ),
            ),
          ),
        ]
      : null,
    make("a", { class: "button main large wide", href: `/tests/${at.kept.run.test.id}` }, at.word("show_record")),
  ].flat();
}

export function progress(at, due) {
  return progressOf(at.document, due.here);
}
