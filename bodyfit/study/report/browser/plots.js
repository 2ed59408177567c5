// Curves of one joint: each angle with its band, its published range, the other side, and the findings about it.
const PLOT_HEIGHT = 136, EDGE = { left: 42, right: 12, top: 12, bottom: 20 };

function makePanel(home, joint, live) {
  const twin = joint.twin && jointNamed(joint.twin);
  const panel = { joint, plots: joint.angles.map((angle, n) => makePlot(joint, angle, twin && { joint: twin, angle: twin.angles[n] }, live)) };
  home.replaceChildren(...panel.plots.map(plot => plot.element));
  return panel;
}

function makePlot(joint, angle, other, live) {
  const svg = make("svg", { role: "img", "aria-label": `${joint.label}, ${angle.label}, over time` });
  const name = make("span"), value = make("span", { class: "value" });
  name.append(make("b"));
  name.firstChild.textContent = `${angle.label}, °`;
  const caption = make("figcaption", {}, name, value);
  const element = make("figure", { class: "plot" }, caption, svg);
  const plot = { joint, angle, other, svg, value, element, live };
  if (live) scrub(svg, event => timeAt(plot, event));
  return plot;
}

function timeAt(plot, event) {
  const box = plot.svg.getBoundingClientRect(), inside = plot.width - EDGE.left - EDGE.right;
  const share = ((event.clientX - box.left) * plot.width / box.width - EDGE.left) / inside;
  return plot.from + clamp(share, 0, 1) * (plot.to - plot.from);
}

// Pressing and dragging on a drawing moves the time
function scrub(svg, time) {
  svg.addEventListener("pointerdown", event => {
    svg.setPointerCapture(event.pointerId);
    goTo(time(event));
  });
  svg.addEventListener("pointermove", event => { if (svg.hasPointerCapture(event.pointerId)) goTo(time(event)); });
}

const TURN = 180;  // degrees of half band from which an angle may be any; such frames hold no value
const DENSE = 6;  // frames on one pixel from which on a curve is drawn as its envelope
const LOCKED = .1;  // sine of the angle between two axes from which on they count as one; as for the standard deviations
const VAGUE = 90;  // degrees of half band from which an angle says nothing: next to gimbal lock

// Lowest and highest of the curves where they say something, with as much of the band as does not flatten them
function extent(shown) {
  return extentOf(shown, VAGUE) ?? extentOf(shown, Infinity) ?? [-10, 10];
}

function extentOf(shown, vague) {
  let low = Infinity, high = -Infinity, band = 0;
  for (const { angle } of shown) {
    for (let i = 0; i < angle.values.length; i++) {
      const v = angle.values[i], half = BAND * spreadAt(angle, i) || 0;
      if (Number.isNaN(v) || half > vague) continue;
      low = Math.min(low, v); high = Math.max(high, v);
      band = Math.max(band, half);
    }
  }
  if (low > high) return null;
  const room = Math.min(band, Math.max(high - low, 20) / 2) + Math.max(.06 * (high - low), 2);
  return [low - room, high + room];
}

// Draws everything but the line at the present time
function drawPlot(plot, from, to, withTwin) {
  const width = widthOf(plot.element, plot.live ? PRINTED.beside : PRINTED.page), { joint, angle, svg } = plot;
  const shown = [{ joint, angle }, ...(withTwin && plot.other ? [plot.other] : [])];
  const [low, high] = extent(shown);
  const x = t => EDGE.left + (width - EDGE.left - EDGE.right) * (t - from) / (to - from || 1);
  const y = v => EDGE.top + (PLOT_HEIGHT - EDGE.top - EDGE.bottom) * (high - v) / (high - low);
  Object.assign(plot, { width, from, to, x, y });
  svg.setAttribute("viewBox", `0 0 ${width} ${PLOT_HEIGHT}`);
  const clip = `clip-${plot.live ? "live" : "kept"}-${joint.name}-${angle.name}`;
  const inside = make("g", { "clip-path": `url(#${clip})` });
  drawRange(inside, angle.range, low, high, y, width);
  for (const v of ticks(low, high, 5)) {
    inside.append(make("line", { class: v ? "grid" : "axis-zero", x1: EDGE.left, x2: width - EDGE.right, y1: y(v), y2: y(v) }));
  }
  plot.dense = [...shown].reverse().map(one => drawCurve(inside, one, one.joint !== joint, from, to, x, y, width)).some(Boolean);
  drawFlags(inside, joint, x);
  plot.now = make("line", { class: "now", y1: EDGE.top, y2: PLOT_HEIGHT - EDGE.bottom });
  plot.dot = make("circle", { class: "dot", r: 3.5 });
  inside.append(plot.now, plot.dot);
  const box = { x: EDGE.left, y: 0, width: width - EDGE.left - EDGE.right, height: PLOT_HEIGHT - EDGE.bottom };
  svg.replaceChildren(make("defs", {}, make("clipPath", { id: clip }, make("rect", box))), inside, ...axes(low, high, from, to, x, y, width));
}

function drawRange(home, range, low, high, y, width) {
  if (!range) return;
  const [bottom, top] = range.map(limit => clamp(limit, low, high));
  const across = { x1: EDGE.left, x2: width - EDGE.right };
  home.append(make("rect", { class: "range", x: EDGE.left, width: width - EDGE.left - EDGE.right, y: y(top), height: Math.max(y(bottom) - y(top), 0) }));
  for (const limit of range) {
    if (limit > low && limit < high) home.append(make("line", { class: "range-edge", ...across, y1: y(limit), y2: y(limit) }));
  }
}

function axes(low, high, from, to, x, y, width) {
  const out = [];
  for (const v of ticks(low, high, 5)) {
    if (y(v) < 8 || y(v) > PLOT_HEIGHT - EDGE.bottom - 2) continue;
    out.push(make("text", { x: EDGE.left - 5, y: y(v) + 4, "text-anchor": "end" }, said(v, 0)));
  }
  const marks = ticks(from, to, width / 80), places = marks.length > 1 && marks[1] - marks[0] < 1 ? 1 : 0;
  for (const t of marks) {
    if (x(t) > width - 26) continue;
    out.push(make("text", { x: x(t), y: PLOT_HEIGHT - 6, "text-anchor": "middle" }, said(t, places)));
  }
  out.push(make("text", { x: width - 8, y: PLOT_HEIGHT - 6, "text-anchor": "end" }, "s"));
  return out;
}

// Least and most of the frames that fall on each pixel, and the widest band of them; null: none known there
function columns(angle, from, to, pixels) {
  const first = Math.max(frameAt(from) - 1, 0), last = Math.min(frameAt(to) + 1, times.length - 1);
  const each = Math.max(1, Math.ceil((last - first + 1) / pixels)), out = [];
  for (let i = first; i <= last; i += each) {
    let least = Infinity, most = -Infinity, leastAt = i, mostAt = i, wide = 0;
    for (let k = i; k < Math.min(i + each, last + 1); k++) {
      const v = angle.values[k];
      if (Number.isNaN(v)) continue;
      if (v < least) { least = v; leastAt = k; }
      if (v > most) { most = v; mostAt = k; }
      wide = Math.max(wide, BAND * spreadAt(angle, k) || 0);
    }
    out.push(most < least ? null : { least, most, leastAt, mostAt, wide });
  }
  return { each, out };
}

// Stretches of columns without a hole
function stretchesOf(list) {
  const out = [[]];
  for (const column of list) if (column) out[out.length - 1].push(column); else if (out[out.length - 1].length) out.push([]);
  return out.filter(part => part.length);
}

// A closed outline from upper and lower values of columns
function area(part, upper, lower, x, y) {
  const across = column => x(times[Math.min(column.leastAt, column.mostAt)]).toFixed(1);
  const along = value => column => `${across(column)} ${y(value(column)).toFixed(1)}`;
  return "M" + part.map(along(upper)).join("L") + "L" + [...part].reverse().map(along(lower)).join("L") + "Z";
}

// One curve and its band; where very many frames fall on one pixel, the envelope between their least and most
function drawCurve(home, { joint, angle }, isOther, from, to, x, y, width) {
  const { each, out } = columns(angle, from, to, (width - EDGE.left) / 2), parts = stretchesOf(out);
  const look = `${joint.side}${isOther ? " other" : ""}`;
  if (angle.spread) {
    const bands = parts.filter(part => part.length > 1).map(part => area(part, c => c.most + c.wide, c => c.least - c.wide, x, y));
    home.append(make("path", { class: `band ${look}`, d: bands.join("") }));
  }
  if (each >= DENSE) {
    const filled = parts.filter(part => part.length > 1).map(part => area(part, c => c.most, c => c.least, x, y));
    home.append(make("path", { class: `envelope ${look}`, d: filled.join("") }));
    return true;
  }
  const pair = c => c.leastAt < c.mostAt ? [c.leastAt, c.mostAt] : c.leastAt > c.mostAt ? [c.mostAt, c.leastAt] : [c.leastAt];
  const line = part => "M" + part.flatMap(pair).map(k => `${x(times[k]).toFixed(1)} ${y(angle.values[k]).toFixed(1)}`).join("L");
  home.append(make("path", { class: `curve ${look}`, d: parts.map(line).join("") || "M0 0" }));
  return false;
}

function drawFlags(home, joint, x) {
  for (const found of told.findings) {
    if (!found.joints.includes(joint.name) || found.start === null) continue;
    const left = x(found.start), right = Math.max(x(found.end ?? found.start), left + 4);
    home.append(make("g", { class: found.severity }, make("rect", { class: "flag", x: left, width: right - left, y: 1, height: 6 })));
  }
}

// Line, dot and number at the present time
function markTime(plot, time) {
  const frame = frameAt(time + .5 * FRAME), value = plot.angle.values[frame], spread = BAND * spreadAt(plot.angle, frame);
  const across = plot.x(time);
  plot.now.setAttribute("x1", across); plot.now.setAttribute("x2", across);
  plot.dot.setAttribute("cx", across);
  plot.dot.setAttribute("cy", Number.isNaN(value) ? -20 : plot.y(value));
  const band = Number.isNaN(spread) ? "" : ` ± ${said(spread)}°`;
  const wide = spread >= TURN ? lockedWord(plot, frame) || "not known here: its 95 % band is wider than a turn" : "not known here";
  plot.value.textContent = Number.isNaN(value) ? wide : `${said(value)}°${band}` + rangeWord(plot.angle.range, value);
}

// Where the second angle makes the outer two turn about one axis, and neither of them is known
function lockedWord(plot, frame) {
  const [first, second, third] = plot.joint.angles, sequence = plot.joint.sequence;
  if (!third || !sequence || plot.angle === second || !(Number.isNaN(first.values[frame]) && Number.isNaN(third.values[frame]))) return "";
  const turn = second.values[frame] * Math.PI / 180;
  const apart = Math.abs(sequence[0] === sequence[2] ? Math.sin(turn) : Math.cos(turn));
  if (!(apart < LOCKED)) return "";
  const other = plot.angle === first ? third : first;
  return `means nothing by itself here: ${plot.angle.label} and ${other.label} turn about one axis; read ${second.label}`;
}

function rangeWord(range, value) {
  if (!range) return "";
  const text = `published ${said(range[0], 0)} to ${said(range[1], 0)}°`;
  return (value < range[0] || value > range[1] ? " · beyond " : " · ") + text;
}

function plotKey(joint, withTwin, dense) {
  const twin = withTwin && joint.twin, spread = joint.angles.some(angle => angle.spread);
  const line = { left: "dashed green", right: "solid plum", middle: "solid grey" };
  const parts = [twin ? "left: dashed green; right: solid plum" : `${joint.side === "middle" ? "curve" : joint.side}: ${line[joint.side]}`];
  parts.push(spread ? "tinted band: 95 % (± 1.96 standard deviations), cut off at the plot’s edge" : "no band: this fit gave no standard deviations");
  if (joint.angles.some(angle => BAND * Math.max(...angle.spread ?? [0]) > VAGUE)) parts.push(`where the band is wider than ± ${VAGUE}°, next to gimbal lock, the curve means nothing and does not set the scale`);
  if (joint.angles.some(angle => angle.range)) parts.push("blue-grey ground: published range, dotted at its limits");
  if (dense) parts.push("filled: from the least to the most of all frames on that spot; choose a shorter stretch to see the curve");
  parts.push("bars on top: findings");
  return parts.join(" · ");
}
