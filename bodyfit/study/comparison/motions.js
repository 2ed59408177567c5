// Plays stick figures next to each other. #motions holds {lines, truth, figures}; a figure is {time_s, points}.
"use strict";
const data = JSON.parse(document.getElementById("motions").textContent);
const canvases = [...document.querySelectorAll("#motion canvas")];
const clock = document.getElementById("clock"), turn = document.getElementById("turn");
const play = document.getElementById("play"), shown = document.getElementById("shown");
let last = null;

// Points of a figure at a time, between its frames.
function at(figure, time) {
  const t = figure.time_s;
  let low = 0, high = t.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (t[middle] <= time) low = middle; else high = middle;
  }
  const step = t[high] - t[low], share = step > 0 ? Math.min(1, Math.max(0, (time - t[low]) / step)) : 0;
  return figure.points[low].map((value, i) => value + share * (figure.points[high][i] - value));
}

// The middle of all points that a motion reaches, and how far any point of any motion is from it, mm.
function frame() {
  const all = [data.truth, ...data.figures].filter(figure => figure);
  const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (const row of all[0].points) row.forEach((value, i) => {
    low[i % 3] = Math.min(low[i % 3], value);
    high[i % 3] = Math.max(high[i % 3], value);
  });
  const middle = low.map((value, i) => (value + high[i]) / 2);
  let most = 1;
  for (const figure of all) for (const row of figure.points) row.forEach((value, i) => {
    most = Math.max(most, Math.abs(value - middle[i % 3]));
  });
  return [middle, 1.15 * most];
}
const [MIDDLE, SIZE] = frame();

function draw(pen, points, colour, width, dash) {
  const angle = turn.value * Math.PI / 180, half = pen.canvas.width / 2;
  const spot = k => {
    const [x, y, z] = MIDDLE.map((value, i) => (points[3 * k + i] - value) / SIZE);
    return [half + half * (x * Math.cos(angle) + z * Math.sin(angle)), half - half * y];
  };
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.setLineDash(dash);
  pen.lineCap = "round";
  for (const [from, to] of data.lines) {
    pen.beginPath();
    pen.moveTo(...spot(from));
    pen.lineTo(...spot(to));
    pen.stroke();
  }
}

function show() {
  const time = Number(clock.value);
  shown.textContent = time.toFixed(1) + " s";
  canvases.forEach((canvas, k) => {
    const pen = canvas.getContext("2d"), body = canvas.dataset.body === "yes";
    pen.clearRect(0, 0, canvas.width, canvas.height);
    if (data.truth) draw(pen, at(data.truth, time), "#b5b5b5", 12, []);
    draw(pen, at(data.figures[k], time), body ? "#0072b2" : "#d55e00", 4, body ? [] : [12, 7]);
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
  play.textContent = stopped ? "Pause" : "Play";
  if (stopped) requestAnimationFrame(tick);
});
clock.addEventListener("input", show);
turn.addEventListener("input", show);
show();
