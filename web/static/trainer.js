// The ear trainer on the page: volume first, then ten rings, then what the ears know.
import { follow } from "./feed.js";
import * as ears from "./ears.js";
import { keep, kept } from "./own.js";
import { drawAnswer, drawKnown } from "./pictures.js";
import { pull, ring, silence } from "./tone.js";
import { at, choice, create } from "./parts.js";

const KEPT = "ears";

let sliders = []; // of the user's own equaliser, or the standard ones: { label, centre_hz }
let deepest = 0; // how far one is pulled, in dB
let shape = ""; // how its dip changes with the pull
let levels = [];
let level = 0;
let scores = ears.readScores(kept(KEPT));
let areKept = true;
let run = null; // { asked: [{ slider, pulled }], hz, slider, answered }

const centres = () => sliders.map((slider) => slider.centre_hz);

function keepScores() {
  areKept = keep(KEPT, JSON.stringify(scores));
}

function show(step) {
  for (const name of ["start", "run", "end"]) at(`ears-${name}`).hidden = name !== step;
}

function buildLevels() {
  levels = ears.levelsOf(centres());
  level = Math.min(level, levels.length - 1);
  const legend = at("ears-levels").firstElementChild;
  at("ears-levels").replaceChildren(legend, ...levels.map(({ name, sliders: some }, i) => choice({
    name: "ears-level", checked: i === level, words: [`${some.length} sliders, ${name}`], chosen: () => { level = i; },
  })));
}

function drawScores() {
  const asked = sliders.filter(({ label }) => scores.sliders[label]?.length);
  const known = asked.filter(({ label }) => ears.knowledge(scores.sliders[label]) === "known");
  const marks = sliders.map(({ label }) => ears.knowledge(scores.sliders[label]));
  at("known-words").textContent = asked.length
    ? `${known.length} of ${asked.length} known (solid); hollow ones come more often.${areKept ? "" : " This browser keeps no scores: they last until the page is closed."}`
    : "nothing yet";
  at("known").toggleAttribute("hidden", asked.length === 0);
  at("ears-reset").hidden = asked.length === 0;
  drawKnown(at("known"), sliders, marks);
}

// --- a run ---------------------------------------------------------------------------------

function begin() {
  run = { asked: [], slider: -1 };
  buildKeys();
  show("run");
  ask();
}

/** One button a slider; arrows go along the row, so that Tab need not. */
function buildKeys() {
  at("ears-sliders").replaceChildren(...levels[level].sliders.map((i, place) => {
    const [key] = create("button");
    key.type = "button";
    key.textContent = sliders[i].label;
    key.dataset.slider = String(i);
    key.setAttribute("aria-label", `pull ${sliders[i].label}`);
    key.tabIndex = place === 0 ? 0 : -1;
    key.addEventListener("click", () => answer(i));
    return key;
  }));
}

function walk(event) {
  const keys = [...at("ears-sliders").children];
  const here = keys.indexOf(document.activeElement);
  const there = {
    ArrowRight: here + 1, ArrowDown: here + 1, ArrowLeft: here - 1, ArrowUp: here - 1,
    Home: 0, End: keys.length - 1,
  }[event.key];
  if (here < 0 || there === undefined) return;
  event.preventDefault();
  const next = keys[Math.min(keys.length - 1, Math.max(0, there))];
  keys.forEach((key) => { key.tabIndex = key === next ? 0 : -1; });
  next.focus();
}

async function play(hz) {
  try {
    await ring(hz);
    return "";
  } catch (error) {
    return error.message;
  }
}

async function ask() {
  const choice = levels[level].sliders;
  const answersOf = (i) => scores.sliders[sliders[i].label];
  const weights = ears.weightsOf(choice, answersOf, run.slider);
  run.slider = ears.draw(choice, weights, Math.random());
  run.hz = ears.ringHz(centres(), run.slider, level === 0, Math.random());
  run.answered = false;
  at("ears-progress").textContent = `Ring ${run.asked.length + 1} of ${ears.RUN}`;
  at("ears-next").hidden = true;
  at("ears-run").dataset.answered = "no";
  for (const key of at("ears-sliders").children) {
    key.removeAttribute("aria-disabled");
    delete key.dataset.was;
  }
  drawAnswer(at("ears-picture"), sliders, levels[level].sliders, null);
  const [mine, count] = [run, run.asked.length];
  const problem = await play(run.hz);
  if (run !== mine || run.asked.length !== count) return; // left, or answered, before it sounded
  at("ears-said").textContent = problem || "Which slider do you pull?";
  at("ears-sliders").querySelector("[tabindex='0']").focus({ preventScroll: true });
}

function answer(i) {
  if (run.answered) return;
  run.answered = true;
  const q = ears.qOf(centres(), i);
  const centreHz = sliders[i].centre_hz;
  const fallDb = ears.responseDb({ centreHz, q, gainDb: -deepest, hz: run.hz, shape });
  pull(fallDb);
  const right = i === run.slider;
  run.asked.push({ slider: run.slider, pulled: i });
  scores = ears.withAnswer(scores, sliders[run.slider].label, right);
  keepScores();
  const miss = ears.missOf(centres(), i, run.slider, run.hz);
  at("ears-said").textContent = ears.verdict({
    pulled: sliders[i].label, ring: sliders[run.slider].label, miss, fallDb,
  });
  at("ears-run").dataset.answered = right ? "right" : "missed";
  for (const key of at("ears-sliders").children) {
    key.setAttribute("aria-disabled", "true");
    if (key.dataset.slider === String(run.slider)) key.dataset.was = "ring";
    else if (key.dataset.slider === String(i)) key.dataset.was = "pulled";
  }
  drawAnswer(at("ears-picture"), sliders, levels[level].sliders, {
    pulled: i, ring: run.slider, hz: run.hz, q, deepest, shape,
  });
  at("ears-next").hidden = false;
  at("ears-next").textContent = run.asked.length < ears.RUN ? "Next ring" : "How it went";
  at("ears-next").focus({ preventScroll: true });
}

function end() {
  silence();
  scores = { ...scores, runs: scores.runs + 1 };
  keepScores();
  const right = run.asked.filter((one) => one.slider === one.pulled).length;
  const missed = [...new Set(run.asked
    .filter((one) => one.slider !== one.pulled).map((one) => one.slider))].sort((a, b) => a - b);
  at("ears-score").textContent = `${right} of ${run.asked.length}`;
  at("ears-words").textContent = missed.length
    ? `To meet again: ${missed.map((i) => sliders[i].label).join(", ")}.`
    : "Every one. Try the next level.";
  show("end");
  const marks = sliders.map((_, i) => {
    const about = run.asked.filter((one) => one.slider === i);
    if (about.length === 0) return "";
    return about.every((one) => one.pulled === i) ? "known" : "not yet";
  });
  drawKnown(at("ears-summary"), sliders, marks);
  at("ears-score").focus({ preventScroll: true });
}

function leave() {
  silence();
  run = null;
  show("start");
  drawScores();
}

/** The newest equaliser; a run goes on with the one it began with. */
function followEars(snapshot) {
  if (run) return;
  deepest = ears.deepestOf(snapshot);
  shape = ears.shapeOf(snapshot);
  const theirs = ears.slidersOf(snapshot);
  if (JSON.stringify(theirs) === JSON.stringify(sliders)) return;
  sliders = theirs;
  at("ears-whose").hidden = snapshot.equaliser.graphic ?? true;
  buildLevels();
  drawScores();
}

at("ears-try").addEventListener("click", async () => {
  clearTimeout(at("ears-try").until);
  const problem = await play(1000);
  at("ears-why").textContent = problem
    || "This is as loud as it gets. Comfortable? Otherwise turn it down.";
  if (!problem && sliders.length > 1) at("ears-begin").disabled = false;
  clearTimeout(at("ears-try").until);
  at("ears-try").until = setTimeout(() => { if (!run) silence(0.4); }, 5000);
});
at("ears-begin").addEventListener("click", begin);
at("ears-next").addEventListener("click", () => (run.asked.length < ears.RUN ? ask() : end()));
at("ears-again").addEventListener("click", async () => {
  const problem = await play(run.hz);
  if (problem) at("ears-said").textContent = problem;
});
at("ears-stop").addEventListener("click", leave);
at("ears-back").addEventListener("click", leave);
at("ears-more").addEventListener("click", begin);
at("ears-sliders").addEventListener("keydown", walk);
at("ears-reset").addEventListener("click", () => {
  scores = ears.noScores();
  keepScores();
  drawScores();
  at("ears-try").focus();
});
document.addEventListener("visibilitychange", () => { if (document.hidden) silence(); });
document.addEventListener("room", (event) => {
  if (event.detail === "ears") {
    drawScores();
    return;
  }
  clearTimeout(at("ears-try").until);
  silence(); // the run waits
});

follow(followEars);
