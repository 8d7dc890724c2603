// The trainer's pictures: the row of sliders with the ring and the pull on it, and what is known.
import { make, size, within } from "./drawing.js";
import { responseDb } from "./ears.js";

/** Where a frequency stands between the sliders of the row. */
function placeOf(sliders, shown, hz, x) {
  const centres = shown.map((i) => sliders[i].centre_hz);
  let k = centres.findIndex((centre) => centre >= hz);
  if (k < 0) k = centres.length - 1;
  k = Math.max(1, k);
  const part = Math.log(hz / centres[k - 1]) / Math.log(centres[k] / centres[k - 1]);
  return x(k - 1) + part * (x(k) - x(k - 1));
}

/** The row before an answer, or with the pull, what it takes out, and where the ring is. */
export function drawAnswer(svg, sliders, shown, answer) {
  const [width, height] = size(svg);
  const bottom = height - 22;
  const step = width / shown.length;
  const x = (k) => (k + 0.5) * step;
  const parts = shown.map((_, k) => make("line", {
    class: "way", x1: x(k), x2: x(k), y1: 4, y2: bottom,
  }));
  if (!answer) {
    parts.push(...shown.map((_, k) => make("rect", {
      class: "stand", x: x(k) - 5, y: 6, width: 10, height: 4, rx: 2,
    })));
    svg.setAttribute("aria-label", "Your equaliser, nothing pulled yet");
    svg.replaceChildren(...parts);
    return;
  }
  const { pulled, ring, hz, q, deepest, shape } = answer;
  const from = x(shown.indexOf(pulled));
  const to = placeOf(sliders, shown, hz, x);
  const y = (db) => 8 + (-db / deepest) * (bottom - 16);
  const points = Array.from({ length: 81 }, (_, i) => {
    const k = (i / 80) * (shown.length - 1);
    const low = sliders[shown[Math.floor(k)]].centre_hz;
    const high = sliders[shown[Math.ceil(k)]].centre_hz;
    const here = low * (high / low) ** (k - Math.floor(k));
    const db = responseDb({
      centreHz: sliders[pulled].centre_hz, q, gainDb: -deepest, hz: here, shape,
    });
    return `${x(k).toFixed(1)},${y(db).toFixed(1)}`;
  });
  parts.push(
    make("polyline", { class: "curve", points: points.join(" ") }),
    make("rect", { class: "stand", x: from - 7, y: bottom - 6, width: 14, height: 6, rx: 2 }),
    make("line", { class: "held", x1: to, x2: to, y1: 4, y2: bottom }),
    make("circle", { class: "wedge", cx: to, cy: 8, r: 7 }),
  );
  const ringX = within(to, 18, width);
  parts.push(make("text", { class: "named", x: ringX, y: height - 4 }, sliders[ring].label));
  if (pulled !== ring) {
    const pulledX = within(from, 18, width);
    if (Math.abs(pulledX - ringX) > 44) {
      parts.push(make("text", { x: pulledX, y: height - 4 }, sliders[pulled].label));
    }
    const head = to > from ? -8 : 8;
    parts.push(
      make("line", { class: "gap", x1: from, x2: to, y1: bottom / 2, y2: bottom / 2 }),
      make("polygon", {
        class: "wedge",
        points: `${to},${bottom / 2} ${to + head},${bottom / 2 - 6} ${to + head},${bottom / 2 + 6}`,
      }),
    );
  }
  svg.setAttribute("aria-label", pulled === ring
    ? `The pull stands on the ring, ${sliders[ring].label}`
    : `The pull stands at ${sliders[pulled].label}, the ring at ${sliders[ring].label}`);
  svg.replaceChildren(...parts);
}

/** One mark a slider: solid known, hollow not yet, a short line never asked for. */
export function drawKnown(svg, sliders, marks) {
  const [width, height] = size(svg);
  const step = width / Math.max(1, sliders.length);
  const half = Math.min(9, step / 2.6);
  const base = height - 20;
  const parts = [];
  let free = 0; // where the next label may begin
  sliders.forEach(({ label }, i) => {
    const x = (i + 0.5) * step;
    const mark = marks[i];
    if (mark === "") {
      parts.push(make("line", { class: "way", x1: x, x2: x, y1: base - 6, y2: base }));
    } else {
      const known = mark === "known";
      parts.push(make("rect", {
        class: known ? "known" : "unknown",
        x: x - half, y: known ? 4 : base / 2, width: 2 * half, height: base - (known ? 4 : base / 2),
        rx: 2,
      }));
    }
    const wide = 8 * label.length + 6;
    if (x - wide / 2 >= free && x + wide / 2 <= width + 2) {
      parts.push(make("text", { x, y: height - 4 }, label));
      free = x + wide / 2;
    }
  });
  svg.replaceChildren(...parts);
  const of = (kind) => sliders.filter((_, i) => marks[i] === kind).map(({ label }) => label);
  svg.setAttribute("aria-label",
    `Known: ${of("known").join(", ") || "none"}. Not yet: ${of("not yet").join(", ") || "none"}.`);
}
