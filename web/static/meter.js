// The drawings of Level: the reading against what is wanted, and the voice with its low cut.
import { make, size, within } from "./drawing.js";

const number = (db) => String(Math.round(db)).replace("-", "\u2212"); // never a zero with a minus

/** One line from quiet to loud: a bracket where the reading is wanted, a wedge where it is. */
export function drawMeter(svg, { scale, peak }) {
  if (!svg.clientWidth) return; // in another room
  const [width, height] = size(svg);
  const [low, high] = scale.wanted_db;
  const digital = scale.kind === "digital";
  const from = low - 30;
  const to = digital ? Math.max(0, high) : high + 18;
  const x = (db) => within(12 + ((db - from) / (to - from)) * (width - 24), 12, width);
  const line = height - 34;
  const unit = digital ? "dBFS" : "on the desk's meter";
  const wanted = `wanted ${number(low)} to ${number(high)} ${unit}`;
  const parts = [
    make("line", { class: "way", x1: x(from), x2: x(to), y1: line, y2: line }),
    make("polyline", { class: "wanted", points: [[low, 12], [low, 0], [high, 0], [high, 12]].map(([db, up]) =>
      `${x(db)},${line + 14 - up}`).join(" ") }),
    make("text", { x: within((x(low) + x(high)) / 2, Math.min(width / 2, 3.6 * wanted.length), width), y: height - 4 }, wanted),
  ];
  if (peak !== undefined) {
    parts.push(make("line", { class: "pulled", x1: x(peak), x2: x(peak), y1: line - 10, y2: line + 4 }));
  }
  const { reading_db: reading } = scale;
  if (reading !== undefined) {
    const at = x(reading);
    parts.push(
      make("polygon", { class: "wedge", points: `${at - 13},${line - 26} ${at + 13},${line - 26} ${at},${line}` }),
      make("text", { class: "named", x: within(at, 20, width), y: line - 31 }, number(reading)),
    );
  }
  svg.replaceChildren(...parts);
  const where = reading === undefined ? "nothing read yet"
    : `reads ${number(reading)}, ${reading < low ? "below" : reading > high ? "above" : "inside"} what is wanted`;
  svg.setAttribute("aria-label", `${where}: ${number(low)} to ${number(high)} ${unit}`);
}

const hertz = (hz) => hz >= 1000 ? `${hz / 1000}k` : String(Math.round(hz));

function trace(values, centres, x, y, kind) {
  const points = values.flatMap((db, i) => Number.isFinite(db)
    ? [`${x(centres[i]).toFixed(1)},${y(db).toFixed(1)}`] : []);
  return make("polyline", { class: kind, points: points.join(" ") });
}

/** The voice as a line, what lies in its pauses dotted, its notes as a bar, and the cut. */
export function drawVoice(svg, spectrum, lowCut, cutHz) {
  if (!svg.clientWidth) return;
  const [width, height] = size(svg);
  const { centre_hz: centres, voice_dbfs: voice = [], below_dbfs: below = [] } = spectrum;
  const all = [...voice, ...below].filter(Number.isFinite);
  const top = Math.max(-60, ...all);
  const base = height - 18;
  const [low, high] = [Math.log(centres[0]), Math.log(centres.at(-1))];
  const x = (hz) => 8 + ((Math.log(hz) - low) / (high - low)) * (width - 16);
  const y = (db) => Math.min(base, 40 + ((top - db) / 70) * (base - 40));
  const parts = [];
  if (cutHz) {
    parts.push(
      make("rect", { class: "taken-out", x: 8, y: 34, width: Math.max(0, x(cutHz) - 8), height: base - 34 }),
      make("line", { class: "held", x1: x(cutHz), x2: x(cutHz), y1: 30, y2: base }),
      make("text", { class: "named", x: within(x(cutHz), 26, width), y: 26 }, `${hertz(cutHz)} Hz`),
    );
  }
  parts.push(trace(below, centres, x, y, "curve pauses"), trace(voice, centres, x, y, "cutting"));
  const { lowest_hz: lowest, highest_hz: highest } = lowCut;
  if (lowest && highest) {
    parts.push(
      make("line", { class: "pulled", x1: x(lowest), x2: Math.max(x(lowest) + 3, x(highest)), y1: 36, y2: 36 }),
      make("text", { class: "start", x: Math.max(x(lowest), cutHz ? x(cutHz) + 34 : 0), y: 26 },
        `${lowCut.lowest_note ?? hertz(lowest)} to ${lowCut.highest_note ?? hertz(highest)}`),
    );
  }
  for (const hz of [50, 100, 200, 1000, 5000]) parts.push(make("text", { x: x(hz), y: height - 3 }, hertz(hz)));
  svg.replaceChildren(...parts);
  svg.setAttribute("aria-label", `Your voice over the frequencies${lowest
    ? `, notes from ${Math.round(lowest)} to ${Math.round(highest)} Hz` : ""}${
    cutHz ? `; a low cut at ${Math.round(cutHz)} Hz` : ""}`);
}
