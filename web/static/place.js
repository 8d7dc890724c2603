// The room Place: the plan to scale, what limits it, and what one change would bring.
import { follow } from "./feed.js";
import { giveHands } from "./hands.js";
import * as plan from "./plan.js";
import { at, isNew, text } from "./parts.js";
import { drawn, nudge, show, shown } from "./reckoned.js";
import { getPatiently, once, pause, post, send } from "./send.js";
import { endStep } from "./soundcheck.js";
import { showForms, typed } from "./thing.js";

const RETRY_MS = 700;
const LOAD_AGAIN_MS = 2000;
const BETWEEN_MS = 60; // a phone's screen shows no more, and the box has other things to do
let chosen = null; // [kind, index]
let asking = false;
let wanted = null;
let speakAfter = false;
let tried = false; // a change, which the answer is still to come to
let loading = false;
let loadAgainAt = 0; // not before
let saving = false;
let trouble = "";
const spoken = (words) => text(at("plan-spoken"), words);

function take(answer, stage) {
  show(answer, stage, chosen);
  if (!tried || wanted) return;
  tried = false;
  wayBack(); // the sentence may have more lines than the one before
}

/** The plan and the way back are both to be seen. */
const wayBack = () => at("plan-undo").scrollIntoView({ block: "end" });

/** Reckon the newest plan, one at a time; what was overtaken is never asked for. */
async function reckon() {
  wanted = plan.current();
  if (asking) return;
  asking = true;
  at("plan").setAttribute("aria-busy", "true");
  while (wanted) {
    const words = JSON.stringify({ stage: wanted });
    wanted = null;
    // Not asked again as it is: the plan may be another by then.
    const { status, answer, waitS } = await once("/api/v1/plan/reckon", words);
    if (status === 200) {
      take(answer, JSON.parse(words).stage);
      say("");
    } else if (status === 0 || status === 503) {
      say(status ? "" : "the box is not answering: the plan is drawn, not reckoned");
      await pause(Math.max(RETRY_MS, 1000 * waitS));
      wanted ??= plan.current();
    } else {
      say(answer.error ?? "the plan was refused");
    }
    await pause(BETWEEN_MS);
  }
  asking = false;
  at("plan").removeAttribute("aria-busy");
  if (speakAfter && !trouble) spoken(`${at("plan-spoken").textContent}. ${shown.reckoning.sentence}`);
  speakAfter = false;
}

function say(words) {
  trouble = words;
  text(at("plan-said"), words);
  at("plan").toggleAttribute("data-old", words !== "");
}

const unsaved = () => plan.isDirty() || !plan.revision;

function kept(words = "") {
  text(at("plan-kept"), words || (plan.isDirty() ? "Not saved yet: kept in this browser only."
    : plan.revision ? "Saved in the box." : "Nobody has saved this one yet."));
  at("plan-save").disabled = !plan.current() || !unsaved();
  at("plan-done").disabled = !plan.current();
  at("plan-undo").disabled = !plan.canUndo();
}

function pickList() {
  const all = plan.things();
  const pick = at("pick");
  if (isNew(pick, all.map(([kind, index]) => plan.nameOf(kind, index)))) {
    pick.replaceChildren(...all.map(([kind, index]) =>
      new Option(plan.nameOf(kind, index), `${kind} ${index}`)));
  }
  if (!chosen || !plan.thing(...chosen)) chosen = all[0] ?? null;
  at("thing").hidden = !chosen;
  if (chosen) pick.value = `${plan.listOf(chosen[0])} ${chosen[1]}`;
}

function refresh() {
  pickList();
  showForms(at("thing"), at("space"), chosen);
  nudge(chosen);
  kept();
}

/** After every change of the plan. */
function changed(words = "") {
  refresh();
  if (words) spoken(words);
  reckon();
}

function choose(kind, index, { open = false } = {}) {
  chosen = [kind, index];
  refresh();
  if (open) at("thing").querySelector("input, select")?.focus();
}

async function load({ draft = true } = {}) {
  if (loading || performance.now() < loadAgainAt) return;
  loading = true;
  const { status, answer } = await getPatiently("/api/v1/plan");
  loading = false;
  if (status !== 200) {
    loadAgainAt = performance.now() + LOAD_AGAIN_MS;
    at("plan-again").hidden = Boolean(shown);
    if (!shown) text(at("plan-sentence"), status ? answer.error : "The box, which keeps the plan, is not answering.");
    return;
  }
  if (!draft && plan.isDirty()) return; // a hand was quicker than another page's plan
  at("plan-again").hidden = true;
  const found = plan.load(answer.stage, answer.revision, { draft });
  take(answer, answer.stage);
  refresh();
  say("");
  if (found || asking) reckon(); // what is under way is of the plan before
  if (found) kept("Changes of before that were not saved are shown: save them, or undo.");
  else if (answer.problem) kept(`An example is shown: ${answer.problem}`);
}

/** Have the box keep the plan; a second tap meanwhile is none. */
async function save() {
  if (saving) return false;
  saving = true;
  plan.settle();
  const words = JSON.stringify(plan.current());
  kept("Saving");
  const { status, answer } = await post("/api/v1/plan", `{"stage":${words}}`);
  saving = false;
  if (status === 200) {
    plan.savedNow(words, answer.revision);
    kept();
    return true;
  }
  kept(`Not saved, kept in this browser: ${answer.error ?? "the box did not take it"}`);
  return false;
}

const isHere = () => document.body.dataset.room === "place";

function followPlan(snapshot) {
  if (saving) return; // the box may show what is being saved before it has answered
  const revision = snapshot.soundcheck?.plan_revision;
  if (isHere() && !plan.current()) load();
  else if (plan.current() && revision > plan.revision && !plan.isDirty()) load({ draft: false });
  else if (plan.current() && revision > plan.revision) {
    kept("The plan was saved from another page meanwhile; saving puts yours in its place.");
  }
}

giveHands(at("plan"), {
  moved: () => changed(),
  chosen: choose,
  rested: (kind, index) => {
    speakAfter = true;
    changed(plan.whereWords(kind, index));
  },
});
at("plan-changes").addEventListener("click", (event) => {
  const id = event.target.closest("button")?.dataset.change;
  const change = shown?.reckoning.changes.find((one) => one.id === id);
  if (!change) return;
  if (JSON.stringify(plan.current()) !== JSON.stringify(drawn)) {
    // It is a change of the plan before, and would take back what was done since.
    if (!trouble) say("The plan is another by now: a moment, then try it from the list as it is then");
    return;
  }
  plan.become(change.stage);
  speakAfter = true;
  changed(`Tried: ${change.words}; undo takes it back`);
  tried = true;
  at("plan-undo").focus({ preventScroll: true });
  wayBack();
});
at("plan-undo").addEventListener("click", () => {
  plan.undo();
  speakAfter = true;
  changed("taken back");
});
at("plan-save").addEventListener("click", save);
at("plan-done").addEventListener("click", () => endStep("place", async () => {
  if (unsaved() && !(await save())) return false;
  const refused = await send("/api/v1/soundcheck", { do: "plan_done" });
  if (refused) kept(refused);
  return !refused;
}));
at("pick").addEventListener("change", () => {
  const [kind, index] = at("pick").value.split(" ");
  choose(kind, Number(index));
});
for (const form of [at("thing"), at("space")]) {
  form.addEventListener("input", (event) => {
    if (chosen && typed(form, event.target, chosen)) changed();
  });
  form.addEventListener("focusout", () => changed());
  form.addEventListener("submit", (event) => event.preventDefault());
}
at("thing").addEventListener("click", (event) => {
  if (!("remove" in event.target.dataset)) return;
  const name = plan.nameOf(...chosen);
  plan.remove(plan.listOf(chosen[0]), chosen[1]);
  chosen = null;
  changed(`${name} removed; undo brings it back`);
  at("pick").focus();
});
at("place-room").addEventListener("click", (event) => {
  const what = event.target.dataset.add;
  if (!what) return;
  chosen = plan.add(what);
  changed(`${plan.nameOf(...chosen)} added`);
});
at("place-room").addEventListener("keydown", (event) => {
  const typing = event.target.matches("input, select");
  if (event.key !== "z" || typing || !(event.ctrlKey || event.metaKey) || !plan.canUndo()) return;
  event.preventDefault();
  at("plan-undo").click();
});
at("plan-again").addEventListener("click", () => {
  loadAgainAt = 0;
  text(at("plan-sentence"), "A moment: the plan of the stage");
  at("plan-again").hidden = true;
  at("place-title").focus({ preventScroll: true });
  load();
});
document.addEventListener("room", () => { if (isHere() && !plan.current()) load(); });

follow(followPlan);
