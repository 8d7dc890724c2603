// What the box remembers of the venue that was chosen, until it is put away.
import { follow } from "./feed.js";
import { showLast } from "./last.js";
import { keep, kept } from "./own.js";
import { at, decibels, fill, text } from "./parts.js";
import { send } from "./send.js";

const KEPT = "here";
const MOST_RANG = 4; // to be read on the way to the sliders; the gigs themselves are in After
let away = kept(KEPT); // which gig's was put away
let shown = null;

const keyOf = ({ gig, memory }) => `${gig?.uid ?? ""} ${memory?.venue?.uid ?? ""}`;

/** The pulls to begin with as commands: only for sliders that this equaliser has. */
function commands({ equaliser, memory }) {
  return memory.venue.begin_with.flatMap((pull) => {
    const slider = equaliser.sliders.findIndex(({ label }) => label === pull.label);
    const place = pull.q === undefined ? {} : { centre_hz: pull.centre_hz, q: pull.q };
    return slider < 0 ? [] : [{ slider, cut_db: -Math.abs(pull.pull_db), ...place }];
  });
}

/** Its label; of a filter that can be put anywhere also its place. */
const nameOf = ({ label, centre_hz: hz, q }) => (q === undefined ? label
  : `${label} (${Math.round(hz)} Hz${label.startsWith("filter") ? `, Q ${decibels(q)}` : ""})`);

/** What rang on the most evenings, then what howled most; in the order of frequency, as it came. */
function rangWords(rang) {
  const worst = [...rang].sort((a, b) => b.evenings - a.evenings || b.howls - a.howls).slice(0, MOST_RANG);
  const more = rang.length - worst.length;
  return [...rang.filter((one) => worst.includes(one)).map(({ words }) => words), ...(more ? [`and ${more} more`] : [])];
}

function followHere(snapshot) {
  shown = snapshot;
  const venue = snapshot.memory?.venue;
  const isAway = !venue || keyOf(snapshot) === away;
  const worth = !isAway && (showLast(snapshot) || venue.rang?.length || venue.begin_with?.length || venue.gain);
  at("here").hidden = !worth;
  if (at("here").hidden) return;
  text(at("here-title"), `Known here: ${venue.name}`);
  at("here-rang").hidden = !venue.rang?.length;
  fill(at("here-rang").lastElementChild, rangWords(venue.rang ?? []));
  text(at("here-gain"), venue.gain?.words ?? "");
  const begin = venue.begin_with ?? [];
  at("here-begin").hidden = begin.length === 0;
  fill(at("here-pulls"), begin.map((pull) =>
    `${nameOf(pull)} ${pull.on ? "on" : `by ${decibels(Math.abs(pull.pull_db))} dB`}: ${pull.why}`));
}

/** Put away what was known when the hand came; by now it may be another gig or place. */
function putAway(key) {
  away = key;
  keep(KEPT, away);
  if (key !== keyOf(shown)) return;
  const isFree = document.activeElement === document.body || at("here").contains(document.activeElement);
  at("here").hidden = true;
  if (!isFree) return;
  const next = document.body.dataset.room === "ring-out" ? at("ring-out-title") : at("gig-venue");
  next.focus({ preventScroll: true }); // what had it is gone
}

at("here-done").addEventListener("click", async () => {
  const key = keyOf(shown);
  for (const pull of commands(shown)) {
    const refused = await send("/api/v1/pull", pull);
    text(at("here-said"), refused);
    if (refused) return;
  }
  putAway(key);
});
at("here-away").addEventListener("click", () => putAway(keyOf(shown)));
follow(followHere);
