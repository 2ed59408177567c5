// Plays figures next to each other, in step. #motions holds {parts, truth, figures}; a figure is {time_s, turns}.
"use strict";
const data = JSON.parse(document.getElementById("motions").textContent);
const canvases = [...document.querySelectorAll(".players canvas")];
const clock = document.getElementById("clock"), turn = document.getElementById("turn");
const play = document.getElementById("play"), shown = document.getElementById("shown");
const style = getComputedStyle(document.documentElement), colour = name => style.getPropertyValue("--" + name).trim();
const FROM_ABOVE = .2, TILE = 250, TILES = 3;  // rad; mm; to each side
const MOMENTS = 12;  // looked at to keep all in view
const stands = data.parts.some(part => part.segment.endsWith("foot"));
let last = null;

// A vector turned by a quaternion
function turned([x, y, z, w], [a, b, c]) {
  const p = 2 * (y * c - z * b), q = 2 * (z * a - x * c), r = 2 * (x * b - y * a);
  return [a + w * p + y * r - z * q, b + w * q + z * p - x * r, c + w * r + x * q - y * p];
}

// Quaternion of part k at a time, between frames
function turnAt(figure, low, share, k) {
  const a = figure.turns[low].slice(4 * k, 4 * k + 4), b = figure.turns[Math.min(low + 1, figure.turns.length - 1)].slice(4 * k, 4 * k + 4);
  const sign = a.reduce((sum, value, i) => sum + value * b[i], 0) < 0 ? -1 : 1;
  const mean = a.map((value, i) => (1 - share) * value + share * sign * b[i]), length = Math.hypot(...mean) || 1;
  return mean.map(value => value / length);
}

// Turn and place of every part, the root at zero
function poseAt(figure, time) {
  const t = figure.time_s;
  let low = 0, high = t.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (t[middle] <= time) low = middle; else high = middle;
  }
  const step = t[high] - t[low], share = step > 0 ? Math.min(1, Math.max(0, (time - t[low]) / step)) : 0;
  const pose = [];
  data.parts.forEach((part, k) => {
    const q = turnAt(figure, low, share, k), up = pose[part.parent];
    const at = up ? turned(up.q, part.at) : [0, 0, 0], own = turned(q, part.joint);
    pose.push({ q, p: at.map((value, i) => value + (up ? up.p[i] - own[i] : 0)) });
  });
  return pose;
}

// Corners of every part in the world
function cornersOf(pose) {
  return data.parts.map(({ shape }, k) => {
    const corners = [];
    for (let i = 0; i < shape.length; i += 3) {
      const v = turned(pose[k].q, shape.slice(i, i + 3));
      corners.push([v[0] + pose[k].p[0], v[1] + pose[k].p[1], v[2] + pose[k].p[2]]);
    }
    return corners;
  });
}

const lowest = bodies => Math.min(...bodies.flat().map(corner => corner[1]));

// All corners of all bodies at some moments, as they stand; and where the first one faces
function moments() {
  const first = data.truth || data.figures[0], start = Number(clock.min), end = Number(clock.max), all = [];
  for (let n = 0; n <= MOMENTS; n++) {
    const time = start + (end - start) * n / MOMENTS;
    const lift = stands ? -lowest(cornersOf(poseAt(first, time))) : 0;
    for (const figure of [first, ...data.figures]) {
      for (const [x, y, z] of cornersOf(poseAt(figure, time)).flat()) all.push([x, y + lift, z]);
    }
  }
  const ahead = turned(poseAt(first, start)[0].q, [1, 0, 0]);
  return { all, facing: Math.atan2(-ahead[2], ahead[0]) };
}
const MOMENT = moments();
let view = null;

// A function from the world to a canvas: x, y in px, and how near; all that moves stays within it
function viewOf({ width, height }) {
  const angle = MOMENT.facing + turn.value * Math.PI / 180;
  const [c, s, ch, sh] = [Math.cos(angle), Math.sin(angle), Math.cos(FROM_ABOVE), Math.sin(FROM_ABOVE)];
  const flat = ([x, y, z]) => [-s * x - c * z, y * ch - (c * x - s * z) * sh, (c * x - s * z) * ch + y * sh];
  let left = Infinity, right = -Infinity, low = Infinity, high = -Infinity;
  for (const corner of MOMENT.all) {
    const [across, up] = flat(corner);
    left = Math.min(left, across); right = Math.max(right, across);
    low = Math.min(low, up); high = Math.max(high, up);
  }
  const scale = .92 * Math.min(width / (right - left || 1), height / (high - low || 1));
  return corner => {
    const [across, up, near] = flat(corner);
    return [width / 2 + scale * (across - (left + right) / 2), height / 2 - scale * (up - (low + high) / 2), near];
  };
}

// The convex outline of points in the plane (Andrew 1979, doi:10.1016/0020-0190(79)90072-3)
function outline(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const half = list => {
    const out = [];
    for (const p of list) {
      while (out.length > 1) {
        const [a, b] = out.slice(-2);
        if ((b[0] - a[0]) * (p[1] - a[1]) > (b[1] - a[1]) * (p[0] - a[0])) break;
        out.pop();
      }
      out.push(p);
    }
    return out.slice(0, -1);
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

function drawBody(pen, bodies, lift, view, fill, edge) {
  const drawn = bodies.map((corners, k) => {
    const points = corners.map(([x, y, z]) => view([x, y + lift, z]));
    return { k, points, near: points.reduce((sum, point) => sum + point[2], 0) / points.length };
  });
  for (const { k, points } of drawn.sort((a, b) => a.near - b.near)) {
    pen.beginPath();
    for (const [x, y] of outline(points)) pen.lineTo(x, y);
    pen.closePath();
    pen.fillStyle = fill(data.parts[k].side); pen.strokeStyle = edge;
    pen.fill(); pen.stroke();
  }
}

function drawGround(pen, view) {
  pen.strokeStyle = colour("line");
  const reach = TILE * TILES;
  for (let k = -TILES; k <= TILES; k++) {
    for (const [from, to] of [[[k * TILE, 0, -reach], [k * TILE, 0, reach]], [[-reach, 0, k * TILE], [reach, 0, k * TILE]]]) {
      pen.beginPath();
      pen.moveTo(...view(from).slice(0, 2)); pen.lineTo(...view(to).slice(0, 2));
      pen.stroke();
    }
  }
}

function show() {
  const time = Number(clock.value), truth = data.truth && cornersOf(poseAt(data.truth, time));
  shown.textContent = time.toFixed(1) + " s";
  canvases.forEach((canvas, k) => {
    const pen = canvas.getContext("2d"), body = cornersOf(poseAt(data.figures[k], time));
    const lift = stands ? -lowest(truth || body) : 0;
    pen.clearRect(0, 0, canvas.width, canvas.height);
    pen.lineWidth = 1.5; pen.lineJoin = "round";
    if (stands) drawGround(pen, view);
    if (truth) drawBody(pen, truth, lift, view, () => colour("line"), colour("edge"));
    drawBody(pen, body, lift, view, colour, colour("sheet"));
  });
}

function tick(now) {
  if (last === null) return;
  let time = Number(clock.value) + (now - last) / 1000;
  if (time > Number(clock.max)) time = Number(clock.min);
  last = now;
  clock.value = time;
  show();
  requestAnimationFrame(tick);
}

play.addEventListener("click", () => {
  const stopped = last === null;
  last = stopped ? performance.now() : null;
  play.textContent = stopped ? "Stop" : "Play";
  play.setAttribute("aria-pressed", stopped);
  if (stopped) requestAnimationFrame(tick);
});
clock.addEventListener("input", show);
turn.addEventListener("input", () => { view = viewOf(canvases[0]); show(); });
view = viewOf(canvases[0]);
show();
