// The forms beside the plan: the chosen thing, and the room.
import { create } from "./parts.js";
import * as plan from "./plan.js";

const PATTERNS = ["omni", "subcardioid", "cardioid", "supercardioid", "hypercardioid", "figure-8"];
const PLACE = [["x", "from the left", "length"], ["y", "from the back wall", "length"]];
const UP = ["height", "height", "length"];
const AIM = [["aim_deg", "turned to (0 audience, 180 back)", "degrees"], ["tilt_deg", "tilt, up is +", "degrees"]];
const FIELDS = {
  microphone: [
    ["name", "name", "text"], ["pattern", "pattern", PATTERNS], ["open", "open (not muted)", "yes"],
    ["mouth", "mouth to microphone", "length"], ...PLACE, UP, ...AIM,
  ],
  loudspeaker: [
    ["name", "name", "text"], ["kind", "kind", ["mains", "wedge"]], ...PLACE, UP, ...AIM,
    ["coverage_deg.0", "coverage across", "degrees"], ["coverage_deg.1", "coverage up and down", "degrees"],
  ],
  listener: [...PLACE, UP],
  room: [
    ["name", "name of the place", "title"], ["units", "units", ["metres", "feet"]], ["room.width", "width", "length"],
    ["room.depth", "depth", "length"], ["room.height", "height", "length"],
    ["room.reverberation", "sound of the room", ["dead", "usual", "live"]],
    ["room.reverberation", "or rings on for, if you know it", "seconds"],
    ["need.ead", "a bare voice is loud enough at", "length"],
  ],
};

const valueAt = (from, path) => path.split(".").reduce((at, key) => at?.[key], from);

function setAt(to, path, value) {
  const keys = path.split(".");
  const last = keys.pop();
  let at = to;
  for (const key of keys) at = at[key] ??= {};
  at[last] = value;
}

function input(kind) {
  if (kind instanceof Array) {
    const [select] = create("select");
    select.append(...kind.map((name) => new Option(name)));
    return select;
  }
  const [made] = create("input");
  if (kind === "text" || kind === "title") {
    Object.assign(made, { type: "text", maxLength: 40, required: kind === "text" });
  } else if (kind === "yes") made.type = "checkbox";
  else Object.assign(made, { type: "number", step: "any", required: kind !== "seconds", inputMode: "decimal" });
  return made;
}

function field([path, words, kind]) {
  const [label, name] = create("label", "span");
  const made = input(kind);
  made.dataset.path = path;
  const unit = kind === "length" ? `, ${plan.unit()}` : ["degrees", "seconds"].includes(kind) ? `, ${kind}` : "";
  name.textContent = words + unit;
  label.append(name, made);
  return label;
}

function fillIn(made, value) {
  if (made.type === "checkbox") made.checked = value !== false;
  else if (document.activeElement !== made) {
    // A reverberation in seconds stands beside its three words.
    if (made.tagName === "SELECT" && ![...made.options].some((one) => one.value === String(value))) {
      made.append(new Option(`${value} s`, value));
    }
    // Beside it stands the number alone, empty while the room is described by a word.
    made.value = made.type === "number" && isNaN(value) ? "" : value ?? "";
  }
}

/** Build a form of a kind once and bring its values up to the plan. */
function show(form, kind, of, title) {
  const built = `${kind} ${plan.unit()} ${title}`;
  if (form.dataset.built !== built) {
    form.dataset.built = built;
    form.dataset.of = kind;
    form.replaceChildren(...FIELDS[kind].map(field));
    if (title) {
      const [gone] = create("button");
      gone.type = "button";
      gone.dataset.remove = "";
      gone.textContent = "remove it";
      if (kind !== "listener") form.append(gone);
    }
  }
  for (const made of form.querySelectorAll("[data-path]")) fillIn(made, valueAt(of, made.dataset.path));
}

export function showForms(thingForm, roomForm, chosen) {
  const stage = plan.current();
  show(roomForm, "room", stage, "");
  if (!chosen) return;
  const [kind, index] = chosen;
  const listed = plan.listOf(kind);
  show(thingForm, listed, plan.thing(listed, index), `${listed} ${index}`);
}

/** Write what was typed into the plan; returns whether it changed. */
export function typed(form, made, [kind, index]) {
  const { path } = made.dataset;
  if (!path || (made.type !== "checkbox" && !made.checkValidity())) return false;
  if (made.type === "number" && made.value === "") return false;
  const value = made.type === "checkbox" ? made.checked
    : made.type === "number" ? made.valueAsNumber
      : path === "room.reverberation" && made.value > 0 ? Number(made.value) : made.value;
  if (path === "units") {
    plan.setUnits(value);
    return true;
  }
  const listed = plan.listOf(kind);
  return plan.edit((now) => setAt(form.dataset.of === "room" ? now
    : listed === "listener" ? now.listener : now[listed][index], path, value), `typed ${path} ${kind} ${index}`);
}
