// The rooms of the page, named by what the person does there. A room is a value in the
// data-rooms of what belongs to it, a link in the rail, and here the parts that it needs.
import { at, text } from "./parts.js";

const HOME = "set";
const inside = { "low-cut": "level" }; // addresses inside a room
const SOON_MS = 1000; // a wait that is shorter says nothing
const AGAIN_MS = 1000;
const TRIES = 3; // by itself; then the person is asked
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

const attached = new Set([HOME]); // the rooms whose parts listen
const opened = location.hash; // with the page; another one is the person's
let hasStage = false;
let chosen = false; // by the person, not by us
let tries = 0;
let opening = 0; // counts: a room that was left and entered again is opened once
let untitled = ""; // the room or part of one that gets the focus as soon as it can take it

const titleOf = (name) => at(`${name}-title`);
const marked = () => [...document.querySelectorAll("[data-rooms]")];
const roomsOf = (part) => part.dataset.rooms.split(" ");

/** Which room an address means: the stage only where there is one. */
function roomOf(hash, stage) {
  const address = hash.replace(/^#/, "");
  const name = inside[address] ?? address;
  if (!(name in NEEDS)) return stage && !name ? "practice" : HOME;
  return name === "practice" && !stage ? "ears" : name;
}

export const room = () => document.body.dataset.room;

/**
 * What is pressed before anybody listens would be lost: until then a part takes no tap.  What rooms
 * share is served by what each of them brings; links need nobody.
 */
function wake() {
  for (const part of marked()) {
    const listens = roomsOf(part).some((name) => attached.has(name));
    part.inert = !listens && Boolean(part.querySelector("button, input, select"));
  }
}

async function load(name) {
  await Promise.all(NEEDS[name].map((part) => part()));
  if (attached.has(name)) return;
  attached.add(name);
  wake();
}

/** Bring the parts of all rooms, one after the other, while the Wi-Fi is there. */
export async function loadAll() {
  for (const name of Object.keys(NEEDS)) await load(name).catch(() => {});
}

function coming(words, { ask = false } = {}) {
  at("coming").hidden = !words;
  at("coming-again").hidden = !ask;
  text(at("coming-words"), words);
}

/** Focus the heading of what was entered; while it takes no tap it takes no focus either. */
function title(focus = untitled) {
  const heading = focus ? titleOf(focus) ?? titleOf(room()) : null;
  untitled = heading?.closest("[inert]") ? focus : "";
  if (!heading || untitled) return;
  heading.focus({ preventScroll: true });
  if (inside[focus]) heading.scrollIntoView(); // with what is to be done there, not at the window's end
}

/** Bring the parts of the room that is entered, and tell them that it is. */
async function open(name) {
  opening += 1;
  const mine = opening;
  const late = setTimeout(() => { if (mine === opening) coming("a moment: this room is on its way"); }, SOON_MS);
  const there = await load(name).then(() => true, () => false);
  clearTimeout(late);
  if (mine !== opening) return there;
  tries = there ? 0 : tries + 1;
  if (there) {
    coming("");
    title();
    document.dispatchEvent(new CustomEvent("room", { detail: name }));
  } else if (tries < TRIES) {
    coming("this room did not come, trying again");
    setTimeout(() => { if (mine === opening) open(name); }, AGAIN_MS);
  } else {
    coming("this room does not come", { ask: true });
  }
  return there;
}

function enter(name, focus = "") {
  if (room() === name) {
    if (inside[focus]) title(focus);
    return;
  }
  document.body.dataset.room = name;
  for (const part of marked()) part.toggleAttribute("data-away", !roomsOf(part).includes(name));
  for (const link of document.querySelectorAll("a[data-room]")) {
    if (link.dataset.room.split(" ").includes(name)) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  coming("");
  tries = 0;
  scrollTo(0, 0);
  title(focus);
  open(name);
}

/** Go to an address as a tap on its link does. */
export function go(address) {
  chosen = true;
  if (location.hash === address) enter(roomOf(address, hasStage), address.slice(1));
  else location.hash = address;
}

export function followRooms(snapshot) {
  hasStage = Boolean(snapshot.stage);
  at("doors").hidden = !hasStage;
  // Whoever starts the demo wants its fader; everybody else comes home.  An address that is
  // already another one is entered by its own event, with the focus.
  if (!chosen && location.hash === opened) enter(roomOf(location.hash, hasStage));
}

// Its own link again leads back to a room's beginning.
for (const link of document.querySelectorAll("a[data-room]")) {
  link.addEventListener("click", () => { if (roomOf(link.hash, hasStage) === room()) scrollTo(0, 0); });
}
addEventListener("hashchange", () => {
  chosen = location.hash !== "";
  enter(roomOf(location.hash, hasStage), location.hash.slice(1) || HOME);
});
// A browser may remember that a script did not come. Where the box answers, all is loaded anew.
at("coming-again").addEventListener("click", async () => {
  tries = TRIES;
  untitled = room(); // the button goes, and the focus must stay somewhere
  coming("trying again", { ask: true });
  const there = await open(untitled);
  if (!there && document.body.dataset.fresh === "yes") location.reload();
});
wake();
enter(roomOf(location.hash, false));
