// What was reckoned of the plan, on the page: the drawing, the figures, what each change would bring.
import { named } from "./hands.js";
import { morph } from "./morph.js";
import { at, create, fill, isNew, rows, text, unbroken } from "./parts.js";
import * as plan from "./plan.js";

const FINGER_PX = 44;
export let shown = null; // the newest answer
export let drawn = null; // the stage that it belongs to
const signed = (db) => `${db < 0 ? "\u2212" : "+"}${Math.abs(db).toFixed(1)}`;

/** Things stand where the plan has them, although the drawing may be a moment older; one is chosen. */
export function nudge(chosen) {
  const stage = plan.current();
  // After a thing more or less, or in other units, the drawing has to come first.
  const same = stage.units === drawn.units && plan.LISTS.every((kind) => stage[kind]?.length === drawn[kind]?.length);
  const scale = at("plan").querySelector("svg")?.getScreenCTM()?.a || 1;
  for (const node of at("plan").querySelectorAll(".thing[data-kind]")) {
    const [kind, index] = named(node);
    const [now, then] = [plan.positionOf(kind, index, stage), plan.positionOf(kind, index, drawn)];
    const moved = now && then && same ? [0, 1].map((i) => plan.inCentimetres(now[i] - then[i])) : [0, 0];
    const own = node.dataset.own ?? "";
    const turn = moved.some((cm) => Math.abs(cm) > 0.01)
      ? `translate(${moved[0].toFixed(1)} ${moved[1].toFixed(1)}) ${own}`.trim() : own;
    if (turn) node.setAttribute("transform", turn);
    else node.removeAttribute("transform");
    const hold = node.querySelector(".hold");
    hold?.setAttribute("r", Math.max(Number(hold.getAttribute("r")), FINGER_PX / 2 / scale));
    node.toggleAttribute("data-chosen", kind === chosen?.[0] && index === chosen[1]);
  }
}

function draw(words) {
  const made = new DOMParser().parseFromString(words, "image/svg+xml").documentElement;
  if (made.nodeName !== "svg") return;
  for (const node of made.querySelectorAll(".thing[data-kind]")) {
    node.setAttribute("data-own", node.getAttribute("transform") ?? "");
  }
  const svg = at("plan").querySelector("svg");
  if (svg) morph(svg, document.importNode(made, true));
  else at("plan").append(document.importNode(made, true));
}

const whole = (db) => `${Math.round(db) < 0 ? "\u2212" : "+"}${Math.abs(Math.round(db))}`; // so rough is a range
const range = (low, high) => low === undefined ? "" : ` (${whole(low)}\u00a0to\u00a0${whole(high)})`;

function figures({ gain }) {
  const db = (value) => value !== undefined && `${value.toFixed(1)} dB`;
  rows(at("plan-figures"), {
    "to spare": `${signed(gain.spare_db)} dB${range(gain.low_db, gain.high_db)}`,
    "the stage allows": db(gain.potential_db),
    "the listener needs": db(gain.needed_db),
    "open microphones": String(gain.open_microphones),
  });
}

function changes(reckoning) {
  at("plan-best").hidden = reckoning.changes.length > 0;
  // A finger may be on its way up from one of them.
  if (!isNew(at("plan-changes"), reckoning.changes.map(({ stage, ...told }) => told))) return;
  const focused = document.activeElement?.dataset?.change;
  at("plan-changes").replaceChildren(...reckoning.changes.map((change) => {
    const [item, db, words, button] = create("li", "b", "span", "button");
    db.textContent = `${signed(change.gain_db)} dB`;
    words.textContent = change.words + range(change.low_db, change.high_db);
    Object.assign(button, { type: "button", textContent: "try it" });
    button.dataset.change = change.id;
    button.setAttribute("aria-label", `try it: ${change.words}`);
    item.append(db, words, button);
    return item;
  }));
  if (focused) at("plan-changes").querySelector(`[data-change="${CSS.escape(focused)}"]`)?.focus();
}

/** Show an answer of the box, and the stage that it belongs to. */
export function show(answer, stage, chosen) {
  [shown, drawn] = [answer, stage];
  at("place-room").removeAttribute("data-empty");
  const { reckoning } = answer;
  draw(answer.svg);
  nudge(chosen);
  text(at("plan-sentence"), unbroken(reckoning.sentence));
  figures(reckoning);
  changes(reckoning);
  fill(at("plan-unknown").querySelector("ul"), reckoning.unknown ?? []);
  fill(at("plan-cautions"), reckoning.cautions ?? []);
}
