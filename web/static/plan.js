// The stage plan while it is edited: what stands where, the way back, and what is kept here.
// No page in it; lengths are in the plan's own units.
import { keep, kept } from "./own.js";

const LONGEST = 60; // steps back
const MERGED_MS = 1500; // one turn of a hand is one step back
export const DRAG = "drag"; // and so is one drag, however long the finger rests in it
const DRAFT = "plan";
const FOOT_M = 0.3048;
const BESIDE_M = 0.6; // what is added stands so far beside what is there

export const LISTS = ["microphone", "loudspeaker"];
const copy = (value) => JSON.parse(JSON.stringify(value));
const round = (value) => Math.round(value * 100) / 100;
const rad = (deg) => (deg * Math.PI) / 180;

let stage = null;
let saved = ""; // what the watcher has, as words
let ownDraft = ""; // what this page put into the browser: another tab's edits are not taken away
let back = [];
let last = { key: "", at: 0 };
export let revision = 0;

export const current = () => stage;
export const canUndo = () => back.length > 0;
export const isDirty = () => stage !== null && JSON.stringify(stage) !== saved;
export const unit = () => (stage?.units === "feet" ? "ft" : "m");

/** One length in the unit of the drawing, which is centimetres. */
export const inCentimetres = (length) => length * (stage.units === "feet" ? 100 * FOOT_M : 100);
export const fromCentimetres = (cm) => cm / inCentimetres(1);

function keepDraft() {
  if (isDirty()) {
    ownDraft = JSON.stringify({ stage, revision });
    keep(DRAFT, ownDraft);
  } else if (kept(DRAFT) === ownDraft) keep(DRAFT, "");
}

/** Begin with what the watcher has; returns whether an edit of before was found in this browser. */
export function load(told, toldRevision, { draft = true } = {}) {
  stage = copy(told);
  saved = JSON.stringify(stage);
  revision = toldRevision;
  back = [];
  settle();
  if (!draft) {
    keepDraft();
    return false;
  }
  try {
    const found = JSON.parse(kept(DRAFT) || "null");
    if (found?.stage?.room && JSON.stringify(found.stage) !== saved) {
      revision = Math.min(revision, found.revision ?? revision); // so that what was saved since is told
      return become(found.stage);
    }
  } catch {
    // not ours
  }
  return false;
}

export function savedNow(words, newRevision) {
  saved = words;
  revision = newRevision ?? revision;
  keepDraft();
}

/** Change the plan by a function; edits with the same key soon after each other are one step. */
export function edit(change, key = "") {
  const before = JSON.stringify(stage);
  change(stage);
  if (JSON.stringify(stage) === before) return false;
  const now = performance.now();
  const goesOn = key && key === last.key && (key === DRAG || now - last.at <= MERGED_MS);
  if (!goesOn) back = [...back.slice(-LONGEST), before];
  last = { key, at: now };
  keepDraft();
  return true;
}

/** Change the plan to another one. */
export const become = (other) => edit((now) => {
  for (const key of Object.keys(now)) delete now[key];
  Object.assign(now, copy(other));
});

/** The next edit is a step of its own. */
export const settle = () => { last = { key: "", at: 0 }; };

export function undo() {
  if (!back.length) return;
  stage = JSON.parse(back.pop());
  settle();
  keepDraft();
}

/** In which list of the plan a kind of thing is: a mouth is its microphone's. */
export const listOf = (kind) => (kind === "mouth" ? "microphone" : kind);

export const thing = (kind, index) => kind === "listener" ? stage.listener
  : stage[listOf(kind)]?.[index];

export function nameOf(kind, index) {
  if (kind === "listener") return "farthest listener";
  const { name } = thing(kind, index);
  return kind === "mouth" ? `mouth at ${name}` : name;
}

/** Every thing that can be moved, as [kind, index]. */
export function things() {
  return [
    ...LISTS.flatMap((kind) => (stage[kind] ?? []).map((_, index) => [kind, index])),
    ...(stage.listener ? [["listener", 0]] : []),
  ];
}

/** Where a thing stands, as [x, y]; a mouth where its microphone looks. */
export function positionOf(kind, index, of = stage) {
  const one = kind === "listener" ? of.listener
    : of[listOf(kind)]?.[index];
  if (!one) return null;
  if (kind !== "mouth") return [one.x, one.y];
  const out = one.mouth * Math.cos(rad(one.tilt_deg ?? 0));
  return [one.x + out * Math.sin(rad(one.aim_deg)), one.y + out * Math.cos(rad(one.aim_deg))];
}

/** Put a thing at a place, inside the room; a mouth turns its microphone to itself. */
export function put(kind, index, [x, y], key) {
  const { width, depth } = stage.room;
  const inX = round(Math.min(width, Math.max(0, x)));
  const inY = round(Math.min(depth, Math.max(0, y)));
  return edit((now) => {
    if (kind === "listener") Object.assign(now.listener, { x: inX, y: inY });
    else if (kind !== "mouth") Object.assign(now[kind][index], { x: inX, y: inY });
    else {
      const one = now.microphone[index];
      const [dx, dy] = [x - one.x, y - one.y];
      const nearest = now.units === "feet" ? 0.1 : 0.03;
      one.mouth = round(Math.max(nearest, Math.hypot(dx, dy) / Math.cos(rad(one.tilt_deg ?? 0))));
      if (Math.hypot(dx, dy) > 1e-6) one.aim_deg = Math.round((Math.atan2(dx, dy) * 180) / Math.PI + 360) % 360;
    }
  }, key);
}

export function turn(kind, index, degrees, key) {
  const one = thing(kind, index);
  if (one?.aim_deg === undefined) return false;
  return edit((now) => {
    const turned = now[listOf(kind)][index];
    turned.aim_deg = (((turned.aim_deg + degrees) % 360) + 360) % 360;
  }, key);
}

function freeName(words) {
  const taken = new Set(LISTS.flatMap((kind) => (stage[kind] ?? []).map((one) => one.name)));
  for (let n = 1; ; n += 1) {
    const name = n === 1 ? words : `${words} ${n}`;
    if (!taken.has(name)) return name;
  }
}

/** Add a microphone, mains or a wedge where there is mostly room for it; returns [kind, index]. */
export function add(what) {
  const scale = stage.units === "feet" ? 1 / FOOT_M : 1;
  const { width, depth } = stage.room;
  const kind = what === "microphone" ? what : "loudspeaker";
  const place = (x, y) => {
    // Beside what is there already, so that both can be seen and taken.
    const at = { x: x * width, y: Math.min(y * scale, 0.8 * depth) };
    const near = BESIDE_M * scale;
    const isTaken = () => LISTS.some((list) => (stage[list] ?? []).some((one) =>
      Math.hypot(one.x - at.x, one.y - at.y) < 0.9 * near));
    while (isTaken() && at.x + near < width) at.x += near;
    return { x: round(at.x), y: round(at.y) };
  };
  const made = {
    microphone: () => ({
      name: freeName("microphone"), ...place(0.35, 1.5), height: round(1.5 * scale),
      pattern: "cardioid", aim_deg: 180, tilt_deg: 0, mouth: round(0.05 * scale), open: true,
    }),
    mains: () => ({
      name: freeName("mains"), kind: "mains", ...place(0.2, 3), height: round(1.8 * scale),
      aim_deg: 0, tilt_deg: 0, coverage_deg: [90, 60],
    }),
    wedge: () => ({
      name: freeName("wedge"), kind: "wedge", ...place(0.5, 2.5), height: round(0.3 * scale),
      aim_deg: 180, tilt_deg: 45, coverage_deg: [90, 60],
    }),
  }[what]();
  edit((now) => { now[kind] = [...(now[kind] ?? []), made]; });
  return [kind, stage[kind].length - 1];
}

export const remove = (kind, index) => edit((now) => { now[kind].splice(index, 1); });

/** Metres or feet: the same places in other numbers. */
export function setUnits(units) {
  if (units === stage.units) return;
  const factor = units === "feet" ? 1 / FOOT_M : FOOT_M;
  const lengths = ["x", "y", "height", "mouth", "width", "depth", "ead"];
  edit((now) => {
    now.units = units;
    const parts = [now.room, now.listener, now.need, ...LISTS.flatMap((kind) => now[kind] ?? [])];
    for (const part of parts.filter(Boolean)) {
      for (const key of lengths) if (typeof part[key] === "number") part[key] = round(part[key] * factor);
    }
  });
}

/** Where a thing stands, in words. */
export function whereWords(kind, index) {
  const [x, y] = positionOf(kind, index).map((value) => value.toFixed(unit() === "m" ? 2 : 1));
  const { aim_deg: aim } = thing(kind, index);
  const turned = aim === undefined || kind === "mouth" ? "" : `, turned to ${Math.round(aim)} degrees`;
  return `${nameOf(kind, index)}: ${x} ${unit()} from the left, ${y} ${unit()} from the back wall${turned}`;
}
