// The rooms of the page, named by what the person does there. A room is a value in the
// data-rooms of what belongs to it, and a link in the rail; to add one, add both.
const HOME = "set";
const parts = { "low-cut": "level" }; // addresses inside a room

let hasStage = false;
let chosen = false; // by the person, not by us

const titleOf = (name) => document.getElementById(`${name}-title`);
const marked = () => [...document.querySelectorAll("[data-rooms]")];
const known = () => new Set(marked().flatMap((part) => part.dataset.rooms.split(" ")));

/** Which room an address means: the stage only where there is one. */
export function roomOf(hash, stage) {
  const address = hash.replace(/^#/, "");
  const name = parts[address] ?? address;
  if (!known().has(name)) return stage && !name ? "practice" : HOME;
  return name === "practice" && !stage ? "ears" : name;
}

export const room = () => document.body.dataset.room;

function enter(name, { focus = "" } = {}) {
  if (room() === name) {
    if (parts[focus]) titleOf(focus).focus();
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
  document.dispatchEvent(new CustomEvent("room", { detail: name }));
  if (!focus) return;
  scrollTo(0, 0);
  const title = titleOf(focus) ?? titleOf(name);
  title?.focus({ preventScroll: !parts[focus] });
}

export function followRooms(snapshot) {
  hasStage = Boolean(snapshot.stage);
  document.getElementById("doors").hidden = !hasStage;
  // Whoever starts the demo wants its fader; everybody else comes home.
  if (!chosen) enter(roomOf(location.hash, hasStage));
}

addEventListener("hashchange", () => {
  chosen = location.hash !== "";
  enter(roomOf(location.hash, hasStage), { focus: location.hash.slice(1) || HOME });
});
enter(roomOf(location.hash, false));
