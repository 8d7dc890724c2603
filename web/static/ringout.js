// The ring-out: one sentence, one picture of the person's own equaliser, one main button.
import { follow } from "./feed.js";
import { bound, leads } from "./advice.js";
import { drawCurve } from "./drawing.js";
import { at, buttonRow, decibels, fill, rest, rests, rows, text } from "./parts.js";
import { go } from "./rooms.js";
import { drawSliders } from "./row.js";
import { asker } from "./send.js";

// What each step is called on its button; the first that makes sense is the main one.
const MAIN = {
  none: [["open", "Get ready"]],
  ready: [["begin", "I have read this: begin"]],
  raise: [["stop", "That is loud enough"]],
  pull: [["pulled", "I have pulled it"]],
  listen: [["pulled", "Yes, pulled"]],
  back_off: [["turned_down", "It is down"]],
  paused: [["go_on", "Go on"]],
  done: [["set", "On to the set"]],
};
const SMALL = {
  turned_down: ["turned down", "I turned it down and pulled nothing"],
  skip: ["leave it", "leave this ring alone"],
  undo: ["undo", "undo the last step"],
  pause: ["pause", "pause"],
  stop: ["stop", "stop here"],
  open: ["another one", "another ring-out"],
  close: ["put this away", "put this away"],
};
const NOTHING = {
  phase: "none",
  say: "Ring it out",
  detail: "Before the doors open: raise the fader until the room rings, pull what rings, and raise"
    + " again. The box listens, says which of your sliders and how far, and when to stop.",
  pulls_now: [], rings: [], hints: [], cautions: [], may: ["open"], asks: false,
};
const FATES = {
  rings: "rings", gone: "gone", "came back": "came back", left: "left alone",
};
const SURE = { sure: "", about: "about ", "a guess": "perhaps " };
const CARE = "The microphone is not calibrated: nothing here says what is safe for ears.";

const ask = asker("/api/v1/ring-out");
let pulling = []; // the sliders that the main button says are pulled
let uid; // of the ring-out that is shown: another one takes no step that was meant for it

function commandsOf(ringOut) {
  if (ringOut.phase === "done") return [...ringOut.may, "set", "open", "close"];
  return ringOut.phase === "ready" ? [...ringOut.may, "close"] : ringOut.may;
}

function buttons(ringOut) {
  const may = commandsOf(ringOut);
  const main = MAIN[ringOut.phase].find(([name]) => may.includes(name));
  const button = at("ro-main");
  button.hidden = !main;
  if (main) {
    // The box notices a pull by itself: a hand on its way to say so must not end the ring-out, nor
    // say it of the next ring.
    const pulls = main[0] === "pulled" ? ringOut.pulls_now.map(({ label }) => label) : [];
    const isOther = main[0] !== "pulled" || pulls.some((label) => !pulling.includes(label));
    if (button.dataset.do === "pulled" && isOther) rest(button);
    pulling = pulls;
    button.dataset.do = main[0];
    text(button, main[1]);
  }
  const names = Object.keys(SMALL).filter((name) => may.includes(name) && name !== main?.[0]
    && !(name === "stop" && ringOut.phase === "ready"));
  buttonRow(at("ro-small"), names.map((name) => [name, ...SMALL[name]]));
}

/** A ring by its band; two in one band by how high they are as well. */
const nameOf = ({ band, frequency_hz: hz }, rings) =>
  (rings.filter((ring) => ring.band === band).length > 1 ? `${band} (${Math.round(hz)} Hz)` : band);

/** What a ring that has gone has left; its name stands before it. */
const marginWords = ({ margin_db: db, margin_low_db: low, margin_high_db: high, margin_sure: sure }) =>
  `${SURE[sure] ?? ""}${Math.round(db)} dB left, ${Math.round(low)} to ${Math.round(high)}`;

/** What is left over all: of the ring that would be the first again, by what the box tells of each. */
function leftOver(rings) {
  const told = rings.filter((ring) => ring.margin_db !== undefined)
    .sort((a, b) => a.margin_db - b.margin_db);
  if (!told.length) return "not known";
  const but = told.length < rings.length ? "; not known of what was left alone" : "";
  return `${nameOf(told[0], rings)} is the next: ${marginWords(told[0])}, if you came down${but}`;
}

function end(ringOut, snapshot) {
  // Until the fader is down, its own fader comes first.
  at("ro-end").hidden = !ringOut.curve || ringOut.phase !== "done";
  if (at("ro-end").hidden) return;
  // What was won, how many sliders it took and why it ended is said above.
  rows(at("ro-figures"), {
    won: ringOut.gain_won_db === undefined && "not counted",
    "costs tone": ringOut.cut_count > 0
      && `${ringOut.tone_cost_db.toFixed(1)} dB on average, weighted by where voices live`,
    "left over": leftOver(ringOut.rings),
  });
  drawCurve(at("ro-curve"), {
    curve: ringOut.curve, rings: ringOut.rings, deepest: snapshot.equaliser.deepest_db ?? 12,
  });
  fill(at("ro-rings"), ringOut.rings.map((ring) =>
    `${nameOf(ring, ringOut.rings)}: ${FATES[ring.fate]}, ${decibels(ring.depth_db)} dB taken out${
      ring.margin_db === undefined ? "" : `; ${marginWords(ring)}`}`));
}

function followRingOut(snapshot) {
  const ringOut = snapshot.ring_out ?? NOTHING;
  ({ uid } = ringOut);
  const sentence = at("ro-sentence");
  sentence.dataset.phase = ringOut.phase;
  sentence.dataset.length = ringOut.say.length > 22 ? "long" : "short";
  text(at("ro-say"), bound(ringOut.say));
  text(at("ro-detail"), ringOut.detail);
  at("ro-cautions").hidden = ringOut.cautions.length === 0;
  if (ringOut.cautions.length) fill(at("ro-cautions"), [...ringOut.cautions, CARE]);
  // Before it begins the words come first; the row of sliders has nothing to say yet.
  at("ro-picture").toggleAttribute("hidden", ["none", "ready"].includes(ringOut.phase));
  drawSliders(at("ro-picture"), snapshot, ringOut.pulls_now);
  if (document.body.dataset.ringout !== ringOut.phase) text(at("ro-said"), ""); // it was of then
  document.body.dataset.ringout = ringOut.phase;
  document.body.toggleAttribute("data-leads", Boolean(leads(snapshot)));
  buttons(ringOut);
  end(ringOut, snapshot);
  // While a hand pulls there are only the sentence and the sliders; a phone has no room for more.
  const calm = ["paused", "done"].includes(ringOut.phase);
  at("ro-hints").hidden = ringOut.hints.length === 0 || !calm;
  fill(at("ro-hints"), ringOut.hints);
  // The practice stage's own fader is read by the box itself.
  at("ro-marks").hidden = Boolean(snapshot.stage) || !ringOut.may.includes("fader");
}

at("ring-out-room").addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-do]");
  if (!button || rests(button)) return;
  if (button.dataset.do === "set") {
    go("#set");
    return;
  }
  const phase = document.body.dataset.ringout;
  await ask({ do: button.dataset.do, ring_out: uid }, at("ro-said"));
  if (document.body.dataset.ringout !== phase) text(at("ro-said"), ""); // refused for what is over
});
at("ro-mark").addEventListener("submit", (event) => {
  event.preventDefault();
  const value = at("ro-fader").valueAsNumber;
  if (Number.isFinite(value)) ask({ do: "fader", fader_db: value, ring_out: uid }, at("ro-said"));
});

follow(followRingOut);
