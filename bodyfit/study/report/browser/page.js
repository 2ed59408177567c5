const LONG = 40, PART = 20;  // s: in a longer capture, a part of it is shown at first

// What is shown now, and everything that changes it.
const state = { time: START, joint: null, span: 0, twin: true, playing: false, speed: 1, kept: [] };

function goTo(time) {
  state.time = clamp(time, START, END);
  showTime();
}

function choose(name) {
  if (!jointNamed(name)) return;
  state.joint = name;
  byId("joint").value = name;
  byId("twin-label").hidden = !jointNamed(name).twin;
  state.panel = makePanel(byId("plots"), jointNamed(name), true);
  figure.joint = name;
  showPlots();
  showTime();
}

function showFinding(n) {
  const found = told.findings[n];
  play(false);
  if (found.joints.length) choose(found.joints[0]);
  goTo(found.start ?? START);
  for (const button of document.querySelectorAll("[data-finding]")) button.classList.toggle("here", +button.dataset.finding === n);
}

// The stretch of time that the curves show
function stretch() {
  if (!state.span || state.span >= END - START) return [START, END];
  const from = clamp(state.time - state.span / 2, START, END - state.span);
  return [from, from + state.span];
}

function showPlots() {
  if (!state.panel) return;
  for (const plot of state.panel.plots) drawPlot(plot, ...stretch(), state.twin);
  byId("plot-key").textContent = plotKey(state.panel.joint, state.twin, state.panel.plots.some(plot => plot.dense));
  drawOverview();
}

// A stretch of so many seconds, of those that can be chosen; the step goes to the next one
function show(span) {
  state.span = span;
  byId("span").value = span;
  showPlots();
  showTime();
}

function zoom(step) {
  const choices = [...byId("span").options].map(option => +option.value || Infinity).sort((a, b) => a - b);
  const now = choices.indexOf(state.span || Infinity);
  const next = choices[clamp(now + step, 0, choices.length - 1)];
  show(Number.isFinite(next) ? next : 0);
}

function showTime() {
  const { time, panel } = state;
  byId("slider").value = time;
  const words = `${said(time, 2)} s`;
  byId("slider").setAttribute("aria-valuetext", words);
  byId("clock").textContent = `${words} of ${said(END, 1)} s`;
  if (panel && panel.plots.length && panel.plots[0].from !== stretch()[0]) showPlots();
  for (const plot of panel ? panel.plots : []) markTime(plot, time);
  markLanes(time, state.joint);
  markTimeline(time);
  figure.time = time;
  drawFigure();
}

function play(on) {
  if (on === state.playing) return;
  state.playing = on;
  byId("play").textContent = on ? "Stop" : "Play";
  byId("play").setAttribute("aria-pressed", on);
  if (!on) return;
  if (state.time >= END - 1e-3) goTo(START);
  let before = performance.now();
  requestAnimationFrame(function next(now) {
    if (!state.playing) return;
    goTo(state.time + state.speed * Math.max(now - before, 0) / 1000);
    before = now;
    if (state.time >= END) play(false); else requestAnimationFrame(next);
  });
}

function onKey(event) {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const { target, key } = event, slider = target === byId("slider");
  if (target.closest("select, input:not(#slider)") || (key === " " && target.closest("button, [role=button]"))) return;
  const step = event.shiftKey ? 1 : FRAME;
  const act = {
    " ": () => play(!state.playing), ArrowLeft: () => goTo(state.time - step), ArrowRight: () => goTo(state.time + step),
    Home: () => goTo(START), End: () => goTo(END), "+": () => zoom(-1), "-": () => zoom(1), "−": () => zoom(1),
  }[key];
  if (!act || (!slider && target.closest(".wide"))) return;
  event.preventDefault();
  act();
}

// A copy of the chosen joint's curves that stays, for comparing and for print
function keep() {
  const joint = jointNamed(state.joint), home = make("div"), away = make("button", { type: "button", class: "noprint" });
  away.textContent = "Take away";
  const title = make("h3", { class: "kept-title" }, `${joint.label}, ${said(stretch()[0])} to ${said(stretch()[1])} s `, away);
  const block = make("div", { class: "kept-panel" }, title, home), panel = makePanel(home, joint, false);
  byId("kept").append(block);
  const one = { panel, range: stretch(), twin: state.twin, time: state.time };
  state.kept.push(one);
  drawKept(one);
  away.addEventListener("click", () => { state.kept.splice(state.kept.indexOf(one), 1); block.remove(); byId("keep").focus(); });
}

function drawKept({ panel, range, twin, time }) {
  for (const plot of panel.plots) { drawPlot(plot, ...range, twin); markTime(plot, time); }
}

function redraw() {
  drawLanes();
  showPlots();
  state.kept.forEach(drawKept);
  showTime();
}

function forPrint(on) {
  PRINTED.on = on;
  byId("still").hidden = !figure.ready;
  if (on && figure.ready) byId("still").src = byId("canvas").toDataURL();
  redraw();
}

function listen() {
  const slider = byId("slider");
  Object.assign(slider, { min: START, max: END });
  slider.addEventListener("input", () => goTo(+slider.value));
  byId("play").addEventListener("click", () => play(!state.playing));
  byId("speed").addEventListener("change", event => { state.speed = +event.target.value; });
  byId("joint").addEventListener("change", event => choose(event.target.value));
  byId("span").addEventListener("change", event => show(+event.target.value));
  for (const button of document.querySelectorAll("[data-span]")) button.addEventListener("click", () => zoom(+button.dataset.span));
  byId("twin").addEventListener("change", event => { state.twin = event.target.checked; choose(state.joint); });
  byId("keep").addEventListener("click", keep);
  byId("motion").addEventListener("keydown", onKey);
  for (const button of document.querySelectorAll("[data-view]")) button.addEventListener("click", () => figure.ready && lookFrom(button.dataset.view));
  for (const button of document.querySelectorAll("[data-zoom]")) button.addEventListener("click", () => figure.ready && zoomBy(+button.dataset.zoom));
  for (const button of document.querySelectorAll("[data-finding], table [data-joint]")) {
    button.addEventListener("click", () => {
      if (button.dataset.joint) choose(button.dataset.joint); else showFinding(+button.dataset.finding);
      byId("motion").scrollIntoView();
    });
  }
  addEventListener("beforeprint", () => forPrint(true));
  addEventListener("afterprint", () => forPrint(false));
  listenToTimes();
  let width = 0;
  new ResizeObserver(([entry]) => { if (entry.contentRect.width !== width) { width = entry.contentRect.width; redraw(); } }).observe(byId("motion"));
}

for (const joint of told.joints) {
  const option = make("option", { value: joint.name });
  option.textContent = joint.label;
  byId("joint").append(option);
}
for (const option of [...byId("span").options]) if (+option.value >= END - START) option.remove();
if (END - START > LONG) { state.span = PART; byId("span").value = PART; }
byId("lanes-key").textContent = lanesKey();
drawLanes();
listen();
startFigure();
const firstFound = told.findings.find(found => found.joints.length);
if (told.joints.length) choose(firstFound ? firstFound.joints[0] : told.joints[0].name); else showTime();
window.bodyfitReport = { state, goTo, choose, play };
