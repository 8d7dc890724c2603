// The advice in a set: how far to pull, what else would do, and saying that it was done.
import { standing } from "./row.js";
import { at, decibels, text, TOO_SOON_MS, unbroken } from "./parts.js";
import { send } from "./send.js";

const OFFERED_MS = 90_000; // the hand comes free between two songs
let shown = null; // the newest snapshot
let offered = []; // what was asked for lately, the newest last: the pulls, and since when
let offeredUntil = 0; // when the newest can be confirmed no more
let refusal = ""; // of what was confirmed last

/** A line that is to be read at a glance breaks between pulls, never inside one's depth. */
export const bound = (line) =>
  unbroken(line).replaceAll(/ by (?=[\d.]+(\u00a0dB)?,)/g, "\u00a0by\u00a0").replaceAll(/(\d) (?=slider)/g, "$1\u00a0");

/** The line of a pull: "2.5k by 4". */
const pullWords = (pull) => `${pull.label} by ${decibels(pull.more_db)}`;

/** The ring-out that leads now, if one does: then nothing else tells what to do. */
export function leads({ ring_out: ringOut }) {
  return ringOut && ["raise", "pull", "listen", "back_off"].includes(ringOut.phase) ? ringOut : null;
}

/** What to do about what rings: as the ring-out or the advice has it, else the nearest slider. */
export function doNow(snapshot) {
  const ringOut = leads(snapshot);
  if (ringOut) return { line: ringOut.say, pulls: ringOut.pulls_now };
  if (snapshot.advice) return snapshot.advice;
  const { sliders } = snapshot.equaliser;
  const pulls = snapshot.rings.map((ring) => ({
    slider: sliders.findIndex((one) => one.label === ring.slider), label: ring.slider,
  })).filter((pull) => pull.slider >= 0);
  return { line: snapshot.rings.length ? `pull ${snapshot.rings[0].slider}` : "", pulls };
}

/** What a hand meant: the box may ask for another pull while it comes. */
const meant = () => offered.findLast(({ sinceMs }) => performance.now() - sinceMs > TOO_SOON_MS) ?? offered[0];

function forget() {
  offered = [];
  refusal = "";
  at("asked").hidden = true;
}

function offer(snapshot) {
  const { advice, stage, equaliser } = snapshot;
  const now = performance.now();
  if (advice?.pulls.length) {
    offeredUntil = now + OFFERED_MS;
    if (JSON.stringify(advice.pulls) !== JSON.stringify(offered.at(-1)?.pulls)) {
      offered = [...offered.filter((one) => one === meant() || now - one.sinceMs < TOO_SOON_MS),
        { pulls: advice.pulls, sinceMs: now }];
      refusal = "";
    }
  }
  const stands = standing(snapshot);
  const pulls = offered.at(-1)?.pulls;
  // A box that began anew may have another row of sliders.
  if (pulls && (now > offeredUntil || pulls.some((pull) => equaliser.sliders[pull.slider]?.label !== pull.label)
    || pulls.every((pull) => stands[pull.slider] >= pull.pull_db - 0.25))) forget();
  at("asked").hidden = Boolean(stage) || !offered.length;
  if (offered.length) {
    text(at("asked-words"), refusal || snapshot.rings.length ? refusal
      : `last asked for: ${pulls.map(pullWords).join(", ")}`);
  }
  at("flat").hidden = Boolean(stage) || !stands.some((db) => db > 0);
}

export function followAdvice(snapshot) {
  shown = snapshot;
  const { advice } = snapshot;
  // A filter that can be put anywhere is set by more than its depth.
  const lines = (leads(snapshot) ? [] : advice?.pulls ?? []).filter(({ q }) => q !== undefined)
    .map(({ label, centre_hz: hz, q }) => `${label}: ${Math.round(hz)} Hz${label.startsWith("filter") ? `, Q ${q}` : ""}`);
  if (advice?.second) {
    lines.push(`${advice.second_too ? "and" : "or"} ${pullWords(advice.second)}`);
  }
  if (advice?.hint) lines.push(advice.hint);
  at("hint").hidden = lines.length === 0;
  text(at("hint"), lines.join(" \u00b7 "));
  offer(snapshot);
}

async function stands(pull, cutDb) {
  const command = { slider: pull.slider, cut_db: cutDb };
  if (pull.centre_hz !== undefined) Object.assign(command, { centre_hz: pull.centre_hz, q: pull.q });
  return send("/api/v1/pull", command);
}

at("asked-done").addEventListener("click", async () => {
  const one = meant();
  for (const pull of one?.pulls ?? []) {
    refusal = await stands(pull, -pull.pull_db);
    text(at("asked-words"), refusal);
    if (refusal) return;
  }
  if (one === offered.at(-1)) forget(); // another one that came meanwhile is still to be pulled
});
at("flat").firstElementChild.addEventListener("click", async () => {
  let refused = "";
  for (const one of shown?.standing ?? []) refused ||= await stands(one, 0);
  text(at("flat-said"), refused);
});
