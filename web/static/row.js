// The drawing of the person's own sliders: how they stand, and which to pull how far.
import { drawOnce, make, size, within } from "./drawing.js";
import { decibels } from "./parts.js";

const ROW = 17; // of names, below the sliders
const KNOB = 6; // half of a slider's, and some air
const LETTER = 20; // of a depth, above its line, and a knob

/** How far each slider stands pulled, in dB, by its place in the row. */
export function standing(snapshot) {
  const { sliders } = snapshot.equaliser;
  const stands = sliders.map(() => 0);
  if (snapshot.stage) {
    snapshot.stage.sliders.forEach((slider, i) => { stands[i] = -slider.cut_db; });
  } else {
    for (const one of snapshot.standing ?? []) stands[one.slider] = -one.cut_db;
  }
  return stands;
}

/**
 * The user's equaliser: quiet lines with the sliders where they stand; a long wedge with its
 * depth hangs from each slider to pull. A pull is { slider, label, more_db }, or { slider, label, on }
 * for a low cut, which has no depth that a hand could set.
 */
export function drawSliders(svg, snapshot, pulls) {
  const { sliders, deepest_db: deepest = 12 } = snapshot.equaliser;
  const row = { sliders, deepest, pulls, stands: standing(snapshot) };
  drawOnce(svg, row, () => drawRow(svg, row));
}

function drawRow(svg, { sliders, deepest, pulls, stands }) {
  const [width, height] = size(svg);
  const step = width / sliders.length;
  const x = (i) => (i + 0.5) * step;
  const asked = new Map(pulls.map((pull) => [pull.slider, pull]));
  const parts = [];
  const front = [];
  const wide = Math.min(22, Math.max(9, step * 0.8));
  const deep = (i, bottom) => 8 + Math.min(1, stands[i] / deepest) * (bottom - 16);
  const standing = stands.flatMap((db, i) => (db > 0 && !asked.has(i)
    ? [{ x: x(i), deep: deep(i, height - 5 - ROW) }] : []));
  const beside = depths([width, height], [...asked.keys()].map(x), standing, wide * 0.62);
  const told = new Map([...asked].map(([i, { more_db: more = 0 }]) => {
    const words = more ? `${more < 0 ? "+" : "\u2212"}${decibels(Math.abs(more))}` : "";
    return [i, { words, place: words && beside(words, x(i), wide * 0.62 + 6) }];
  }));
  // A depth that finds no place by its wedge stands beside the name.
  const below = names(sliders, new Map([...told].map(([i, { words, place }]) =>
    [i, words && !place ? `${sliders[i].label} ${words}` : sliders[i].label])), stands, x, [width, height]);
  const bottom = height - 5 - ROW * below.rows;
  sliders.forEach((slider, i) => {
    parts.push(make("line", { class: "way", x1: x(i), x2: x(i), y1: 4, y2: bottom }));
    const y = deep(i, bottom);
    const half = Math.min(5, step / 2.6);
    if (stands[i] > 0) {
      parts.push(make("line", { class: "pulled", x1: x(i), x2: x(i), y1: 4, y2: y }));
    }
    if (!asked.has(i)) {
      parts.push(make("rect", {
        class: "stand", x: x(i) - half, y: y - 2, width: 2 * half, height: 4, rx: 2,
      }));
      return;
    }
    // A slider that may come up again has its wedge upside down, and open.
    const up = asked.get(i).more_db < 0;
    const [from, to] = up ? [bottom, 0] : [0, bottom];
    parts.push(make("polygon", {
      class: up ? "hollow" : "wedge",
      points: `${x(i) - wide},${from} ${x(i) + wide},${from} ${x(i)},${to}`,
    }));
    const { words, place } = told.get(i);
    if (place) front.push(make("text", { class: `depth ${place.side}`, x: place.x, y: bottom * place.row }, words));
  });
  parts.push(...front, ...below.parts);
  svg.replaceChildren(...parts);
  svg.setAttribute("aria-label", spoken(sliders, pulls, stands));
}

/**
 * Places depths beside their wedges: towards the middle, never into each other, never across a
 * slider that stands, which would make a plus of a minus, and never where another wedge is as
 * near; then there is none.
 */
function depths([width, height], wedges, standing, half) {
  const taken = [];
  const bottom = height - 5 - ROW;
  return (words, x, gap) => {
    const wide = 13 * words.length + 2;
    const others = wedges.filter((other) => other !== x);
    const sides = x < width / 2 ? [1, -1] : [-1, 1];
    for (const row of height < 80 ? [0.8] : [0.52, 0.9]) {
      for (const side of sides) {
        const from = side > 0 ? x + gap : x - gap - wide;
        const middle = from + wide / 2;
        const fits = from >= 0 && from + wide <= width
          && others.every((other) => Math.abs(other - middle) > Math.abs(x - middle)
            && (other + half < from || other - half > from + wide))
          && standing.every((one) => one.x + KNOB < from || one.x - KNOB > from + wide
            || one.deep < bottom * row - LETTER)
          && taken.every(([a, b, there]) => there !== row || from > b || from + wide < a);
        if (!fits) continue;
        taken.push([from, from + wide, row]);
        return { side: side > 0 ? "start" : "end", x: x + side * gap, row };
      }
    }
    return null;
  };
}

/**
 * Names below the row: of what is to be pulled, in two rows where they stand close, and none is
 * left out; then of what stands and of the ends, where there is room.
 */
function names(sliders, asked, stands, x, [width, height]) {
  const lines = [[], []];
  const free = (line, from, to) => line.every((one) => one.to <= from || one.from >= to);
  for (const [i, words] of [...asked].sort(([one], [other]) => one - other)) {
    if (!sliders[i]) continue;
    const half = 4.5 * words.length + 4;
    const at = within(x(i), half, width);
    const line = lines.find((one) => free(one, at - half, at + half))
      ?? lines.reduce((one, other) => (one.at(-1).to <= other.at(-1).to ? one : other));
    const from = Math.max(at - half, line.at(-1)?.to ?? 0);
    line.push({ words, from, to: from + 2 * half });
  }
  for (const line of lines) {
    let end = width; // what was moved too far to the right comes back, and moves its neighbours
    for (const one of [...line].reverse()) {
      const back = Math.max(0, one.to - end);
      Object.assign(one, { from: one.from - back, to: one.to - back });
      end = one.from;
    }
  }
  const rows = lines[1].length ? 2 : 1;
  const y = (k) => height - 5 - ROW * (rows - 1 - k);
  const parts = lines.flatMap((line, k) => line.map(({ words, from, to }) =>
    make("text", { class: "named", x: (from + to) / 2, y: y(k) }, words)));
  const put = (i) => {
    if (asked.has(i)) return;
    const { label } = sliders[i];
    const half = 3.9 * label.length + 4;
    const at = within(x(i), half, width);
    if (!free(lines[0], at - half, at + half)) return;
    lines[0].push({ from: at - half, to: at + half });
    parts.push(make("text", { x: at, y: y(0) }, label));
  };
  stands.forEach((db, i) => { if (db > 0) put(i); });
  put(0);
  put(sliders.length - 1);
  return { parts, rows };
}

function spoken(sliders, pulls, stands) {
  const now = pulls.map(({ label, more_db: more, on }) => {
    if (on !== undefined) return `${label} ${on ? "on" : "off"}`;
    return more > 0 ? `${label} by ${decibels(more)} dB` : label;
  });
  const stood = sliders.flatMap((slider, i) => {
    if (!(stands[i] > 0)) return [];
    return [slider.switch ? `${slider.label} on` : `${slider.label} at \u2212${decibels(stands[i])} dB`];
  });
  return `Your equaliser${now.length ? `, pull ${now.join(", ")}` : ""}${
    stood.length ? `; pulled already: ${stood.join(", ")}` : ", nothing pulled yet"}`;
}
