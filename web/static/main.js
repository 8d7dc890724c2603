// Keeps the page fed: events while they come, polling where they cannot, and the age of it all.
import { ageS, hear, silentS } from "./age.js";
import { feed, follow, news, withRing } from "./feed.js";
import { loadAll, followRooms } from "./rooms.js";
import { followAdvice } from "./advice.js";
import { followGig } from "./gig.js";
import { get, pause } from "./send.js";
import { show, showAge } from "./view.js";
import "./theme.js";

const POLL_MS = 1000;
const SILENT_S = 1.5; // the server speaks at least once a second
const LOOK_MS = 200;
const AGAIN_MS = 700;
const FULL_MS = 10_000;
const IDLE_MS = 1500;
const FIRST_MS = 3000; // on a slow Wi-Fi the first news takes its time; nothing is wrong yet

let source = null;
let base = null; // the newest snapshot of the stream: what its parts are changes of
let triedAt = 0; // when the stream was last asked for
let polling = false;
let problem = "";
const beganAt = performance.now();

function take(answer) {
  if (!hear(answer)) return;
  problem = answer.problem ?? "";
  if (answer.snapshot) feed(answer.snapshot);
  age();
}

function age() {
  if (silentS() === Infinity && performance.now() - beganAt < FIRST_MS) return;
  showAge(ageS(), silentS() > SILENT_S ? "nothing comes: is this phone on the Wi-Fi?" : problem);
}

const fed = () => source?.readyState === EventSource.OPEN && silentS() < SILENT_S;

/** While no stream feeds the page: asks, and asks again when it was answered. */
async function poll() {
  if (polling) return;
  polling = true;
  while (!document.hidden && !fed()) {
    const { status, answer, waitS } = await get("/api/v1/now", { withinMs: 2000 });
    if (status === 200) take(answer);
    await pause(Math.max(POLL_MS, 1000 * waitS));
  }
  polling = false;
}

function listen() {
  source?.close();
  source = null;
  if (document.hidden) return; // a timer may fire after the page was put away
  triedAt = performance.now();
  const mine = new EventSource("/api/v1/stream");
  source = mine;
  const on = (name, taken) => mine.addEventListener(name, (event) => {
    if (source === mine) taken(JSON.parse(event.data));
  });
  on("now", (answer) => {
    base = answer.snapshot ?? null;
    take(answer);
  });
  on("part", ({ changed = {}, gone = [], ...answer }) => {
    if (!base) return;
    base = { ...base, ...changed };
    for (const key of gone) delete base[key];
    take({ ...answer, snapshot: base });
  });
  on("ring", (ring) => {
    if (!news()) return;
    feed(withRing(news(), ring));
    age();
  });
  mine.onerror = poll;
}

/** A stream may stand open and say nothing: the phone left the Wi-Fi, or the box its power. */
function look() {
  age();
  if (document.hidden || fed()) return;
  poll();
  // Polling may work where all streams are taken; then there is time.
  if (performance.now() - triedAt > (silentS() < SILENT_S ? FULL_MS : AGAIN_MS)) listen();
}

document.addEventListener("visibilitychange", () => {
  age();
  listen();
});
addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  age();
  listen();
});
addEventListener("online", listen);
setInterval(look, LOOK_MS);

for (const one of [show, followAdvice, followRooms, followGig]) follow(one);
document.querySelector("main").inert = false; // all that is there from the start listens now
listen();
setTimeout(loadAll, IDLE_MS);
