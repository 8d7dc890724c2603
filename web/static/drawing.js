// The drawings: the performer's sliders, the third octaves, and the panel's own dots.
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

export const within = (x, margin, width) => Math.min(width - margin, Math.max(margin, x));

const number = (db) => String(Math.round(db * 10) / 10);

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
  if (svg.hasAttribute("hidden")) return;
  const [width, height] = size(svg);
  const { sliders, deepest_db: deepest = 12 } = snapshot.equaliser;
  const stands = standing(snapshot);
  const step = width / sliders.length;
  const x = (i) => (i + 0.5) * step;
  const asked = new Map(pulls.map((pull) => [pull.slider, pull]));
  const parts = [];
  const front = [];
  const wide = Math.min(22, Math.max(9, step * 0.8));
  const beside = depths([width, height], [...asked.keys()].map(x), wide * 0.62);
  const told = new Map([...asked].map(([i, { more_db: more = 0 }]) => {
    const words = more ? `${more < 0 ? "+" : "\u2212"}${number(Math.abs(more))}` : "";
    return [i, { words, place: words && beside(words, x(i), wide * 0.62 + 6) }];
  }));
  // A depth that finds no place by its wedge stands beside the name.
  const below = names(sliders, new Map([...told].map(([i, { words, place }]) =>
    [i, words && !place ? `${sliders[i].label} ${words}` : sliders[i].label])), stands, x, [width, height]);
  const bottom = height - 5 - ROW * below.rows;
  sliders.forEach((slider, i) => {
    parts.push(make("line", { class: "way", x1: x(i), x2: x(i), y1: 4, y2: bottom }));
    const y = 8 + Math.min(1, stands[i] / deepest) * (bottom - 16);
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
 * Places depths beside their wedges: towards the middle, never into each other, and never where
 * another wedge is as near; then there is none.
 */
function depths([width, height], wedges, half) {
  const taken = [];
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
          && taken.every(([a, b, there]) => there !== row || from > b || from + wide < a);
        if (!fits) continue;
        taken.push([from, from + wide, row]);
        return { side: side > 0 ? "start" : "end", x: x + side * gap, row };
      }
    }
    return null;
  };
}

const ROW = 17; // of names, below the sliders

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
    return more > 0 ? `${label} by ${number(more)} dB` : label;
  });
  const stood = sliders.flatMap((slider, i) => {
    if (!(stands[i] > 0)) return [];
    return [slider.switch ? `${slider.label} on` : `${slider.label} at \u2212${number(stands[i])} dB`];
  });
  return `Your equaliser${now.length ? `, pull ${now.join(", ")}` : ""}${
    stood.length ? `; pulled already: ${stood.join(", ")}` : ", nothing pulled yet"}`;
}

/** What was pulled as one curve over the frequencies, with the rings on it. */
export function drawCurve(svg, { curve, rings, deepest }) {
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
    `at ${ring.band} ${number(ring.depth_db)} dB`).join(", ") || "nothing"}`);
}

/** Third-octave levels as one thin line, with the rings held on it. */
export function drawLevels(svg, snapshot) {
  const [width, height] = size(svg);
  const values = snapshot.third_octave_dbfs;
  const bands = snapshot.bands;
  const step = width / values.length;
  const base = height - 18;
  const y = (level) => base * Math.min(1, Math.max(0, -level / 100));
  const x = (i) => (i + 0.5) * step;
  const points = values.map((level, i) => `${x(i).toFixed(1)},${y(level).toFixed(1)}`);
  const parts = [make("polyline", { class: "curve", points: points.join(" ") })];
  const held = (band, now) => {
    const i = bands.indexOf(band);
    if (i < 0) return;
    parts.push(make("line", { class: now ? "held" : "held was", x1: x(i), x2: x(i), y1: now ? y(values[i]) : 14, y2: base }));
    parts.push(make("text", { class: now ? "named" : "", x: within(x(i), 16, width), y: 10 }, band));
  };
  const rings = new Set(snapshot.rings.map((ring) => ring.band));
  const been = snapshot.recent.filter((ring) => ring.ended_ago_s < HELD_S && !rings.has(ring.band));
  for (const band of new Set(been.map((ring) => ring.band))) held(band, false);
  for (const band of rings) held(band, true);
  svg.setAttribute("aria-label", `Level in each third octave${rings.size ? `; rings: ${[...rings].join(", ")}` : ""}${
    been.length ? `; rang just now: ${[...new Set(been.map((ring) => ring.band))].join(", ")}` : ""}`);
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
