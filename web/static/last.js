// What was said for next time after the last gig at this venue: the report's own lines, read once,
// and shown until tonight's set begins.
import { isBeforeGig } from "./gig.js";
import { at, text, withReasons } from "./parts.js";
import { getPatiently } from "./send.js";
import { dayOf, zoned } from "./when.js";

const AGAIN_MS = 15_000; // after no answer, or one in which the memory is missing
let asked = ""; // where the lines are, and of how many gigs here that was the last
let askedAt = 0;
let lines = null;

async function read(path, key) {
  asked = key;
  askedAt = performance.now();
  lines = null;
  const { status, answer } = await getPatiently(path);
  if (asked === key && status === 200 && !answer.problem) lines = answer.next;
}

/** A song is marked, or the ring-out of this gig is done: where to begin is no question any more. */
function hasSetBegun({ gig, soundcheck }) {
  const isDone = soundcheck?.steps?.some(({ id, state }) => id === "ring_out" && state === "done");
  return Boolean(gig.song || (isDone && !isBeforeGig(soundcheck, gig)));
}

/** Show them, but for what several evenings agree on: that is told already.  Returns whether there are any. */
export function showLast(snapshot) {
  const { gig, memory } = snapshot;
  const last = memory?.venue?.last;
  const isWanted = Boolean(last && gig?.on && !hasSetBegun(snapshot));
  const gigPath = `/api/v1/gigs/${last?.gig}`;
  const query = `?${zoned(last)}&but=${gig?.uid}`;
  // One that is brought in or deleted may change what the others teach.
  const key = `${gigPath}${query} ${memory?.venue?.gig_count}`;
  if (isWanted && (asked !== key || (!lines && performance.now() - askedAt > AGAIN_MS))) read(`${gigPath}/next${query}`, key);
  const own = isWanted && asked === key ? (lines ?? []).filter(({ known }) => !known) : [];
  at("here-last").hidden = own.length === 0;
  if (!own.length) return false;
  text(at("here-last-title"), `Last time here, ${dayOf(last)}`);
  withReasons(at("here-last-lines"), own);
  const other = last.other_equaliser;
  at("here-last-other").hidden = !other;
  text(at("here-last-other"), other ? `That was another equaliser, ${other}: the sliders named belong to it.` : "");
  at("here-report").href = `${gigPath}/report.html${query}`;
  return true;
}
