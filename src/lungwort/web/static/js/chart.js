// Readings as charts: <figure class="chart" data-outlet="ID" data-from="…" data-to="…">.
import { colours, columns, heights, over, under } from "./chart-draw.js";
import { listings } from "./chart-lists.js";
import { ticks } from "./chart-time.js";

const vendored = (name) => new URL(`../vendor/uplot/${name}`, import.meta.url).href;
const LEAST_SPAN_S = 20;
const WAIT_MS = 160;
let drawing = null;

function uplot() {
  drawing ??= new Promise((resolve, reject) => {
    const sheet = document.createElement("link");
    sheet.rel = "stylesheet";
    sheet.href = vendored("uPlot.min.css");
    document.head.prepend(sheet);
    const script = document.createElement("script");
    script.src = vendored("uPlot.iife.min.js");
    script.onload = () => resolve(window.uPlot);
    script.onerror = reject;
    document.head.append(script);
  });
  return drawing;
}

export function element(name, more = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(more)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...inside.filter((one) => one !== null));
  return made;
}

class Chart {
  constructor(figure, uPlot) {
    this.figure = figure;
    this.uPlot = uPlot;
    this.outlet = figure.dataset.outlet;
    this.keeps = figure.dataset.keep === "address";
    this.language = document.documentElement.lang || "en";
    this.key = `readings-${Math.random().toString(36).slice(2)}`;
    this.plots = [];
    this.marking = false;
    this.ink = colours();
    this.range = null;
  }

  async start() {
    await this.fetch(this.figure.dataset.from ?? "", this.figure.dataset.to ?? "", true);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.ink = colours();
      this.plots.forEach((plot) => plot.redraw(false));
    });
  }

  // Asking the server; only the newest question counts.

  async fetch(from, to, first = false) {
    this.asking?.abort();
    const asking = (this.asking = new AbortController());
    const ask = new URLSearchParams({ from, to, points: this.points() });
    if (first) ask.set("words", "yes");
    this.figure.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(`/readings/${encodeURIComponent(this.outlet)}/data?${ask}`, { signal: asking.signal, headers: { Accept: "application/json" } });
      const said = answer.headers.get("Content-Type")?.includes("json") ? await answer.json() : null;
      if (!answer.ok || !said) throw new Error(said?.error ?? "");
      this.show(said, first);
    } catch (error) {
      if (error.name === "AbortError") return;
      this.failed(error.message, () => this.fetch(from, to, first));
    } finally {
      if (this.asking === asking) this.figure.removeAttribute("aria-busy");
    }
  }

  points() {
    return Math.round(Math.min(Math.max(this.figure.clientWidth, 200), 1600));
  }

  failed(why, again) {
    if (!this.words) {
      this.figure.append(element("p", { class: "note note-refused", role: "alert" }, why || "–"));
      return;
    }
    const text = this.words.failed.replace("{why}", why || this.words.no_answer);
    this.said.replaceChildren(text, " ", element("button", { type: "button", onclick: again }, this.words.again));
  }

  show(view, first) {
    if (first) {
      this.words = view.words;
      this.zone = view.zone;
      this.build();
    }
    this.view = view;
    const empty = view.from === null;
    if (empty && !this.range) {
      this.said.textContent = this.words.none;
      if (view.first !== null) this.range = [view.first, view.last];
      this.view.channels = [];
      return;
    }
    if (first) this.range = [view.from, view.to];
    this.draw();
    this.tell();
    if (this.keeps && !first) this.keep();
  }

  keep() {
    const address = new URL(location.href);
    const [from, to] = this.range.map((at) => new Date(Math.round(at) * 1000).toISOString().replace(".000", ""));
    address.searchParams.set("from", from);
    address.searchParams.set("to", to);
    history.replaceState(history.state, "", address);
  }

  // The frame around the charts.

  build() {
    const w = this.words;
    const button = (text, act, more = {}) => element("button", { type: "button", onclick: act, ...more }, text);
    const day = 86400;
    this.said = element("p", { class: "chart-said", role: "status", "aria-live": "polite" });
    this.marker = button(w.mark, () => this.mark(!this.marking), { "aria-pressed": "false" });
    this.stack = element("div", { class: "chart-stack", tabindex: "0", role: "group", "aria-label": w.charts, onkeydown: (event) => this.pressed(event) });
    this.tables = element("div", { class: "chart-tables" });
    this.legend = element("ul", { class: "chart-legend" });
    for (const kind of ["band", "limit", "outside", "excursion", "suspect", "aside", "settling", "unusable", "gap", "moment"]) {
      this.legend.append(element("li", {}, element("span", { class: `swatch swatch-${kind}`, "aria-hidden": "true" }), w[`legend_${kind}`]));
    }
    this.figure.replaceChildren(
      element("div", { class: "chart-tools", role: "group", "aria-label": w.span_buttons },
        button(w.whole, () => this.whole()),
        button(w.day, () => this.last(day)),
        button(w.week, () => this.last(7 * day)),
        button(w.month, () => this.last(30 * day)),
        button("←", () => this.move(-0.5), { "aria-label": w.earlier, title: w.earlier }),
        button("→", () => this.move(0.5), { "aria-label": w.later, title: w.later }),
        button("+", () => this.zoom(0.5), { "aria-label": w.closer, title: w.closer }),
        button("−", () => this.zoom(2), { "aria-label": w.wider, title: w.wider }),
        this.marker,
      ),
      this.said,
      this.stack,
      this.legend,
      element("p", { class: "quiet chart-hint" }, w.hint),
      this.tables,
    );
    if (!this.keeps) {
      this.link = element("a", { href: `/readings/${this.outlet}` }, w.open);
      this.figure.append(element("p", { class: "chart-link" }, this.link));
    }
    new ResizeObserver(() => this.fit()).observe(this.stack);
  }

  // Moving and zooming.

  go(from, to) {
    const { first, last } = this.view;
    if (first === null) return;
    const whole = Math.max(last - first, LEAST_SPAN_S);
    const span = Math.min(Math.max(to - from, LEAST_SPAN_S), whole);
    const middle = (from + to) / 2;
    from = Math.min(Math.max(middle - span / 2, first), first + whole - span);
    this.range = [from, from + span];
    this.plots.forEach((plot) => plot.setScale("x", { min: this.range[0], max: this.range[1] }));
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => {
      const [a, b] = this.range.map((at) => new Date(at * 1000).toISOString());
      this.fetch(a, b);
    }, WAIT_MS);
  }

  whole() {
    this.go(this.view.first, this.view.last);
  }

  last(seconds) {
    this.go(this.range[1] - seconds, this.range[1]);
  }

  move(share) {
    const by = share * (this.range[1] - this.range[0]);
    this.go(this.range[0] + by, this.range[1] + by);
  }

  zoom(factor, at = (this.range[0] + this.range[1]) / 2) {
    this.go(at - (at - this.range[0]) * factor, at + (this.range[1] - at) * factor);
  }

  // A stretch with some room on both sides.
  near(from, to) {
    const room = Math.max((to - from) * 0.75, 300);
    this.go(from - room, to + room);
    this.stack.scrollIntoView({ block: "start" });
    this.stack.focus({ preventScroll: true });
  }

  pressed(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const acts = { "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2), ArrowLeft: () => this.move(-0.25), ArrowRight: () => this.move(0.25), Home: () => this.whole(), Escape: () => this.mark(false) };
    if (!acts[event.key]) return;
    event.preventDefault();
    acts[event.key]();
  }

  mark(on) {
    this.marking = on;
    this.marker.setAttribute("aria-pressed", String(on));
    this.stack.classList.toggle("marking", on);
  }

  // Fingers, pens and mice on the plot itself.
  listen(plot) {
    const held = new Map();
    const box = plot.over;
    let begun = null, select = null;
    const time = (x, range) => range[0] + ((x - box.getBoundingClientRect().left) / box.clientWidth) * (range[1] - range[0]);
    const begin = () => {
      begun = { range: [...this.range], xs: [...held.values()] };
    };
    box.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      this.stack.focus({ preventScroll: true });
      held.set(event.pointerId, event.clientX);
      box.setPointerCapture(event.pointerId);
      select = held.size === 1 && (this.marking || event.shiftKey) ? event.clientX : null;
      begin();
    });
    box.addEventListener("pointermove", (event) => {
      if (!held.has(event.pointerId)) return;
      held.set(event.pointerId, event.clientX);
      const xs = [...held.values()], { range } = begun;
      if (select !== null) {
        const left = box.getBoundingClientRect().left;
        const a = Math.min(select, event.clientX) - left, b = Math.max(select, event.clientX) - left;
        plot.setSelect({ left: a, width: b - a, top: 0, height: box.clientHeight }, false);
      } else if (xs.length === 1) {
        const by = time(begun.xs[0], range) - time(xs[0], range);
        if (Math.abs(begun.xs[0] - xs[0]) > 2) this.go(range[0] + by, range[1] + by);
      } else if (begun.xs.length === 2) {
        const [a, b] = begun.xs.map((x) => time(x, range));
        const left = box.getBoundingClientRect().left, [p, q] = xs.map((x) => (x - left) / box.clientWidth);
        if (Math.abs(q - p) < 0.02) return;
        const span = Math.abs((b - a) / (q - p)), from = a - p * span;
        this.go(from, from + span);
      }
    });
    const end = (event) => {
      if (!held.delete(event.pointerId)) return;
      if (select !== null) {
        const [a, b] = [select, event.clientX].map((x) => time(x, this.range)).sort((one, other) => one - other);
        plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        if (event.type === "pointerup" && Math.abs(select - event.clientX) > 5) this.go(a, b);
        select = null;
        this.mark(false);
      }
      begin();
    };
    box.addEventListener("pointerup", end);
    box.addEventListener("pointercancel", end);
    box.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== this.stack) return;
      event.preventDefault();
      this.zoom(Math.exp(Math.max(-1, Math.min(1, event.deltaY / 300))), time(event.clientX, this.range));
    }, { passive: false });
  }

  // Drawing.

  draw() {
    const channels = this.view.channels;
    const same = channels.map((one) => one.name).join() === this.plots.map((plot) => plot.channel.name).join();
    if (!same) {
      this.plots.forEach((plot) => plot.destroy());
      this.stack.replaceChildren();
      this.plots = channels.map((one) => this.plot(one));
    }
    channels.forEach((channel, at) => {
      const plot = this.plots[at];
      plot.channel = channel;
      plot.batch(() => {
        plot.setData(columns(channel), false);
        plot.setScale("x", { min: this.range[0], max: this.range[1] });
        const [min, max] = heights(channel);
        plot.setScale("y", { min, max });
      });
      plot.redraw(false);
      plot.root.setAttribute("aria-label", this.described(channel));
    });
  }

  plot(channel) {
    const readout = element("span", { class: "readout" });
    const home = element("div", { class: "chart-plot" });
    this.stack.append(element("section", { class: "chart-channel" }, element("h3", {}, channel.title, element("span", { class: "unit" }, ` [${channel.unit}] `)), readout, home));
    const options = {
      width: this.stack.clientWidth,
      height: this.height(),
      padding: [8, 26, 0, 0],
      legend: { show: false },
      cursor: { sync: { key: this.key }, drag: { x: false, y: false, setScale: false }, points: { size: 7 }, y: false },
      scales: { x: { time: true, auto: false, range: (_, min, max) => [min, max] }, y: { auto: false, range: (_, min, max) => [min, max] } },
      series: [{}, { stroke: () => this.ink.trace, width: 1.25, points: { show: false } }, { stroke: () => this.ink.trace, width: 1.25, points: { show: false } }],
      bands: [{ series: [2, 1], fill: () => `color-mix(in srgb, ${this.ink.trace} 32%, transparent)` }],
      axes: [
        { stroke: () => this.ink.ink, grid: { stroke: () => this.ink.rule, width: 1 }, ticks: { stroke: () => this.ink.rule, width: 1 }, font: '13px "Source Sans Pro", system-ui, sans-serif', splits: (u, _, min, max) => this.splits(u, min, max), values: (_, splits) => this.tickTexts(splits), size: 44 },
        { stroke: () => this.ink.ink, grid: { stroke: () => this.ink.rule, width: 1 }, ticks: { stroke: () => this.ink.rule, width: 1 }, font: '13px "Source Sans Pro", system-ui, sans-serif', values: (_, splits) => splits.map((value) => this.number(value)), size: 54 },
      ],
      hooks: {
        drawClear: [(u) => under(u, this.view, u.channel ?? channel, this.ink)],
        draw: [(u) => over(u, this.view, u.channel ?? channel, this.ink)],
        setCursor: [(u) => this.point(u, readout)],
      },
    };
    const plot = new this.uPlot(options, columns(channel), home);
    plot.channel = channel;
    plot.root.setAttribute("role", "img");
    this.listen(plot);
    return plot;
  }

  height() {
    return window.innerWidth < 640 ? 190 : 220;
  }

  fit() {
    const width = this.stack.clientWidth;
    if (width) this.plots.filter((plot) => plot.width !== width).forEach((plot) => plot.setSize({ width, height: this.height() }));
  }

  described(channel) {
    const w = this.words;
    const limits = channel.lines.map((line) => line.text).join("; ");
    const values = channel.least === null ? w.nothing_usable : `${w.least} ${this.number(channel.least)} ${channel.unit}, ${w.greatest} ${this.number(channel.greatest)} ${channel.unit}`;
    return `${channel.title}: ${values}${limits ? `. ${w.limits}: ${limits}` : ""}`;
  }

  point(u, readout) {
    const { left } = u.cursor;
    if (left === undefined || left < 0 || !u.channel.t.length) {
      readout.textContent = "";
      return;
    }
    const at = u.posToVal(left, "x"), channel = u.channel;
    const near = (this.range[1] - this.range[0]) * 0.012;
    const told = [this.moment(at, true)];
    let best = 0;
    channel.t.forEach((t, place) => {
      if (Math.abs(t - at) < Math.abs(channel.t[best] - at)) best = place;
    });
    if (Math.abs(channel.t[best] - at) <= Math.max(near, this.view.width)) {
      const { lo, hi, alo, ahi, m } = channel;
      if (lo[best] !== null) told.push(lo[best] === hi[best] ? `${this.number(lo[best])} ${channel.unit}` : `${this.number(lo[best])} … ${this.number(hi[best])} ${channel.unit}`);
      if (alo[best] !== null) told.push(`${this.words.legend_aside}: ${this.number(alo[best])} … ${this.number(ahi[best])} ${channel.unit}`);
      if (m[best] & 1) told.push(this.words.legend_suspect);
      if (m[best] & 36) told.push(this.words.legend_outside);
      if (m[best] & 8) told.push(this.words.over);
      if (m[best] & 16) told.push(this.words.under);
    }
    for (const one of this.view.asides) {
      if (one.from - near / 4 <= at && at <= one.to + near / 4 && (!one.channel || one.channel === channel.name)) told.push(`${one.title}: ${one.why}`);
    }
    for (const one of this.view.moments) if (Math.abs(one.t - at) < near) told.push(one.what);
    readout.textContent = told.join(" · ");
  }

  // Words and numbers.

  number(value) {
    return new Intl.NumberFormat(this.language, { maximumSignificantDigits: 6 }).format(value);
  }

  format(options) {
    const key = JSON.stringify(options);
    this.formats ??= {};
    return (this.formats[key] ??= new Intl.DateTimeFormat(this.language === "en" ? "en-GB" : this.language, { timeZone: this.zone, ...options }));
  }

  moment(at, fine = false) {
    const close = fine || this.range[1] - this.range[0] < 7200;
    return this.format({ day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", ...(close ? { second: "2-digit" } : {}), timeZoneName: "short" }).format(new Date(at * 1000));
  }

  splits(u, min, max) {
    const found = ticks(min, max, Math.max(2, Math.floor(u.width / 85)), this.zone);
    this.step = found.step;
    return found.at;
  }

  tickTexts(splits) {
    const { step } = this;
    let before = "";
    return splits.map((at) => {
      const say = (options) => this.format(options).format(new Date(at * 1000));
      const day = { day: "numeric", month: "short" };
      let above = say({ hour: "2-digit", minute: "2-digit", ...(step < 60 ? { second: "2-digit" } : {}) }), below = say(day);
      if (step >= 360 * 86400) [above, below] = [say({ year: "numeric" }), ""];
      else if (step >= 28 * 86400) [above, below] = [say({ month: "short" }), say({ year: "numeric" })];
      else if (step >= 86400) [above, below] = [say(day), say({ year: "numeric" })];
      const text = below === before ? above : `${above}\n${below}`;
      before = below;
      return text;
    });
  }

  width() {
    const s = this.view.width;
    const unit = s % 86400 === 0 ? ["day", 86400] : s % 3600 === 0 ? ["hour", 3600] : s % 60 === 0 ? ["minute", 60] : ["second", 1];
    return new Intl.NumberFormat(this.language, { style: "unit", unit: unit[0], unitDisplay: "narrow" }).format(s / unit[1]);
  }

  tell() {
    const { view, words: w } = this;
    const how = view.width ? w.bucket.replace("{width}", this.width()) : w.single;
    this.said.textContent = view.from === null ? w.none : `${w.span.replace("{from}", this.moment(view.from)).replace("{to}", this.moment(view.to)).replace("{zone}", this.zone)} ${how}`;
    listings(this);
    if (this.link) {
      const [from, to] = this.range.map((at) => new Date(Math.round(at) * 1000).toISOString());
      this.link.href = `/readings/${this.outlet}?${new URLSearchParams({ from, to })}`;
    }
  }
}

export async function boot(root = document) {
  const figures = [...root.querySelectorAll("figure.chart[data-outlet]:not([data-booted])")];
  if (!figures.length) return;
  for (const figure of figures) figure.dataset.booted = "yes";
  const uPlot = await uplot();
  await Promise.all(figures.map((figure) => new Chart(figure, uPlot).start()));
}

boot();
document.addEventListener("htmx:load", (event) => boot(event.target));
