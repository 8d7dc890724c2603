// Keeps the page fed: events while they come, polling where they cannot, and the age of it all.
import { show, showAge } from "./view.js";
import { followAdvice } from "./advice.js";
import { followRingOut } from "./ringout.js";
import { followPractice } from "./practice.js";
import { followRooms } from "./rooms.js";
import { followPlaces } from "./places.js";
import { followHearing } from "./hearing.js";
import { followSoundcheck } from "./soundcheck.js";
import { followPlan } from "./place.js";
import { followLevel } from "./level.js";
import { followEars } from "./trainer.js";

const POLL_MS = 1000;
const SILENT_MS = 3000; // the server speaks at least once a second

let source = null;
let heardAt = 0; // performance.now() of the last word from the page server
let dataAgeS = Infinity; // how old the box's news was at that moment
let polling = null;

function take(answer) {
  heardAt = performance.now();
  dataAgeS = answer.snapshot
    ? answer.age_s + (answer.snapshot.audio_age_s ?? 0)
    : Infinity;
  if (answer.snapshot) {
    show(answer.snapshot);
    followAdvice(answer.snapshot);
    followRooms(answer.snapshot);
    followSoundcheck(answer.snapshot);
    followPlan(answer.snapshot);
    followLevel(answer.snapshot);
    followRingOut(answer.snapshot);
    followPractice(answer.snapshot);
    followPlaces(answer.snapshot);
    followHearing(answer.snapshot);
    followEars(answer.snapshot);
  }
  age(answer.problem);
}

function age(problem = "") {
  const since = (performance.now() - heardAt) / 1000;
  showAge(dataAgeS + since, since > SILENT_MS / 1000 ? "the page server is silent" : problem);
}

async function poll() {
  try {
    const answer = await fetch("/api/v1/now", { signal: AbortSignal.timeout(2000) });
    if (answer.ok) take(await answer.json());
  } catch {
    age();
  }
}

function listen() {
  hangUp();
  if (document.hidden) return; // a timer may fire after the page was put away
  source = new EventSource("/api/v1/stream");
  source.addEventListener("now", (event) => {
    clearInterval(polling);
    polling = null;
    take(JSON.parse(event.data));
  });
  // A ring comes ahead of the next snapshot; that is never far, so it only asks for it.
  source.addEventListener("ring", poll);
  source.onerror = () => {
    if (polling === null) polling = setInterval(poll, POLL_MS);
    // Refused for good: soon again while the server is away, later when all its streams are
    // taken and polling works.
    const fed = performance.now() - heardAt < 2 * POLL_MS;
    if (source?.readyState === EventSource.CLOSED) setTimeout(listen, fed ? 10000 : 1500);
  };
}

function hangUp() {
  source?.close();
  source = null;
  if (document.hidden) {
    clearInterval(polling);
    polling = null;
  }
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) hangUp();
  else listen();
});
setInterval(() => {
  age();
  if (!document.hidden && performance.now() - heardAt > SILENT_MS && source) listen();
}, 1000);

const theme = document.getElementById("theme");
function setTheme(name) {
  document.documentElement.dataset.theme = name;
  theme.textContent = name === "day" ? "night" : "day";
  try {
    localStorage.setItem("theme", name);
  } catch {
    // private browsing: the choice lasts as long as the page
  }
}
let kept = null;
try {
  kept = localStorage.getItem("theme");
} catch {
  // as above
}
const daylight = matchMedia("(prefers-color-scheme: light)").matches;
setTheme(kept ?? (daylight ? "day" : "night"));
theme.addEventListener("click", () =>
  setTheme(document.documentElement.dataset.theme === "day" ? "night" : "day"),
);

listen();
