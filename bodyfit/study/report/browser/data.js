// What the page was given, decoded; and what several parts need.
const MISSING = -32768, BAND = 1.96;
const byId = id => document.getElementById(id);
const told = JSON.parse(byId("curves").textContent);
const bytes = text => Uint8Array.from(atob(text), letter => letter.charCodeAt(0));
const times = new Float32Array(bytes(told.time).buffer);
const PER_DEGREE = 50;  // of spreads
const degrees = (text, per) => Float32Array.from(new Int16Array(bytes(text).buffer), v => v === MISSING ? NaN : v / per);
for (const joint of told.joints) {
  for (const angle of joint.angles) {
    angle.values = degrees(angle.values, angle.perDegree);
    angle.spread = angle.spread && degrees(angle.spread, PER_DEGREE);
  }
}
const START = times[0], END = times[times.length - 1], FRAME = times.length > 1 ? (END - START) / (times.length - 1) : 1;
const jointNamed = name => told.joints.find(joint => joint.name === name);
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const said = (value, places = 1) => value.toFixed(places).replace("-", "−");

// The last frame at or before a time
function frameAt(time) {
  let low = 0, high = times.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (times[middle] <= time) low = middle; else high = middle - 1;
  }
  return low;
}

const spreadAt = (angle, frame) => angle.spread ? angle.spread[Math.floor(frame / told.framesPerSpread)] : NaN;

// Width of a drawing, so that its letters keep their size: that on the screen, or on an A4 page
const PRINTED = { on: false, beside: 410, page: 680 };
const widthOf = (home, onPage) => PRINTED.on ? onPage : Math.max(home.clientWidth, 240);

// A colour of the style sheet
const style = getComputedStyle(document.documentElement);
const colour = name => style.getPropertyValue("--" + name).trim();

// An element, in HTML or SVG, with attributes and children
function make(name, attributes = {}, ...children) {
  const drawn = ["svg", "g", "path", "rect", "line", "text", "circle", "pattern", "defs", "title", "clipPath"].includes(name);
  const element = drawn ? document.createElementNS("http://www.w3.org/2000/svg", name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

// Round numbers that divide an extent into about so many parts
function ticks(low, high, count) {
  const rough = (high - low) / Math.max(count, 1), ten = 10 ** Math.floor(Math.log10(rough));
  const step = ten * [1, 2, 5, 10].find(part => part * ten >= rough);
  const list = [];
  for (let n = Math.ceil(low / step); n * step <= high + 1e-9; n++) list.push(+(n * step).toFixed(6));
  return list;
}
