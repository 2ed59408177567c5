// Above the curves of a part of the capture: all of it, small, with the part as a window that can be moved.
const OVERVIEW = { height: 46, top: 4, bottom: 4 };

function drawOverview() {
  const home = byId("overview"), { panel, span } = state;
  if (!panel || !span || !panel.plots.length) return home.replaceChildren();
  const width = widthOf(home, PRINTED.beside), { joint, angle } = panel.plots[0];
  const [low, high] = extent([{ angle }]), [from, to] = stretch();
  const x = t => EDGE.left + (width - EDGE.left - EDGE.right) * (t - START) / (END - START || 1);
  const y = v => OVERVIEW.top + (OVERVIEW.height - OVERVIEW.top - OVERVIEW.bottom) * (high - v) / (high - low);
  const svg = make("svg", { viewBox: `0 0 ${width} ${OVERVIEW.height}`, role: "img", "aria-label": `${joint.label}, ${angle.label}, the whole capture; the curves below show ${said(from)} to ${said(to)} s` });
  const { out } = columns(angle, START, END, width - EDGE.left), parts = stretchesOf(out).filter(part => part.length > 1);
  svg.append(
    make("rect", { class: "window", x: x(from), width: x(to) - x(from), y: 0, height: OVERVIEW.height }),
    make("path", { class: `envelope ${joint.side}`, d: parts.map(part => area(part, c => c.most, c => c.least, x, y)).join("") }),
    make("text", { x: EDGE.left - 5, y: OVERVIEW.height / 2 + 4, "text-anchor": "end" }, "all"));
  const timeOf = event => {
    const box = svg.getBoundingClientRect(), inside = width - EDGE.left - EDGE.right;
    return START + clamp(((event.clientX - box.left) * width / box.width - EDGE.left) / inside, 0, 1) * (END - START);
  };
  scrub(svg, timeOf);
  home.replaceChildren(svg);
}
