// One snapshot onto the page.
import { bound, doNow } from "./advice.js";
import { asked, at, counted, create, rows, text as write } from "./parts.js";
import { drawLevels, drawPanel } from "./drawing.js";
import { drawSliders } from "./row.js";
import { asker } from "./send.js";

const STALE_S = 2;
let speech = ""; // of what is shown, as long as it is live

const text = (id, value) => write(at(id), value);

export function hz(value) {
  return value < 1000 ? `${value.toFixed(1)} Hz` : `${(value / 1000).toFixed(3)} kHz`;
}

export function span(seconds) {
  if (seconds < 90) return `${Math.round(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  return minutes < 90 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

/** How long a ring lasted, to the tenth while that is short. */
export const lasted = (seconds) => (seconds < 90 ? `${seconds.toFixed(1)} s` : span(seconds));

const again = (ring) => (ring.again > 1 ? `again! ${ring.again}` : "");

function ordinal(n) {
  const tens = n % 100;
  const ending = tens > 10 && tens < 14 ? "th" : (["th", "st", "nd", "rd"][n % 10] ?? "th");
  return `${n}${ending}`;
}

function place(ring, snapshot) {
  const sliders = snapshot.equaliser.sliders;
  const index = sliders.findIndex((slider) => slider.label === ring.slider);
  const { line, pulls } = doNow(snapshot);
  // It names no slider, or those of a ring-out, which may be others.
  if (index < 0 || pulls[0]?.slider !== index) return line;
  return `${line}, the ${ordinal(index + 1)} slider of ${sliders.length}`;
}

const WORDS = {
  starting: "starting",
  quiet: "quiet",
  deaf: "cannot hear",
  ringing: "ringing",
  howl: "howl",
};

function headline(snapshot) {
  const [first] = snapshot.rings;
  const band = at("band");
  if (first) {
    text("what", snapshot.rings.length > 1
      ? `${snapshot.rings.length} ring at once, first`
      : `${WORDS[first.degree]} ${again(first)}`.trim());
    text("band", first.band);
    band.dataset.length = String(Math.min(5, Math.max(4, first.band.length)));
    text("hz", `${hz(first.frequency_hz)}, for ${span(first.ringing_for_s)}`);
    const { line, pulls } = doNow(snapshot);
    // The largest type is what the hand looks for: often the line has another name for it than the
    // band's.  The panel goes by the same rule (present_ring.py).
    const isOther = !line.split(/[ ,]+/).includes(first.band);
    at("state").dataset.named = pulls.length && isOther ? "otherwise" : "alike";
    at("slider").dataset.length = line.length > 16 ? "long" : "short";
    text("slider", bound(line));
  } else {
    const state = snapshot.state;
    at("state").dataset.named = "alike";
    text("what", state === "quiet" ? "" : state === "deaf" ? "" : "a moment");
    band.dataset.length = "word";
    text("band", WORDS[state]);
    const last = snapshot.recent[0];
    text("hz", state === "deaf" ? snapshot.deaf_reason ?? snapshot.microphone.detail
      : state === "quiet" && snapshot.quiet_for_s !== undefined
        ? `for ${span(snapshot.quiet_for_s)}${last ? `, last ${last.band}` : ""}`
        : "");
    text("slider", "");
  }
  const others = snapshot.rings.slice(1);
  at("others").hidden = others.length === 0;
  lines("others", others, (item, ring) => {
    item.dataset.degree = ring.degree;
    item.textContent = ring.band;
  });
  speech = first ? `${WORDS[first.degree]} at ${first.band}, ${place(first, snapshot)}` : WORDS[snapshot.state];
}

function lines(id, values, writeOne) {
  const list = at(id);
  while (list.children.length > values.length) list.lastElementChild.remove();
  while (list.children.length < values.length) list.append(document.createElement("li"));
  values.forEach((value, i) => writeOne(list.children[i], value));
}

function recent(snapshot) {
  at("no-recent").hidden = snapshot.recent.length > 0 || snapshot.rings.length > 0;
  lines("recent", snapshot.recent.slice(0, 8), (item, ring) => {
    const parts = [
      ring.band,
      `${WORDS[ring.degree]}, ${lasted(ring.lasted_s)} ${again(ring)}`.trim(),
      `${span(ring.ended_ago_s)} ago`,
    ];
    if (item.children.length === 0) {
      item.append(...create("b", "span", "span"));
    }
    parts.forEach((part, i) => write(item.children[i], part));
  });
}

/** The supply's voltage; not every board can say. */
function supply({ is_undervolted: low, sag_count: sags }) {
  if (low === undefined) return "";
  const words = low ? "voltage too low now" : "voltage well";
  return sags ? `${words}, too low ${counted(sags, "time")} since the box began` : words;
}

function box(snapshot) {
  const { microphone, board = {} } = snapshot;
  const rate = microphone.sample_rate_hz ? `${microphone.sample_rate_hz / 1000} kHz` : "";
  rows(at("hears"), {
    hears: snapshot.clipping
      ? "clipping: move the box away or turn its input down"
      : `${Math.round(snapshot.level_dbfs)} dB of full scale`,
    microphone: `${microphone.state} ${rate}`.trim(),
    detail: microphone.detail,
    "automatic gain": microphone.automatic_gain,
    lost: `${microphone.overrun_count} overruns, ${microphone.dropped_block_count} blocks`,
    lamp: snapshot.lamp.health,
    panel: snapshot.panel.health,
    journal: snapshot.journal?.health ?? "off",
    advice: snapshot.adviser?.health,
    board: board.health !== "unknown" && board.health,
    temperature: board.temperature_c !== undefined && `${Math.round(board.temperature_c)} \u00b0C on the board`,
    supply: supply(board),
    button: snapshot.button?.health,
    settings: snapshot.settings?.health,
    showing: snapshot.showing?.health,
  });
  const lamp = at("lamp");
  if (lamp.dataset.pattern !== snapshot.lamp.pattern) {
    lamp.dataset.pattern = snapshot.lamp.pattern;
    lamp.setAttribute("aria-label", `lamp: ${snapshot.lamp.pattern}`);
  }
  drawPanel(at("panel"), snapshot.panel);
}

/** What a person should know before it matters; empty when all is well. */
function troubles({ journal, adviser, board, settings, showing, clipping, microphone }) {
  const said = (name, health) => (health && !["ok", "off", "unknown"].includes(health) ? `${name}: ${health}` : "");
  return [
    said("journal", journal?.health), said("advice", adviser?.health), said("board", board?.health),
    said("settings", settings?.health), said("showing", showing?.health),
    clipping ? "the box's own input clips: move it away or turn its input down" : "",
    microphone.automatic_gain === "still on" ? "automatic gain is on: it hides how a ring grows" : "",
  ].filter(Boolean).join(" \u00b7 ");
}

const askWay = asker("/api/v1/way");
const way = asked();

function ways(told) {
  for (const input of at("ways").querySelectorAll("input")) input.checked = input.value === way.shown("way", told);
}
at("ways").addEventListener("change", ({ target: { value } }) =>
  way.until("way", value, askWay({ way: value }, at("way-said"))));

export function show(snapshot) {
  at("state").dataset.state = snapshot.state;
  document.body.dataset.rings = snapshot.rings.length ? snapshot.state : "";
  text("way", `listens: ${snapshot.way}`); // the soundcheck's steps are another thing
  headline(snapshot);
  recent(snapshot);
  const anything = snapshot.rings.length > 0 || (snapshot.standing ?? []).length > 0;
  at("sliders").toggleAttribute("hidden", !anything);
  drawSliders(at("sliders"), snapshot, snapshot.rings.length ? doNow(snapshot).pulls : []);
  drawLevels(at("levels"), snapshot);
  box(snapshot);
  ways(snapshot.way);
  const trouble = troubles(snapshot);
  at("trouble").hidden = !trouble;
  text("trouble", trouble);
}

export function showAge(ageS, problem) {
  const old = ageS > STALE_S;
  document.body.dataset.fresh = old ? "no" : "yes";
  at("age").hidden = !old;
  // Spoken only when it changes, and without the seconds that always do.
  text("spoken", old ? "the box is not answering" : speech);
  if (!old) return;
  const why = problem ? ` (${problem})` : "";
  text("age", Number.isFinite(ageS)
    ? `the box is not answering: this is ${span(ageS)} old${why}`
    : `the box is not answering${why}`);
  if (!Number.isFinite(ageS)) {
    Object.assign(at("state").dataset, { state: "gone", named: "alike" });
    at("band").dataset.length = "word";
    text("what", "");
    text("band", "no box");
    // Nobody knows how old the rest is.
    text("hz", "");
    text("slider", "");
    at("others").hidden = true;
    at("sliders").toggleAttribute("hidden", true);
  }
}
