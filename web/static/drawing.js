// The drawings: what all of them need, the curve, the third octaves, and the panel's own dots.
import { decibels } from "./parts.js";

const SVG = "http://www.w3.org/2000/svg";
const HELD_S = 10; // a look away and back, and the ring is still to be seen

export function make(name, attributes, content = "") {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = content;
  return element;
}

const ROOT_PX = 16; // a browser's letters, unless its person wants them larger
const LARGEST = 1.6; // 31 sliders must still stand apart on a phone

/** A drawing's own measures: where letters are larger, all that is drawn is, and there is less room. */
export function size(svg) {
  const root = parseFloat(getComputedStyle(document.documentElement).fontSize) / ROOT_PX;
  const larger = Math.min(LARGEST, Math.max(1, root || 1));
  const width = Math.max(200, svg.clientWidth) / larger;
  const height = Math.max(60, svg.clientHeight) / larger;
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  return [width, height];
}

const drawings = new WeakMap(); // of each drawing: what it is of, how it is drawn, whether it was
const resized = new ResizeObserver((entries) => {
  for (const { target } of entries) if (target.clientWidth) drawNow(target);
});

function drawNow(svg) {
  const drawing = drawings.get(svg);
  drawing.done = true;
  drawing.draw();
}

/** Draw what is seen, once, and again when it is of something else or has another size. */
export function drawOnce(svg, what, draw) {
  const key = JSON.stringify(what);
  const was = drawings.get(svg);
  if (was?.done && was.key === key) return;
  drawings.set(svg, { key, draw, done: false });
  if (!was) resized.observe(svg);
  if (!svg.closest("[hidden], [data-away]")) drawNow(svg);
}

export const within = (x, margin, width) => Math.min(width - margin, Math.max(margin, x));

/** What was pulled as one curve over the frequencies, with the rings on it. */
export function drawCurve(svg, what) {
  drawOnce(svg, what, () => drawPulled(svg, what));
}

function drawPulled(svg, { curve, rings, deepest }) {
  const [width, height] = size(svg);
  const base = height - 18;
  const lowest = Math.max(deepest, ...curve.db.map((db) => -db));
  const [low, high] = [Math.log(curve.hz[0]), Math.log(curve.hz.at(-1))];
  const x = (hz) => ((Math.log(hz) - low) / (high - low)) * (width - 16) + 8;
  const y = (db) => 22 + (-db / lowest) * (base - 30);
  const points = curve.hz.map((hz, i) => `${x(hz).toFixed(1)},${y(curve.db[i]).toFixed(1)}`);
  const parts = [
    make("line", { class: "way", x1: 8, x2: width - 8, y1: y(0), y2: y(0) }),
    make("polyline", { class: "cutting", points: points.join(" ") }),
  ];
  const taken = [];
  for (const ring of rings) {
    const at = x(ring.frequency_hz);
    const deep = y(-ring.depth_db);
    const held = ring.fate !== "left" && ring.fate !== "rings";
    parts.push(make("line", { class: "way", x1: at, x2: at, y1: 16, y2: deep }));
    parts.push(make("circle", { class: held ? "wedge" : "hollow", cx: at, cy: deep, r: 5 }));
    const wide = 9 * ring.band.length + 8;
    const middle = within(at, wide / 2, width);
    if (taken.every((other) => Math.abs(other - middle) > Math.max(wide, 38))) {
      taken.push(middle);
      parts.push(make("text", { class: "named", x: middle, y: 12 }, ring.band));
    }
  }
  for (const [label, hz] of [["100", 100], ["1k", 1000], ["10k", 10000]]) {
    parts.push(make("text", { x: x(hz), y: height - 3 }, label));
  }
  svg.replaceChildren(...parts);
  svg.setAttribute("aria-label", `What was pulled: ${rings.map((ring) =>
    `at ${ring.band} ${decibels(ring.depth_db)} dB`).join(", ") || "nothing"}`);
}

/** Third-octave levels as one thin line, with the rings held on it. */
export function drawLevels(svg, snapshot) {
  const { third_octave_dbfs: values, bands } = snapshot;
  const rings = new Set(snapshot.rings.map((ring) => ring.band));
  const been = new Set(snapshot.recent.filter((ring) => ring.ended_ago_s < HELD_S && !rings.has(ring.band))
    .map((ring) => ring.band));
  const [now, before] = [[...rings], [...been]];
  drawOnce(svg, [values, bands, now, before], () => drawLine(svg, { values, bands, now, before }));
}

function drawLine(svg, { values, bands, now, before }) {
  const [width, height] = size(svg);
  const step = width / values.length;
  const base = height - 18;
  const y = (level) => base * Math.min(1, Math.max(0, -level / 100));
  const x = (i) => (i + 0.5) * step;
  const points = values.map((level, i) => `${x(i).toFixed(1)},${y(level).toFixed(1)}`);
  const parts = [make("polyline", { class: "curve", points: points.join(" ") })];
  const named = [];
  const held = (band, rings) => {
    const i = bands.indexOf(band);
    if (i < 0) return;
    parts.push(make("line", { class: rings ? "held" : "held was", x1: x(i), x2: x(i), y1: rings ? y(values[i]) : 14, y2: base }));
    const half = 4.5 * band.length + 2;
    const at = within(x(i), half, width);
    // What rings has its name; what rang, where there is room.
    if (!rings && named.some((one) => Math.abs(one.at - at) < one.half + half)) return;
    named.push({ at, half });
    parts.push(make("text", { class: rings ? "named" : "", x: at, y: 10 }, band));
  };
  for (const band of now) held(band, true);
  for (const band of before) held(band, false);
  svg.setAttribute("aria-label", `Level in each third octave${now.length ? `; rings: ${now.join(", ")}` : ""}${
    before.length ? `; rang just now: ${before.join(", ")}` : ""}`);
  for (const label of ["63", "250", "1k", "4k", "16k"]) {
    const i = bands.indexOf(label);
    if (i >= 0) parts.push(make("text", { x: x(i), y: height - 3 }, label));
  }
  svg.replaceChildren(...parts);
}

let shownBits = "";

/** The panel's dots, one bit each, rows of whole bytes, highest bit first. */
export function drawPanel(canvas, panel) {
  if (!panel.bits || panel.bits === shownBits) return;
  shownBits = panel.bits;
  canvas.width = panel.width;
  canvas.height = panel.height;
  const bytes = Uint8Array.from(atob(panel.bits), (letter) => letter.charCodeAt(0));
  const context = canvas.getContext("2d");
  const image = context.createImageData(panel.width, panel.height);
  const stride = Math.ceil(panel.width / 8);
  for (let i = 0; i < panel.width * panel.height; i += 1) {
    const column = i % panel.width;
    const row = (i - column) / panel.width;
    const lit = (bytes[row * stride + (column >> 3)] >> (7 - (column & 7))) & 1;
    image.data.set(lit ? [255, 238, 205, 255] : [8, 7, 6, 255], 4 * i);
  }
  context.putImageData(image, 0, 0);
}
