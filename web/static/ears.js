// What the ear trainer reckons: pure functions, no page and no sound.
//
// A slider is a peaking section. Its response: R. Bristow-Johnson, "Cookbook formulae for audio
// EQ biquad filter coefficients"; its Q as wide as the way to its neighbours, as in the advice.
import { counted } from "./parts.js";

const RATE_HZ = 48000;
const DEEPEST_DB = 12; // what most sliders cut at their end
export const RUN = 10;
const NARROWEST_OCTAVES = 1 / 12; // sliders are not narrower or wider than this: as in the advice
const WIDEST_OCTAVES = 2;
const REMEMBERED = 8; // answers kept of each slider; older ones say little about today's ears

/** Q of slider i among centres in Hz, lowest first. A lone slider counts as one octave wide. */
export function qOf(centres, i) {
  const place = centres.map(Math.log2);
  const ways = [];
  if (i > 0) ways.push(place[i] - place[i - 1]);
  if (i + 1 < place.length) ways.push(place[i + 1] - place[i]);
  const octaves = ways.length ? ways.reduce((a, b) => a + b) / ways.length : 1;
  const wide = Math.min(WIDEST_OCTAVES, Math.max(NARROWEST_OCTAVES, octaves));
  return 1 / (2 ** (wide / 2) - 2 ** (-wide / 2));
}

/** The sliders to train on: one's own, or the standard bands where one has none in a row. A filter
 *  that can be put anywhere has no place to be heard. Exact frequencies: IEC 61260-1, base ten. */
export function slidersOf({ equaliser, bands }) {
  if (equaliser.graphic ?? true) return equaliser.sliders;
  const middle = bands.indexOf("1k");
  return bands.map((label, i) => ({ label, centre_hz: 1000 * 10 ** ((i - middle) / 10) }));
}

/** How far such a slider is pulled: to its end. */
export const deepestOf = ({ equaliser }) =>
  ((equaliser.graphic ?? true) && equaliser.deepest_db) || DEEPEST_DB;

/** How such a slider's dip changes with the pull: as the settings have it. */
export const shapeOf = ({ equaliser }) =>
  ((equaliser.graphic ?? true) && equaliser.shape) || "proportional";

/** What a peaking section of gain_db (negative: a cut) gives at a frequency, in dB.
 *  Of constant shape a cut has the Q in its zeros and a boost in its poles, as in the advice. */
export function responseDb({ centreHz, q, gainDb, hz, shape }) {
  const a = 10 ** (gainDb / 40);
  const [over, under] = shape === "constant"
    ? [Math.max(1, a * a), Math.max(1, 1 / (a * a))] : [a, 1 / a];
  const turn = (2 * Math.PI * centreHz) / RATE_HZ;
  const alpha = Math.sin(turn) / (2 * q);
  const w = (2 * Math.PI * hz) / RATE_HZ;
  const power = (b0, b1, b2) =>
    (b0 + b1 * Math.cos(w) + b2 * Math.cos(2 * w)) ** 2
    + (b1 * Math.sin(w) + b2 * Math.sin(2 * w)) ** 2;
  const middle = -2 * Math.cos(turn);
  return 10 * Math.log10(
    power(1 + alpha * over, middle, 1 - alpha * over)
      / power(1 + alpha * under, middle, 1 - alpha * under),
  );
}

const nearest = (centres, hz) => centres.reduce((best, centre, i) =>
  Math.abs(Math.log(centre / hz)) < Math.abs(Math.log(centres[best] / hz)) ? i : best, 0);

/** The levels that this equaliser has, easiest first: which sliders there are to choose from. */
export function levelsOf(centres) {
  const between = (low, high) => centres.flatMap((hz, i) => (hz >= low && hz <= high ? [i] : []));
  const octaves = [125, 250, 500, 1000, 2000, 4000, 8000]
    .filter((hz) => hz > centres[0] / 1.5 && hz < centres.at(-1) * 1.5)
    .map((hz) => nearest(centres, hz));
  const wanted = [
    { name: "an octave apart", sliders: [...new Set(octaves)] },
    { name: "where voices live", sliders: between(190, 6500) },
    { name: "all you can hear well", sliders: between(60, 13000) },
  ];
  const levels = [];
  for (const level of wanted) {
    if (level.sliders.length < 2) continue;
    if (level.sliders.length > (levels.at(-1)?.sliders.length ?? 0)) levels.push(level);
  }
  return levels.length ? levels : [{ name: "all", sliders: centres.map((_, i) => i) }];
}

/** How often a slider is missed, from its last answers (1 right, 0 missed): Laplace's rule of
 *  succession, so that one never asked for counts as missed half the time. */
export function missRate(answers = []) {
  return (answers.filter((right) => !right).length + 1) / (answers.length + 2);
}

/** How likely each slider comes next, beside the others: the square of its miss rate, so that
 *  one missed twice as often comes four times as often and a well-known one still comes. The
 *  one just played does not come again at once. */
export function weightsOf(sliders, answersOf, last = -1) {
  return sliders.map((i) => (i === last && sliders.length > 1 ? 0 : missRate(answersOf(i)) ** 2));
}

/** Draw one of sliders by weight; random in [0, 1). */
export function draw(sliders, weights, random) {
  let left = random * weights.reduce((a, b) => a + b, 0);
  for (let i = 0; i < sliders.length; i += 1) {
    left -= weights[i];
    if (left < 0) return sliders[i];
  }
  return sliders[weights.findLastIndex((weight) => weight > 0)];
}

/** Where the ring is: on the slider at the easy level, else up to a third of the way to its
 *  neighbours, so that it stays this slider's business. */
export function ringHz(centres, i, exact, random) {
  if (exact) return centres[i];
  const way = 2 * random - 1;
  const other = centres[i + (way < 0 ? -1 : 1)];
  return other ? centres[i] * (other / centres[i]) ** (Math.abs(way) / 3) : centres[i];
}

/** How far a pull was from the ring: in sliders (positive: the ring is higher), octaves, and
 *  whole semitones. */
export function missOf(centres, pulled, ring, hz) {
  const octaves = Math.log2(hz / centres[pulled]);
  return { sliders: ring - pulled, octaves, semitones: Math.round(12 * octaves) };
}

/** The answer in words; fallDb is negative. */
export function verdict({ pulled, ring, miss, fallDb }) {
  const fell = Math.abs(fallDb) < 0.5
    ? "The ring goes on as before"
    : `The ring falls by ${Math.round(Math.abs(fallDb))} dB`;
  if (miss.sliders === 0) return `Right: ${ring}. ${fell}.`;
  const way = miss.sliders > 0 ? "higher" : "lower";
  const octaves = Math.abs(miss.octaves);
  const far = octaves < 1 ? counted(Math.abs(miss.semitones), "semitone") : `${octaves.toFixed(1)} octaves`;
  return `You pulled ${pulled}. It was ${ring}: `
    + `${counted(Math.abs(miss.sliders), "slider")} ${way}, ${far}. ${fell}.`;
}

// --- scores: what is kept in the browser ---------------------------------------------------

export const noScores = () => ({ v: 1, sliders: {}, runs: 0 });

/** Scores from kept text; anything that is not ours counts as none. */
export function readScores(text) {
  const scores = noScores();
  try {
    const kept = JSON.parse(text);
    if (kept.v !== 1) return scores;
    for (const [label, answers] of Object.entries(kept.sliders)) {
      if (Array.isArray(answers) && answers.every((one) => one === 0 || one === 1)) {
        scores.sliders[label] = answers.slice(-REMEMBERED);
      }
    }
    if (Number.isInteger(kept.runs) && kept.runs > 0) scores.runs = kept.runs;
  } catch {
    return noScores();
  }
  return scores;
}

/** The scores with one more answer. */
export function withAnswer(scores, label, right) {
  const answers = [...(scores.sliders[label] ?? []), right ? 1 : 0].slice(-REMEMBERED);
  return { ...scores, sliders: { ...scores.sliders, [label]: answers } };
}

/** What is known of a slider: "known" (missed less than a third), "not yet", or "" unasked. */
export function knowledge(answers = []) {
  if (answers.length === 0) return "";
  return missRate(answers) < 1 / 3 ? "known" : "not yet";
}
