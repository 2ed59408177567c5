// The whole capture at a glance: a lane for each joint with its findings, and how wide its band is.
const lanes = { height: 22, top: 6, bottom: 22 };
const WIDEST = 30;  // degrees of half band that fill a lane
const RIBBON_PARTS = 240;

function drawLanes() {
  const home = byId("lanes"), width = widthOf(home, PRINTED.page), margin = width < 560 ? 108 : 150;
  const rows = [...told.joints.map(joint => ({ joint, label: joint.label })), { joint: null, label: "whole capture" }];
  rows.push(...told.stretches.map(({ label, spans }) => ({ joint: null, label, spans })));
  const height = lanes.top + rows.length * lanes.height + lanes.bottom;
  const x = t => margin + (width - margin - 10) * (t - START) / (END - START || 1);
  Object.assign(lanes, { width, margin, x });
  const svg = lanes.svg = make("svg", { viewBox: `0 0 ${width} ${height}`, role: "group", "aria-label": "Findings over time, a lane for each joint" });
  svg.append(hatch());
  lanes.rows = rows.map((row, n) => drawLane(svg, row, lanes.top + n * lanes.height, width, height));
  for (const t of ticks(START, END, (width - margin) / 70)) {
    if (x(t) < width - 24) svg.append(make("text", { x: x(t), y: height - 7, "text-anchor": "middle" }, said(t, 0)));
  }
  svg.append(make("text", { x: width - 8, y: height - 7, "text-anchor": "end" }, "s"));
  lanes.now = make("line", { class: "now", y1: 0, y2: height - lanes.bottom + 4, "pointer-events": "none" });
  svg.append(lanes.now);
  home.replaceChildren(svg);
}

function hatch() {
  const stripe = make("pattern", { id: "hatch", width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    make("rect", { class: "hatch-ground", width: 5, height: 5 }), make("rect", { class: "hatch-stripe", width: 2.4, height: 5 }));
  return make("defs", {}, stripe);
}

function drawLane(svg, row, top, width) {
  const middle = top + lanes.height / 2;
  const ground = make("rect", { class: "lane-ground", x: 0, y: top, width, height: lanes.height });
  const name = make("text", { class: "lane-name", x: lanes.margin - 8, y: middle + 4, "text-anchor": "end" }, row.label);
  svg.append(ground, make("line", { class: "lane-line", x1: lanes.margin, x2: width - 10, y1: middle, y2: middle }), name);
  if (row.joint) drawRibbon(svg, row.joint, middle);
  for (const [from, to] of row.spans || []) {
    svg.append(make("rect", { class: "gap", x: lanes.x(from), width: Math.max(lanes.x(to) - lanes.x(from), 1.5), y: middle - 5, height: 10 }));
  }
  const pick = event => {
    if (row.joint) choose(row.joint.name);
    const box = svg.getBoundingClientRect(), across = (event.clientX - box.left) * width / box.width;
    if (across >= lanes.margin) goTo(START + clamp((across - lanes.margin) / (width - lanes.margin - 10), 0, 1) * (END - START));
  };
  for (const part of [ground, name]) part.addEventListener("click", pick);
  const mine = told.findings.map((found, n) => ({ found, n }))
    .filter(({ found }) => row.joint ? found.joints.includes(row.joint.name) : !row.spans && !found.joints.length);
  for (const one of mine.reverse()) svg.append(drawEvent(one, middle));
  return { joint: row.joint, ground, name };
}

// The half width of the joint's widest band, drawn to both sides of the lane's middle
function drawRibbon(svg, joint, middle) {
  const spread = joint.angles.map(angle => angle.spread).filter(Boolean);
  if (!spread.length) return;
  const count = spread[0].length, parts = Math.min(RIBBON_PARTS, count), half = lanes.height / 2 - 2;
  const up = [], down = [];
  for (let n = 0; n < parts; n++) {
    let widest = 0;
    const last = Math.max(Math.floor((n + 1) * count / parts), Math.floor(n * count / parts) + 1);
    for (let k = Math.floor(n * count / parts); k < last; k++) for (const s of spread) widest = Math.max(widest, BAND * s[k] || 0);
    const across = lanes.x(START + (END - START) * (n + .5) / parts).toFixed(1), thick = half * Math.min(widest / WIDEST, 1);
    up.push(`${across} ${(middle - thick).toFixed(2)}`);
    down.push(`${across} ${(middle + thick).toFixed(2)}`);
  }
  svg.append(make("path", { class: "ribbon", d: "M" + up.join("L") + "L" + down.reverse().join("L") + "Z" }));
}

function drawEvent({ found, n }, middle) {
  const always = found.start === null;
  const at = time => lanes.x(clamp(time, START, END));
  const left = at(always ? START : found.start), right = at(always ? END : found.end ?? found.start);
  const when = always ? "throughout" : `at ${said(found.start, 1)} s`;
  const drawn = make("rect", {
    class: `event ${found.severity}${always ? " always" : ""}`, x: left - 1, width: Math.max(right - left, 9), ...(found.severity === "note" ? { y: middle - 4, height: 8, rx: 4 } : { y: middle - 7, height: 14, rx: 1 }),
    tabindex: 0, role: "button", "aria-label": `${found.severity} ${when}: ${found.what}`, "data-event": n,
  }, make("title", {}, `${found.severity}: ${found.what}`));
  drawn.addEventListener("click", () => showFinding(n));
  drawn.addEventListener("keydown", event => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault(); event.stopPropagation();
    showFinding(n);
  });
  return drawn;
}

function markLanes(time, jointName) {
  const across = lanes.x(time);
  lanes.now.setAttribute("x1", across); lanes.now.setAttribute("x2", across);
  for (const { joint, ground, name } of lanes.rows) {
    const here = !!joint && joint.name === jointName;
    ground.classList.toggle("here", here);
    name.classList.toggle("here", here);
  }
}

function lanesKey() {
  const shapes = told.findings.length ? "findings: solid = serious, hatched = warning, round and white = note. " : "";
  const ribbon = told.joints.some(joint => joint.angles.some(angle => angle.spread))
    ? `The thicker the grey ribbon, the wider the joint’s widest 95 % band (full lane: ± ${WIDEST}° or more). ` : "";
  return shapes + ribbon + (told.stretches.length ? "Dark bars: stretches in which any unit lacks samples or doubts the field. " : "") + "A click on a lane chooses its joint and that time.";
}
