// How each kind of entry is made: large targets, one question at a time.

import {
  LEFT_OUT,
  followsFrom,
  indicatorOf,
  readNumber,
  today,
  tubeOf,
} from "./outlet-test-model.js";

const SVG = "http://www.w3.org/2000/svg";

export function make(tag, attributes = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "on") {
      for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
    } else if (name === "value") made.value = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.flat(4).filter((one) => one !== null && one !== undefined && one !== ""));
  return made;
}

export function button(text, act, attributes = {}) {
  return make("button", { type: "button", on: { click: act }, ...attributes }, text);
}

let counter = 0;
function newId() {
  counter += 1;
  return `i${counter}`;
}

// From a question to what is shown; `give` takes what was entered.
export function inputFor(at, ask, entries, give, before = "") {
  const kinds = {
    choose,
    confirm,
    instrument: things,
    lot,
    number,
    person: things,
    rows,
    tube,
    words,
  };
  return kinds[ask.kind](at, ask, entries, give, before);
}

function effectWord(at, effect) {
  return { refuse: at.word("then_refuse"), warn: at.word("then_warn"), doubt: at.word("then_doubt"), void: at.word("then_void") }[effect] || "";
}

function leaveOut(at, ask, give) {
  return ask.optional
    ? make("div", { class: "actions" }, button(at.word("leave_out"), () => give(LEFT_OUT), { class: "large" }))
    : null;
}

function confirm(at, ask, _entries, give) {
  return make(
    "div",
    {},
    button(at.word("done"), () => give("yes"), { class: "main large wide" }),
    leaveOut(at, ask, give),
  );
}

function choose(at, ask, _entries, give, before) {
  return make(
    "div",
    {},
    make(
      "div",
      { class: "picks" },
      ask.choices.map((one) => {
        const made = button(make("b", {}, one.label), () => give(one.word), {
          class: "pick word",
          "aria-pressed": before ? String(before === one.word) : null,
          "data-word": one.word,
        });
        if (one.says) made.append(make("span", {}, one.says));
        if (one.effect) made.append(make("span", { class: "then" }, effectWord(at, one.effect)));
        return made;
      }),
    ),
    leaveOut(at, ask, give),
  );
}

function things(at, ask, _entries, give, before) {
  const known = ask.kind === "person" ? at.document.persons : at.document.instruments;
  return make(
    "div",
    {},
    known.length
      ? make(
          "div",
          { class: "picks" },
          known.map((one) =>
            button(make("b", {}, one.name), () => give(one.name), {
              class: "pick",
              "aria-pressed": before ? String(before === one.name) : null,
            }),
          ),
        )
      : make("p", { class: "minded" }, at.word("nothing_on_record")),
    leaveOut(at, ask, give),
  );
}

function lot(at, ask, _entries, give) {
  const fits = at.document.lots.filter(
    (one) => one.kind === ask.lot_kind && (!ask.analyte || !one.analyte || one.analyte === ask.analyte),
  );
  const day = today(at.document.zone, Date.now());
  const good = fits.filter((one) => !one.expires || one.expires >= day);
  const old = fits.filter((one) => one.expires && one.expires < day);
  const shown = (one, late) => {
    const kind = at.document.indicators[one.device] || at.document.tubes[one.device];
    const made = button(make("b", {}, one.name), () => give(one.name), { class: `pick${late ? " late" : ""}` });
    if (kind) made.append(make("span", {}, one.assumed ? at.word("assumed", { title: kind.title }) : kind.title));
    if (one.expires) {
      made.append(
        make("span", {}, at.word(late ? "expired" : "expires", { day: at.day(one.expires) })),
      );
    }
    if (late) made.append(make("span", { class: "then" }, effectWord(at, ask.expired)));
    return made;
  };
  return make(
    "div",
    {},
    fits.length ? null : make("p", { class: "minded" }, at.word("no_lot")),
    make("div", { class: "picks" }, good.map((one) => shown(one, false)), old.map((one) => shown(one, true))),
    leaveOut(at, ask, give),
  );
}

function refusal() {
  return make("p", { class: "refusal", role: "alert", hidden: true });
}

function refuse(place, text) {
  place.textContent = text;
  place.hidden = !text;
}

function span(at, ask) {
  if (ask.low === null && ask.high === null) return null;
  const said =
    ask.low === null
      ? at.word("up_to", { high: at.number(ask.high) })
      : ask.high === null
        ? at.word("from", { low: at.number(ask.low) })
        : at.word("from_to", { low: at.number(ask.low), high: at.number(ask.high) });
  return make("p", { class: "quiet" }, at.word("range", { span: said, unit: ask.unit }));
}

function number(at, ask, entries, give, before) {
  const id = newId();
  const why = refusal();
  const field = make("input", {
    id,
    class: "figure",
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    autocapitalize: "off",
    spellcheck: "false",
    enterkeyhint: "done",
    maxlength: 80,
    value: before,
  });
  const check = () => {
    const text = field.value.trim();
    if (!text) return refuse(why, at.word("nothing_entered"));
    const { value, ambiguous } = readNumber(text.split(/\s+/)[0]);
    if (ambiguous) {
      const whole = ambiguous.replace(/[.,]/, "");
      return refuse(why, at.word("two_ways", { given: ambiguous, whole, part: ambiguous.replace(",", ".") }));
    }
    // What the instrument shows may be more than a bare number: '< 1', '2 ± 0.5', '35 mg/m3'.
    if (!ask.analyte && value === null) return refuse(why, at.word("no_number"));
    if (ask.analyte && !/\d/.test(text)) return refuse(why, at.word("no_number"));
    return give(text);
  };
  const put = (sign) => () => {
    const text = field.value.trim();
    field.value = text.startsWith(sign) ? text.slice(sign.length).trim() : sign + (sign === "<" ? " " : "") + text;
    field.focus();
  };
  return make(
    "form",
    {
      class: "entry",
      novalidate: true,
      on: {
        submit: (event) => {
          event.preventDefault();
          check();
        },
      },
    },
    make("label", { class: "hidden", for: id }, ask.ask),
    make(
      "div",
      { class: "figure-row" },
      field,
      ask.unit ? make("span", { class: "figure-unit" }, ask.unit) : null,
    ),
    ask.analyte
      ? make(
          "div",
          { class: "signs" },
          button("−", put("-"), { class: "large", "aria-label": at.word("minus") }),
          button("<", put("<"), { class: "large", "aria-label": at.word("less_than") }),
        )
      : null,
    why,
    span(at, ask),
    make("button", { class: "main large wide" }, at.word("enter")),
    leaveOut(at, ask, give),
  );
}

function words(at, ask, _entries, give, before) {
  const id = newId();
  const why = refusal();
  const field = make("textarea", { id, rows: 4, maxlength: 2000, value: before });
  return make(
    "form",
    {
      class: "entry",
      novalidate: true,
      on: {
        submit: (event) => {
          event.preventDefault();
          const text = field.value.trim().replace(/\s+/g, " ");
          if (text) give(text);
          else if (ask.optional) give(LEFT_OUT);
          else refuse(why, at.word("nothing_entered"));
        },
      },
    },
    make("label", { class: "hidden", for: id }, ask.ask),
    field,
    why,
    make("button", { class: "main large wide" }, at.word("enter")),
    leaveOut(at, ask, give),
  );
}

function drawn(state) {
  // What is seen, as a shape: nothing, separate dots, a joined line. Never a colour.
  const made = document.createElementNS(SVG, "svg");
  made.setAttribute("viewBox", "0 0 120 24");
  made.setAttribute("aria-hidden", "true");
  made.setAttribute("class", "row-shape");
  const add = (tag, values) => {
    const one = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(values)) one.setAttribute(name, value);
    made.append(one);
  };
  add("rect", { x: 1, y: 1, width: 118, height: 22, rx: 4, class: "frame" });
  if (state === 1) for (let x = 16; x < 110; x += 22) add("circle", { cx: x, cy: 12, r: 4.5, class: "mark" });
  if (state === 2) add("rect", { x: 10, y: 7.5, width: 100, height: 9, rx: 4.5, class: "mark" });
  return made;
}

function rows(at, ask, entries, give, before) {
  const kind = indicatorOf(at.document, entries, ask);
  const states = at.document.row_states;
  const labels = [at.word("row_nothing"), at.word("row_dots"), at.word("row_line")];
  const seen = kind.rows.map(() => null);
  before.split(",").forEach((one, place) => {
    const state = states.indexOf(one.trim());
    if (state >= 0 && place < seen.length) seen[place] = state;
  });
  const why = refusal();
  const cannot = () => seen.some((one, place) => place > 0 && one !== null && seen[place - 1] !== null && one > seen[place - 1]);
  const made = kind.rows.map((row, place) => {
    const group = newId();
    const amounts =
      row.dots_mg_m3 === null
        ? at.word("row_line_only", { line: at.number(row.line_mg_m3) })
        : at.word("row_amounts", { dots: at.number(row.dots_mg_m3), line: at.number(row.line_mg_m3) });
    return make(
      "fieldset",
      { class: "row" },
      make("legend", {}, `${place + 1}. ${row.name}: `, make("span", { class: "quiet" }, amounts)),
      make(
        "div",
        { class: "row-states" },
        labels.map((label, state) => {
          const radio = make("input", {
            type: "radio",
            name: group,
            value: states[state],
            checked: seen[place] === state,
            on: {
              change: () => {
                seen[place] = state;
                refuse(why, cannot() ? at.word("row_cannot") : "");
              },
            },
          });
          return make("label", { class: "row-state" }, radio, drawn(state), make("span", {}, label));
        }),
      ),
    );
  });
  return make(
    "form",
    {
      class: "entry",
      novalidate: true,
      on: {
        submit: (event) => {
          event.preventDefault();
          if (seen.includes(null)) return refuse(why, at.word("row_missing"));
          if (cannot()) return refuse(why, at.word("row_cannot"));
          return give(seen.map((state) => states[state]).join(", "));
        },
      },
    },
    make("p", { class: "quiet" }, `${kind.title}. ${at.word("row_lowest_first")}`),
    made,
    why,
    make("button", { class: "main large wide" }, at.word("enter")),
    leaveOut(at, ask, give),
  );
}

function tube(at, ask, entries, give, before) {
  const kind = tubeOf(at.document, entries, ask);
  const id = newId();
  const why = refusal();
  const field = make("input", {
    id,
    class: "figure",
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    enterkeyhint: "done",
    maxlength: 40,
    value: before,
  });
  const marks = kind && kind.first_mark !== null && kind.last_mark !== null;
  return make(
    "form",
    {
      class: "entry",
      novalidate: true,
      on: {
        submit: (event) => {
          event.preventDefault();
          const text = field.value.trim();
          if (!/\d/.test(text)) return refuse(why, at.word("no_number"));
          const { ambiguous } = readNumber(text.replace(/^[<>]\s*/, ""));
          if (ambiguous) {
            const whole = ambiguous.replace(/[.,]/, "");
            return refuse(why, at.word("two_ways", { given: ambiguous, whole, part: ambiguous.replace(",", ".") }));
          }
          return give(text);
        },
      },
    },
    make("label", { for: id }, kind ? `${kind.title}: ${at.word("scale", { unit: kind.unit })}` : ask.ask),
    marks
      ? make("p", { class: "quiet" }, at.word("marks", { first: at.number(kind.first_mark), last: at.number(kind.last_mark), unit: kind.unit }))
      : null,
    kind && kind.strokes !== null
      ? make("p", { class: "quiet" }, at.word("tube_strokes", { strokes: at.number(kind.strokes) }))
      : null,
    make("div", { class: "figure-row" }, field, kind ? make("span", { class: "figure-unit" }, kind.unit) : null),
    make(
      "div",
      { class: "signs" },
      ["<", ">"].map((sign) =>
        button(sign, () => {
          field.value = `${sign} ${field.value.replace(/^[<>]\s*/, "").trim()}`;
          field.focus();
        }, { class: "large" }),
      ),
    ),
    why,
    make("button", { class: "main large wide" }, at.word("enter")),
    kind && kind.first_mark !== null
      ? button(at.word("under_first"), () => give("nothing"), { class: "large wide" })
      : null,
    kind && kind.last_mark !== null
      ? button(at.word("past_last"), () => give("beyond"), { class: "large wide" })
      : null,
    kind ? make("ul", { class: "quiet" }, kind.remarks.map((one) => make("li", {}, one))) : null,
    leaveOut(at, ask, give),
  );
}

// What is foreseen of an entry, in words, for a wait that is ended early.
export function foreseen(at, ask, entry, entries) {
  return followsFrom(at.document, ask, entry, entries).map((one) => effectWord(at, one.effect));
}
