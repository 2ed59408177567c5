// The still pictures of what happened: a line at the time shown, and ways from them to a time.
const timeline = document.querySelector(".timeline svg");
const timelineNow = timeline && make("line", { class: "now", y1: 0, y2: timeline.viewBox.baseVal.height - 16, "pointer-events": "none" });
if (timeline) timeline.append(timelineNow);

function timelineEnds() {
  const { left, right } = timeline.closest(".timeline").dataset;
  return [+left, +right];
}

function markTimeline(time) {
  if (!timeline) return;
  const [left, right] = timelineEnds(), x = left + (right - left) * (time - START) / (END - START || 1);
  timelineNow.setAttribute("x1", x);
  timelineNow.setAttribute("x2", x);
}

function goAndLook(time) {
  play(false);
  goTo(time);
  byId("motion").scrollIntoView();
}

function listenToTimes() {
  for (const button of document.querySelectorAll("[data-time]")) button.addEventListener("click", () => goAndLook(+button.dataset.time));
  if (!timeline) return;
  timeline.addEventListener("click", event => {
    const box = timeline.getBoundingClientRect(), [left, right] = timelineEnds();
    const across = (event.clientX - box.left) * timeline.viewBox.baseVal.width / box.width;
    if (across >= left) goTo(START + clamp((across - left) / (right - left), 0, 1) * (END - START));
  });
}
