// The practice stage: a fader and the equaliser's sliders, only where there is a stage.
import { follow } from "./feed.js";
import { doNow, leads } from "./advice.js";
import { send } from "./send.js";
import { at, create, text } from "./parts.js";

let built = "";
let places = new Map(); // where the filters that are asked for, or asked back, are to be put

const wanted = new Map(); // of each thing that is moved, where it is to stand
let moving = null; // the one that the box is at
let refusal = ""; // of what was moved last, until it was read or something was taken
let refusedMs = -Infinity;
const READ_MS = 6000;

/** Move one thing; while the box is at the one before, only the newest place of each counts. */
async function move(input, command) {
  wanted.set(input, command);
  if (moving) return;
  for (const [next, asked] of wanted) { // what is set meanwhile comes last, and is met here too
    moving = next;
    wanted.delete(next);
    refusal = await send("/api/v1/stage", asked);
    refusedMs = performance.now();
    if (refusal) text(at("advice"), refusal);
    else touch(next);
  }
  moving = null;
}

let held = null; // what a finger or the mouse is on
const TOUCHED_MS = 1000; // from a key, or from the box's answer; what was set comes back by then
const touch = (input) => { input.dataset.touched = String(performance.now()); };

/** Whether somebody is at a control, or the box still to move it: what it says of it moves nothing. */
const isTouched = (input) => input === held || input === moving || wanted.has(input)
  || performance.now() - Number(input.dataset.touched ?? -TOUCHED_MS) < TOUCHED_MS;

/** What a finger is on stays where it is, whatever comes, goes or grows above it. */
function holdStill(part) {
  part.addEventListener("pointerdown", (event) => {
    if (event.target.type !== "range") return;
    held = event.target;
    const top = part.getBoundingClientRect().top;
    let by = 0;
    const watching = new MutationObserver(() => {
      const moved = part.getBoundingClientRect().top - top;
      if (Math.abs(moved) < 0.5) return;
      by -= moved;
      part.style.transform = `translateY(${by}px)`;
    });
    watching.observe(document.body, {
      subtree: true, childList: true, attributes: true, characterData: true,
    });
    const leave = () => {
      watching.disconnect();
      part.style.transform = "";
      if (held) touch(held);
      held = null;
      for (const end of ENDS) removeEventListener(end, leave);
    };
    for (const end of ENDS) addEventListener(end, leave);
  });
}
const ENDS = ["pointerup", "pointercancel", "blur"];

function build(stage) {
  const desk = at("desk");
  desk.replaceChildren(...stage.sliders.map((slider, i) => {
    const [cell, input, label] = create("div", "input", "span");
    // A low cut is on or off; the last step of the others may be a shorter one.
    const most = slider.cut_max_db ?? stage.cut_max_db;
    const step = slider.cut_max_db ?? stage.step_db;
    Object.assign(input, { type: "range", min: -step * Math.ceil(most / step), max: 0, step });
    input.dataset.sliderIndex = String(i);
    input.setAttribute("aria-label", `slider ${slider.label}`);
    input.addEventListener("input", () =>
      move(input, { slider: i, cut_db: Math.max(Number(input.value), -most), ...places.get(i) }));
    label.textContent = slider.label;
    cell.append(input, label);
    return cell;
  }));
}

/** Scroll the desk sideways until a slider is in its middle. */
function bring(cell) {
  const desk = at("desk");
  desk.scrollLeft = cell.offsetLeft - desk.offsetLeft - (desk.clientWidth - cell.clientWidth) / 2;
}

const gainWords = (db) => `${db > 0 ? "+" : db < 0 ? "\u2212" : ""}${Math.abs(db)} dB`;

function followPractice(snapshot) {
  const { stage } = snapshot;
  for (const id of ["practice-room", "mixer", "where"]) at(id).hidden = !stage;
  if (!stage) return;
  const { sliders, cut_max_db: most, step_db: step } = stage;
  const row = JSON.stringify([sliders.map(({ label }) => label), most, step]);
  if (row !== built) {
    built = row;
    build(stage);
  }
  const ringOut = leads(snapshot);
  if (performance.now() - refusedMs > READ_MS) refusal = "";
  // What rings has its line above, in the same place: the stage's own words would only be others.
  text(at("advice"), refusal || snapshot.rings.length ? refusal : ringOut ? `${ringOut.say}: ${ringOut.detail}` : stage.advice);
  const fader = at("fader");
  fader.min = stage.fader_min_db;
  fader.max = stage.fader_max_db;
  if (!isTouched(fader)) fader.value = stage.fader_db;
  at("fader-db").textContent = `${Number(fader.value).toFixed(1)} dB`;
  const gain = at("gain-db");
  at("gain").hidden = stage.gain_db === undefined;
  if (!at("gain").hidden) {
    if (!isTouched(gain)) gain.value = stage.gain_db;
    at("gain-words").textContent = gainWords(gain.value);
  }
  const now = doNow(snapshot).pulls;
  const pulls = new Set(now.map((pull) => pull.label));
  places = new Map([...(ringOut?.put_back ?? []), ...now]
    .filter((pull) => pull.centre_hz !== undefined)
    .map((pull) => [pull.slider, { centre_hz: pull.centre_hz, q: pull.q }]));
  [...at("desk").children].forEach((cell, i) => {
    const input = cell.firstElementChild;
    if (!isTouched(input)) input.value = stage.sliders[i].cut_db;
    const named = pulls.has(stage.sliders[i].label) ? "yes" : "no";
    if (named === "yes" && cell.dataset.named !== "yes") bring(cell);
    if (cell.dataset.named !== named) cell.dataset.named = named;
  });
}

holdStill(at("mixer"));
at("mixer").addEventListener("input", ({ target }) => touch(target));
at("fader").addEventListener("input", (event) => {
  at("fader-db").textContent = `${Number(event.target.value).toFixed(1)} dB`;
  move(at("fader"), { fader_db: Number(event.target.value) });
});
document.addEventListener("room", ({ detail }) => {
  // Turned and measured again in one place.
  if (detail === "level") at("lv-figures").before(at("gain"));
  else at("desk").after(at("gain"));
});
at("gain-db").addEventListener("input", (event) => {
  at("gain-words").textContent = gainWords(event.target.value);
  move(at("gain-db"), { gain_db: Number(event.target.value) });
});

follow(followPractice);
