// The gig that is on: where, how long, which song; and the phone's time for a box that does not know.
import { at, counted, text } from "./parts.js";
import { asker, once } from "./send.js";
import { span } from "./view.js";

const ask = asker("/api/v1/gig");
const TOLD_AGAIN_MS = 30_000;
const FIRST_UTC_S = 1_735_689_600; // January 2025: a phone that says earlier knows less than the box
const BEFORE_S = 60;
const OFF_S = 150; // two minutes, and what the box leaves out of its own
let shown = null;
let toldAt = -Infinity;
let hereAsked = false;
let hasTold = false; // two phones that differ would go on telling each other's time for ever

export const command = (words, said = at("gig-said")) => ask(words, said);

/** What begins the next gig by itself; for a while after one was ended by hand nothing does. */
export const beginsWith = ({ stays_over_for_s: s } = {}) => (s
  ? `sound begins a new one ${s < 60 ? "in a minute" : `in ${Math.round(s / 60)} min`}` : "one begins by itself");

/**
 * Whether a soundcheck is of before this gig.  One that begins a gig is as old as it; what was done
 * for another one may stand otherwise now.
 */
export const isBeforeGig = ({ begun_age_s: age }, gig) => Boolean(gig?.on) && age - gig.begun_age_s > BEFORE_S;

function wordsOf(gig) {
  if (!gig.on) return gig.stays_over_for_s ? `ended by hand; ${beginsWith(gig)}` : "no gig is on: one begins by itself";
  const rings = gig.ring_count ?? 0;
  return [
    gig.title, gig.in_doubt ? "the gig of before the box was off, it seems" : "",
    gig.begun_age_s === undefined ? "" : `on for ${span(gig.begun_age_s)}`,
    rings ? counted(rings, "ring") : "nothing rang",
  ].filter(Boolean).join(" \u00b7 ");
}

/**
 * A box without a clock of its own is told the time by a phone that may tell it; where it has it of
 * another phone and this one's is far from it, once.
 */
function tellTime({ dated, utc_s: boxS }) {
  const now = Date.now() / 1000;
  const differs = dated === "phone" && !hasTold && !(Math.abs(now - boxS) < OFF_S);
  if ((dated !== "believed" && !differs) || now < FIRST_UTC_S || performance.now() - toldAt < TOLD_AGAIN_MS) return;
  toldAt = performance.now();
  once("/api/v1/clock", { utc_s: now }).then(({ status }) => {
    hasTold ||= status === 200;
    if (status === 401 || status === 403) toldAt = Infinity; // it may not; pairing begins anew
  });
}
document.addEventListener("paired", () => { toldAt = -Infinity; });

export function followGig(snapshot) {
  const { gig, access } = snapshot;
  shown = snapshot;
  tellTime(snapshot);
  at("gig").hidden = !gig;
  at("who").hidden = !access;
  if (snapshot.memory && !hereAsked) {
    hereAsked = true;
    import("./here.js").catch(() => { hereAsked = false; });
  }
  if (!gig) return;
  text(at("gig-words"), wordsOf(gig));
  text(at("gig-venue"), gig.venue?.name ?? "where are we?");
  at("gig-venue").setAttribute("aria-label", gig.venue ? `Venue: ${gig.venue.name}, change it` : "Choose the venue");
  at("gig").dataset.on = gig.on ? "yes" : "no";
  at("gig-begin").hidden = gig.on;
  at("gig-song").hidden = !gig.on;
  text(at("gig-song"), gig.song ? `next song, now ${gig.song}` : "first song");
}

at("gig-venue").addEventListener("click", async () => {
  const { chooseVenue } = await import("./venue.js").catch(() => ({}));
  if (chooseVenue) chooseVenue(shown?.gig);
  else text(at("gig-said"), "the list of venues did not come; try again near the box");
});
at("gig-begin").addEventListener("click", () => command({ do: "begin" }));
at("gig-song").addEventListener("click", () => command({ do: "song", gig: shown?.gig?.uid }));
at("who").addEventListener("toggle", () => {
  if (at("who").open) import("./phones.js").catch(() => text(at("who-words"), "this did not come; try again near the box"));
});
