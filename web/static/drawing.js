// The drawings: the performer's sliders, the third octaves, and the panel's own dots.
const SVG = "http://www.w3.org/2000/svg";

export function make(name, attributes, content = "") {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = content;
  return element;
}

export function size(svg) {
  const width = Math.max(200, svg.clientWidth);
  const height = Math.max(60, svg.clientHeight);
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  return [width, height];
}

const within = (x, margin, width) => Math.min(width - margin, Math.max(margin, x));

/** The user's equaliser: quiet lines; a long wedge hangs from the slider to pull. */
export function drawSliders(svg, snapshot) {
  if (svg.hasAttribute("hidden")) return;
  const [width, height] = size(svg);
  const sliders = snapshot.equaliser.sliders;
  const cuts = snapshot.stage?.sliders;
  const lowest = snapshot.stage?.cut_max_db ?? 15;
  const step = width / sliders.length;
  const bottom = height - 22;
  const parts = [];
  const pulls = new Set(snapshot.rings.map((ring) => ring.slider));
  sliders.forEach((slider, i) => {
    const x = (i + 0.5) * step;
    parts.push(make("line", { class: "way", x1: x, x2: x, y1: 4, y2: bottom }));
    const cut = Math.abs(cuts?.[i]?.cut_db ?? 0) / Math.abs(lowest);
    const y = 8 + Math.min(1, cut) * (bottom - 16);
    const half = Math.min(5, step / 2.6);
    if (pulls.has(slider.label)) {
      const wide = Math.max(7, step * 0.7);
      parts.push(make("polygon", {
        class: "wedge", points: `${x - wide},0 ${x + wide},0 ${x},${bottom}`,
      }));
      parts.push(make("text", {
        class: "named", x: within(x, 18, width), y: height - 5,
      }, slider.label));
    } else {
      parts.push(make("rect", {
        class: "stand", x: x - half, y: y - 2, width: 2 * half, height: 4, rx: 2,
      }));
    }
  });
  const named = sliders.map((slider, i) => [slider.label, i]).filter(([label]) => pulls.has(label));
  for (const i of [0, sliders.length - 1]) {
    if (named.every(([, j]) => Math.abs(i - j) * step > 40)) {
      const x = within((i + 0.5) * step, 14, width);
      parts.push(make("text", { x, y: height - 6 }, sliders[i].label));
    }
  }
  svg.replaceChildren(...parts);
  svg.setAttribute("aria-label", `Your equaliser, pull ${[...pulls].join(", ")}`);
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
  for (const ring of snapshot.rings) {
    const i = bands.indexOf(ring.band);
    if (i >= 0) {
      parts.push(make("line", { class: "held", x1: x(i), x2: x(i), y1: y(values[i]), y2: base }));
    }
  }
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
