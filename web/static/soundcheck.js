// The soundcheck: its four steps with how they stand, what leads on, and the checklist's ticks.
// All of it is the box's: a reload or another phone shows the same.
import { follow } from "./feed.js";
import { isBeforeGig } from "./gig.js";
import { asked, at, create, isNew, text, twice } from "./parts.js";
import { go } from "./rooms.js";
import { asker } from "./send.js";
import { span } from "./view.js";

const WORDS = { to_do: "to do", now: "now", done: "done", left_out: "left out" };
const ROOMS = { place: "#place", level: "#level", low_cut: "#low-cut", ring_out: "#ring-out" };
const SELF = { place: "place", level: "level", "ring-out": "ring_out" };
const pending = asked(); // ticks that the box has not shown yet
const queue = asker("/api/v1/soundcheck");

let ended = null; // the step that was ended here, and where: a hand that is still there wants the next one

const ask = (command) => queue(command, at("strip-said"));

/**
 * End a step by what `does` it, which returns whether it was done: as soon as the box shows that it
 * has ended, the next one follows, unless the person has gone elsewhere meanwhile.
 */
export async function endStep(step, does) {
  const where = location.hash;
  if (await does()) ended = { step, where };
}

function goOn(steps) {
  const isOver = ({ state }) => state === "done" || state === "left_out";
  if (ended?.where !== location.hash) ended = null;
  const i = steps.findIndex((step) => step.id === ended?.step && isOver(step));
  if (i < 0) return;
  ended = null;
  const next = steps.slice(i + 1).find((step) => !isOver(step)); // never back to one that was passed by
  if (next) go(ROOMS[next.id] ?? "#place");
}

function stepLinks(steps) {
  const list = at("steps");
  if (isNew(list, steps.map(({ id }) => id))) {
    list.replaceChildren(...steps.map(({ id }) => {
      const [item, link] = create("li", "a");
      link.href = ROOMS[id] ?? "#place";
      link.append(...create("b", "i", "span"));
      link.children[1].setAttribute("aria-hidden", "true");
      item.append(link);
      return item;
    }));
  }
  if (isNew(at("strip-said"), steps.map(({ state }) => state))) text(at("strip-said"), ""); // said of how they stood
  steps.forEach(({ title, state, words }, i) => {
    const link = list.children[i].firstChild;
    link.dataset.state = state;
    text(link.firstChild, title);
    text(link.children[2], WORDS[state] ?? state);
    link.title = words ?? "";
    if (state === "now") link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  });
}

function leadOn(soundcheck, gig) {
  const { steps, begun_age_s: age } = soundcheck;
  const isOfBefore = isBeforeGig(soundcheck, gig);
  const done = steps.filter(({ state }) => state === "done" || state === "left_out").length;
  const all = done === steps.length;
  text(at("strip-age"), soundcheck.doubt ?? (age === undefined ? (done ? "" : "not begun")
    : isOfBefore ? "from before this gig" : `begun ${age < 60 ? "just now" : `${span(Math.max(age, 90))} ago`}`));
  const now = steps.find(({ state }) => state === "now") ?? steps.find(({ state }) => state === "to_do");
  const next = at("strip-next");
  next.hidden = !now || now.id === SELF[document.body.dataset.room];
  if (now) {
    next.href = ROOMS[now.id] ?? "#place";
    text(next, `next: ${now.title}`);
  }
  at("strip-clear").hidden = age === undefined || !(all || soundcheck.doubt || isOfBefore || document.body.dataset.room === "place");
}

function stepEnds(steps) {
  for (const part of document.querySelectorAll(".step-end")) {
    const step = steps.find(({ id }) => id === part.dataset.step);
    part.hidden = !step;
    if (!step) continue;
    const over = step.state === "done" || step.state === "left_out";
    const [skip, again] = part.children;
    for (const [button, hide] of [[skip, over], [again, !over]]) {
      // The hand that pressed one finds the other in its place.
      if (hide && document.activeElement === button) {
        const other = button === skip ? again : skip;
        other.hidden = false;
        other.focus();
      }
      button.hidden = hide;
      const what = `${button.dataset.do === "skip" ? "leave this step out" : "do it again"}: ${step.title}`;
      if (button.getAttribute("aria-label") !== what) button.setAttribute("aria-label", what);
    }
  }
}

function tickAll(ticks) {
  const ticked = new Set(ticks);
  for (const list of document.querySelectorAll(".ticks")) {
    const boxes = [...list.querySelectorAll("[data-item]")];
    for (const box of boxes) {
      const { item } = box.dataset;
      box.checked = pending.shown(item, ticked.has(item));
      box.disabled = false;
    }
    text(list.querySelector("summary span"), `${boxes.filter((box) => box.checked).length} of ${boxes.length}`);
  }
}

function followSoundcheck(snapshot) {
  const { soundcheck } = snapshot;
  at("strip").hidden = !soundcheck;
  if (!soundcheck) {
    for (const box of document.querySelectorAll("[data-item]")) box.disabled = true;
    for (const part of document.querySelectorAll(".step-end")) part.hidden = true;
    return;
  }
  const { health = "ok" } = soundcheck;
  at("strip-health").hidden = health === "ok";
  text(at("strip-health"), health);
  stepLinks(soundcheck.steps);
  leadOn(soundcheck, snapshot.gig);
  stepEnds(soundcheck.steps);
  goOn(soundcheck.steps);
  tickAll(soundcheck.ticks ?? []);
}

document.querySelector("main").addEventListener("change", ({ target: { checked, dataset: { item } } }) => {
  if (item) pending.until(item, checked, ask({ do: checked ? "tick" : "untick", item }));
});
for (const part of document.querySelectorAll(".step-end")) {
  part.addEventListener("click", (event) => {
    const { do: what } = event.target.dataset;
    const { step } = part.dataset;
    if (what === "skip") endStep(step, async () => !await ask({ do: what, step }));
    else if (what) ask({ do: what, step });
  });
}
// Ticks and what was taken are gone afterwards.
twice(at("strip-clear"), () => ask({ do: "clear" }));

follow(followSoundcheck);
