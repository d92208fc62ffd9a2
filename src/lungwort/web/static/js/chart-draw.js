// What is drawn on one chart: hatching, limits, excursions, marks. Shapes go with every colour.

const DOUBTED = 1, OUTSIDE = 4, ASIDE_OUTSIDE = 32;

export function colours() {
  const css = getComputedStyle(document.documentElement);
  const names = ["ground", "panel", "ink", "quiet", "rule", "trace", "aside", "limit", "excursion", "hatch", "does-not-conform", "not-proven"];
  return Object.fromEntries(names.map((name) => [name, css.getPropertyValue(`--${name}`).trim()]));
}

// Settling is hatched one way and sparsely, what cannot be used both ways and densely.
export function pattern(context, kind, colour, ratio) {
  const size = Math.round({ settling: 12, gap: 14 }[kind] * ratio || 8 * ratio);
  const tile = document.createElement("canvas");
  tile.width = tile.height = size;
  const pen = tile.getContext("2d");
  pen.strokeStyle = colour;
  pen.lineWidth = ratio;
  pen.globalAlpha = kind === "gap" ? 0.3 : 0.75;
  pen.beginPath();
  for (const shift of [-size, 0, size]) {
    pen.moveTo(shift, size);
    pen.lineTo(shift + size, 0);
    if (kind !== "settling") {
      pen.moveTo(shift, 0);
      pen.lineTo(shift + size, size);
    }
  }
  pen.stroke();
  return context.createPattern(tile, "repeat");
}

function across(u, from, to, least) {
  const { left, width } = u.bbox;
  let a = u.valToPos(from, "x", true), b = u.valToPos(to, "x", true);
  if (b - a < least) {
    const middle = (a + b) / 2;
    a = middle - least / 2;
    b = middle + least / 2;
  }
  a = Math.max(a, left);
  b = Math.min(b, left + width);
  return b > a ? [a, b - a] : null;
}

function clipped(u, draw) {
  const { ctx, bbox } = u;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  draw(ctx, bbox);
  ctx.restore();
}

export function under(u, view, channel, ink) {
  const ratio = devicePixelRatio;
  clipped(u, (pen, box) => {
    for (const one of view.asides) {
      if ((one.channel && one.channel !== channel.name) || one.kind === "doubted") continue;
      const place = across(u, one.from, one.to, ratio);
      if (!place) continue;
      pen.fillStyle = pattern(pen, one.kind, ink.hatch, ratio);
      pen.fillRect(place[0], box.top, place[1], box.height);
    }
    for (const one of view.excursions) {
      if (one.channel !== channel.name) continue;
      const place = across(u, one.from, one.to, 2 * ratio);
      if (!place) continue;
      pen.fillStyle = ink.excursion;
      pen.globalAlpha = 0.2;
      pen.fillRect(place[0], box.top, place[1], box.height);
      pen.globalAlpha = 1;
      pen.fillRect(place[0], box.top, Math.max(place[1], 3 * ratio), 5 * ratio);
    }
    pen.strokeStyle = ink.quiet;
    pen.lineWidth = ratio;
    pen.setLineDash([2 * ratio, 3 * ratio]);
    for (const one of view.moments) {
      const x = u.valToPos(one.t, "x", true);
      pen.beginPath();
      pen.moveTo(x, box.top);
      pen.lineTo(x, box.top + box.height);
      pen.stroke();
    }
  });
}

export function over(u, view, channel, ink) {
  const ratio = devicePixelRatio;
  clipped(u, (pen, box) => {
    asides(u, pen, channel, ink, ratio);
    points(u, pen, channel, ink, ratio);
    moments(u, pen, box, view, ink, ratio);
  });
  limits(u, channel, ink, ratio);
}

function asides(u, pen, channel, ink, ratio) {
  pen.strokeStyle = pen.fillStyle = ink.aside;
  pen.lineWidth = 1.5 * ratio;
  pen.beginPath();
  channel.t.forEach((t, at) => {
    if (channel.alo[at] === null) return;
    const x = u.valToPos(t, "x", true);
    const a = u.valToPos(channel.alo[at], "y", true), b = u.valToPos(channel.ahi[at], "y", true);
    pen.moveTo(x, a + ratio);
    pen.lineTo(x, Math.min(b, a - 2 * ratio));
  });
  pen.stroke();
}

function points(u, pen, channel, ink, ratio) {
  const breaks = new Set(channel.breaks), last = channel.t.length - 1;
  // Many marks side by side would hide what they mark.
  const size = channel.m.filter((bits) => bits & (OUTSIDE | ASIDE_OUTSIDE)).length > 80 ? 2 : 4;
  const alone = (at) => (at === 0 || breaks.has(at) || channel.lo[at - 1] === null) && (at === last || breaks.has(at + 1) || channel.lo[at + 1] === null);
  channel.t.forEach((t, at) => {
    const bits = channel.m[at], x = u.valToPos(t, "x", true);
    if (channel.lo[at] !== null && alone(at)) {
      pen.fillStyle = ink.trace;
      const a = u.valToPos(channel.lo[at], "y", true), b = u.valToPos(channel.hi[at], "y", true);
      pen.fillRect(x - 1.5 * ratio, b - 1.5 * ratio, 3 * ratio, a - b + 3 * ratio);
    }
    if (bits & DOUBTED) {
      const y = u.bbox.top + u.bbox.height - 2 * ratio;
      pen.fillStyle = ink["not-proven"];
      pen.beginPath();
      pen.moveTo(x - 3 * ratio, y);
      pen.lineTo(x + 3 * ratio, y);
      pen.lineTo(x, y - 6 * ratio);
      pen.fill();
    }
    if (bits & OUTSIDE) {
      for (const value of new Set([furthest(channel, channel.lo[at], channel.hi[at])].flat())) diamond(pen, x, u.valToPos(value, "y", true), size * ratio, ink.excursion, true);
    }
    if (bits & ASIDE_OUTSIDE) {
      for (const value of new Set([furthest(channel, channel.alo[at], channel.ahi[at])].flat())) diamond(pen, x, u.valToPos(value, "y", true), (size + 0.5) * ratio, ink.excursion, false);
    }
  });
}

// Which ends of a point lie beyond a limit line.
function furthest(channel, low, high) {
  const found = [];
  for (const line of channel.lines) {
    if (line.upper && high >= line.v) found.push(high);
    if (!line.upper && low <= line.v) found.push(low);
  }
  return found;
}

function diamond(pen, x, y, r, colour, filled) {
  pen.beginPath();
  pen.moveTo(x, y - r);
  pen.lineTo(x + r, y);
  pen.lineTo(x, y + r);
  pen.lineTo(x - r, y);
  pen.closePath();
  pen.fillStyle = pen.strokeStyle = colour;
  pen.lineWidth = r / 3;
  if (filled) pen.fill();
  else pen.stroke();
}

function moments(u, pen, box, view, ink, ratio) {
  for (const one of view.moments) {
    const x = u.valToPos(one.t, "x", true), y = box.top + 7 * ratio, r = 4 * ratio;
    pen.beginPath();
    pen.arc(x, y, r, 0, 7);
    pen.fillStyle = ink.ground;
    pen.fill();
    pen.strokeStyle = ink.ink;
    pen.lineWidth = 1.5 * ratio;
    pen.setLineDash([]);
    pen.stroke();
  }
}

function limits(u, channel, ink, ratio) {
  const { ctx: pen, bbox: box } = u;
  pen.save();
  pen.font = `600 ${13 * ratio}px "Source Sans Pro", system-ui, sans-serif`;
  pen.textAlign = "right";
  pen.textBaseline = "alphabetic";
  let before = -Infinity;
  const shown = channel.lines.map((line) => [u.valToPos(line.v, "y", true), line]).sort((a, b) => a[0] - b[0]);
  for (const [y, line] of shown) {
    if (y < box.top - 1 || y > box.top + box.height + 1) continue;
    pen.strokeStyle = ink.limit;
    pen.lineWidth = 1.75 * ratio;
    pen.setLineDash(line.mean ? [2 * ratio, 4 * ratio] : [9 * ratio, 4 * ratio]);
    pen.beginPath();
    pen.moveTo(box.left, y);
    pen.lineTo(box.left + box.width, y);
    pen.stroke();
    // The label lies on the side of the line where there is room, clear of the one before it.
    let base = y - 4 * ratio;
    if (base - 14 * ratio < Math.max(box.top, before)) base = y + 15 * ratio;
    before = base;
    const wide = pen.measureText(line.text).width, right = box.left + box.width - 4 * ratio;
    pen.fillStyle = ink.ground;
    pen.globalAlpha = 0.85;
    pen.fillRect(right - wide - 3 * ratio, base - 12 * ratio, wide + 6 * ratio, 15 * ratio);
    pen.globalAlpha = 1;
    pen.fillStyle = ink.limit;
    pen.fillText(line.text, right, base);
  }
  pen.restore();
}

// Least and greatest of all that is drawn, with some room.
export function heights(channel) {
  let low = Infinity, high = -Infinity;
  const take = (value) => {
    if (value === null) return;
    if (value < low) low = value;
    if (value > high) high = value;
  };
  for (const part of [channel.lo, channel.hi, channel.alo, channel.ahi]) part.forEach(take);
  channel.lines.forEach((line) => take(line.v));
  if (low > high) return [0, 1];
  const room = 0.08 * (high - low) || 0.05 * Math.abs(high) || 1;
  return [low < 0 || low >= room * 2 ? low - room : Math.min(0, low), high + room];
}

// uPlot's columns, with a hole wherever nothing was read.
export function columns(channel) {
  const x = [], low = [], high = [];
  const breaks = new Set(channel.breaks);
  channel.t.forEach((t, at) => {
    if (breaks.has(at) && at) {
      x.push((t + channel.t[at - 1]) / 2);
      low.push(null);
      high.push(null);
    }
    x.push(t);
    low.push(channel.lo[at]);
    high.push(channel.hi[at]);
  });
  return [x, low, high];
}
