// Zoom by dragging across the chart of the readings. Without this script the links and the form zoom.

const CLICK = 8; // pixels; a shorter drag is a click
let drag = null;

const share = (plot, event) => {
  const box = plot.svg.getBoundingClientRect();
  const across = (event.clientX - box.left) / box.width;
  return Math.min(Math.max((across - plot.from) / (plot.to - plot.from), 0), 1);
};

const plotOf = (figure) => {
  const [from, to] = figure.dataset.plot.split(" ").map(Number);
  return { svg: figure.querySelector("svg"), from, to };
};

document.addEventListener("pointerdown", (event) => {
  const figure = event.target.closest?.("figure[data-plot]");
  // On a touch screen a drag scrolls the chart; the links zoom.
  if (!figure || event.button !== 0 || event.pointerType === "touch") return;
  const plot = plotOf(figure);
  drag = { figure, plot, x: event.clientX, share: share(plot, event), band: mark(plot) };
  event.preventDefault();
});

document.addEventListener("pointermove", (event) => {
  if (!drag) return;
  const { plot, band } = drag;
  const wide = plot.svg.viewBox.baseVal.width;
  const ends = [drag.share, share(plot, event)].sort((a, b) => a - b);
  const [left, right] = ends.map((one) => wide * (plot.from + one * (plot.to - plot.from)));
  band.setAttribute("x", left);
  band.setAttribute("width", right - left);
});

document.addEventListener("pointerup", (event) => {
  if (!drag) return;
  const { figure, plot, band, x } = drag;
  const ends = [drag.share, share(plot, event)].sort((a, b) => a - b);
  band.remove();
  drag = null;
  if (Math.abs(event.clientX - x) < CLICK) return;
  const first = Date.parse(figure.dataset.first), last = Date.parse(figure.dataset.last);
  const [from, to] = ends.map((one) => new Date(first + one * (last - first)).toISOString());
  const address = `${location.pathname}?${new URLSearchParams({ from, to })}`;
  htmx.ajax("GET", address, { target: "#readings", select: "#readings", swap: "outerHTML" });
});

function mark(plot) {
  const band = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  const view = plot.svg.viewBox.baseVal;
  for (const [name, value] of Object.entries({ x: 0, y: 0, width: 0, height: view.height, class: "band" })) band.setAttribute(name, value);
  plot.svg.append(band);
  return band;
}
