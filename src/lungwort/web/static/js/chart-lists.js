// What the charts show, as tables: for who cannot see them, and for paper.

function el(name, more, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(more ?? {})) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

function table(title, headings, rows, below = []) {
  if (!rows.length) return null;
  const head = el("tr", null, ...headings.map(([text, numeric]) => el("th", { scope: "col", ...(numeric ? { class: "num" } : {}) }, text)));
  const body = rows.map((cells) => el("tr", null, ...cells.map((cell, at) => el("td", { "data-label": headings[at][0], ...(headings[at][1] ? { class: "num" } : {}) }, cell))));
  return el("section", { class: "part list" }, el("h3", null, title), ...below, el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": title }, el("table", null, el("thead", null, head), el("tbody", null, ...body))));
}

export function listings(chart) {
  const { view, words: w } = chart;
  const value = (number, unit) => (number === null ? "–" : `${chart.number(number)}\u00a0${unit}`);
  const when = (at) => el("span", { class: "when" }, chart.moment(at));
  const stretch = (one) => {
    const button = el("button", { type: "button", class: "quiet-button", "aria-label": `${w.show}: ${chart.moment(one.from)}` }, chart.moment(one.from));
    button.addEventListener("click", () => chart.near(one.from, one.to));
    return button;
  };
  const titles = Object.fromEntries(view.channels.map((one) => [one.name, one.title]));
  const share = (one) => (one.readings ? new Intl.NumberFormat(chart.language, { style: "percent", maximumFractionDigits: 1, roundingMode: "floor" }).format(one.usable / one.readings) : "–");
  const link = (one) => el("a", { href: one.href }, one.what);
  const more = (count) => (count ? [el("p", { class: "quiet" }, w.more.replace("{count}", count))] : []);
  chart.tables.replaceChildren(
    ...[
      table(w.numbers, [[w.channel], [w.least, 1], [w.greatest, 1], [w.usable, 1], [w.in_doubt, 1], [w.limits]], view.channels.map((one) => [one.title, value(one.least, one.unit), value(one.greatest, one.unit), share(one), chart.number(one.suspect), one.lines.map((line) => line.text).join("; ")])),
      table(w.outside, [[w.from], [w.to], [w.channel], [w.least, 1], [w.greatest, 1], [w.why]], view.outside.map((one) => [stretch(one), when(one.to), one.title, value(one.least, one.unit), value(one.greatest, one.unit), one.usable ? "" : w.not_usable]), [el("p", { class: "minded" }, w.outside_why), ...more(view.outside_more)]),
      table(w.excursions, [[w.from], [w.to], [w.channel], [w.furthest, 1], [w.limit, 1]], view.excursions.map((one) => [stretch(one), when(one.to), one.title, value(one.peak, one.unit), value(one.limit, one.unit)])),
      table(w.asides, [[w.from], [w.to], [w.channel], [w.what], [w.why]], view.asides.map((one) => [stretch(one), when(one.to), one.channel ? (titles[one.channel] ?? one.channel) : w.all_channels, one.title, one.why]), more(view.asides_more)),
      table(w.moments, [[w.when], [w.what]], view.moments.map((one) => [when(one.t), link(one)])),
      view.notes.length ? el("section", { class: "part" }, el("h3", null, w.notes), el("ul", null, ...view.notes.map((text) => el("li", null, text)))) : null,
    ].filter(Boolean),
  );
}
