// The rooms of the page, named by what the person does there. A room is a value in the
// data-rooms of what belongs to it, a link in the rail, and here the parts that it needs.
import { at, text } from "./parts.js";

const HOME = "set";
const inside = { "low-cut": "level" }; // addresses inside a room
const SOON_MS = 400;
const AGAIN_MS = 1000;
const TRIES = 3;
const soundcheck = () => import("./soundcheck.js");
const practice = () => import("./practice.js");
const hearing = () => import("./hearing.js");
const NEEDS = {
  set: [],
  place: [soundcheck, () => import("./place.js")],
  level: [soundcheck, practice, () => import("./level.js")],
  "ring-out": [soundcheck, practice, hearing, () => import("./ringout.js")],
  after: [() => import("./after.js"), () => import("./gigs.js")],
  practice: [practice, hearing, () => import("./places.js")],
  ears: [() => import("./trainer.js")],
};

let hasStage = false;
let chosen = false; // by the person, not by us
let tries = 0;

const titleOf = (name) => at(`${name}-title`);
const marked = () => [...document.querySelectorAll("[data-rooms]")];

/** Which room an address means: the stage only where there is one. */
export function roomOf(hash, stage) {
  const address = hash.replace(/^#/, "");
  const name = inside[address] ?? address;
  if (!(name in NEEDS)) return stage && !name ? "practice" : HOME;
  return name === "practice" && !stage ? "ears" : name;
}

export const room = () => document.body.dataset.room;

const load = (name) => Promise.all(NEEDS[name].map((part) => part()));

/** Bring the parts of all rooms, one after the other, while the Wi-Fi is there. */
export async function loadAll() {
  for (const name of Object.keys(NEEDS)) await load(name).catch(() => {});
}

function coming(words) {
  at("coming").hidden = !words;
  text(at("coming"), words);
}

/** Bring the parts of the room that is entered, and tell them that it is. */
async function open(name) {
  const late = setTimeout(() => { if (room() === name) coming("a moment: this room is on its way"); }, SOON_MS);
  const there = await load(name).then(() => true, () => false);
  clearTimeout(late);
  if (room() !== name) return;
  tries = there ? 0 : tries + 1;
  if (there) {
    coming("");
    document.dispatchEvent(new CustomEvent("room", { detail: name }));
  } else {
    coming(tries < TRIES ? "this room did not come, trying again"
      : "this room does not come: load the page again, near the box");
    setTimeout(() => { if (room() === name) open(name); }, AGAIN_MS);
  }
}

function enter(name, { focus = "" } = {}) {
  if (room() === name) {
    if (inside[focus]) titleOf(focus).focus();
    return;
  }
  document.body.dataset.room = name;
  for (const part of marked()) {
    part.toggleAttribute("data-away", !part.dataset.rooms.split(" ").includes(name));
  }
  for (const link of document.querySelectorAll("a[data-room]")) {
    if (link.dataset.room.split(" ").includes(name)) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  coming("");
  open(name);
  if (!focus) return;
  scrollTo(0, 0);
  const title = titleOf(focus) ?? titleOf(name);
  title?.focus({ preventScroll: !inside[focus] });
}

export function followRooms(snapshot) {
  hasStage = Boolean(snapshot.stage);
  at("doors").hidden = !hasStage;
  // Whoever starts the demo wants its fader; everybody else comes home.
  if (!chosen) enter(roomOf(location.hash, hasStage));
}

addEventListener("hashchange", () => {
  chosen = location.hash !== "";
  enter(roomOf(location.hash, hasStage), { focus: location.hash.slice(1) || HOME });
});
enter(roomOf(location.hash, false));
