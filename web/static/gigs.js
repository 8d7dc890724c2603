// The gigs that are kept, what they say together, and what comes from another box.
import { none, read, shownGig } from "./after.js";
import { bring } from "./bring.js";
import { follow, news } from "./feed.js";
import { beginsWith } from "./gig.js";
import { at, counted, create, fill, isNew, text } from "./parts.js";
import { getPatiently, inTurn } from "./send.js";
import { venues } from "./venues.js";
import { span } from "./view.js";
import { dayOf } from "./when.js";

const MARKS = { rig: "the rig", room: "the room", unsure: "not sure yet" };
const PAGE = 20;
const MOST = 100; // in one answer
const AGAIN_MS = 5000;
let gigs = [];
let missedAt = null; // when something of all this did not come
let adding = false;

const isHere = () => document.body.dataset.room === "after";

function gigLine(gig) {
  const [item, button, bold, small] = create("li", "button", "b", "span");
  button.type = "button";
  button.dataset.gig = gig.uid;
  text(bold, dayOf(gig.begun, { short: true }));
  text(small, [gig.title, gig.venue?.name, gig.on ? "on now" : gig.lasted_s !== undefined && span(gig.lasted_s),
    gig.ring_count ? `${counted(gig.ring_count, "ring")}${gig.howl_count ? `, ${counted(gig.howl_count, "howl")}` : ""}` : "nothing rang",
  ].filter(Boolean).join(" \u00b7 "));
  button.append(bold, small);
  item.append(button);
  return item;
}

function mark() {
  for (const button of at("gig-list").querySelectorAll("button")) {
    if (button.dataset.gig === shownGig()) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
  }
}

/** Read the list again, or what follows it, and show it; returns whether it came. */
const list = inTurn(async ({ more = false } = {}) => {
  const before = more && gigs.length ? `&before=${gigs.at(-1).uid}` : "";
  // What was opened of the earlier ones stays open.
  const limit = more ? PAGE : Math.min(MOST, Math.max(PAGE, gigs.length));
  const { status, answer } = await getPatiently(`/api/v1/gigs?limit=${limit}${before}`);
  if (status !== 200) {
    text(at("gigs-said"), answer.error ?? "the list of gigs did not come");
    if (!gigs.length) none("After the gig", "what rang tonight is kept here, as soon as the box answers");
    return false;
  }
  text(at("gigs-said"), "");
  const found = answer.gigs ?? [];
  gigs = more ? [...gigs, ...found] : found;
  const focused = at("gig-list").contains(document.activeElement) && document.activeElement.dataset.gig;
  if (isNew(at("gig-list"), gigs)) {
    at("gig-list").replaceChildren(...gigs.map(gigLine));
    if (focused) (at("gig-list").querySelector(`[data-gig="${focused}"]`) ?? at("gigs-title")).focus({ preventScroll: true });
  }
  at("gigs-more").hidden = found.length < limit;
  at("gigs-none").hidden = gigs.length > 0;
  mark();
  return true;
});

/** The gig that is shown stays while it is kept; else the one that is on, or the newest. */
async function showOne() {
  const shown = gigs.some(({ uid }) => uid === shownGig()) ? shownGig() : "";
  const first = shown || (news()?.gig?.on && news().gig.uid) || gigs[0]?.uid;
  if (!first) none("No gig is kept yet", `${beginsWith(news()?.gig)}, and is kept here`);
  else await read(first);
  mark();
}

function bandLine(one) {
  const [item, sign, details, summary, bold, more, why] = create("li", "i", "details", "summary", "b", "span", "p");
  item.dataset.verdict = one.verdict;
  sign.setAttribute("aria-hidden", "true");
  const which = one.verdict === "room" && one.venue ? `, ${one.venue.name}` : ""; // of several
  text(bold, `${one.band}: ${MARKS[one.verdict] ?? one.verdict}${which}`);
  text(more, "why");
  text(why, one.words);
  summary.append(bold, " ", more);
  details.append(summary, why);
  item.append(sign, details);
  return item;
}

const memory = inTurn(async () => {
  const { status, answer } = await getPatiently("/api/v1/recollection");
  if (status !== 200) answer.words = ["what the gigs say together is still being worked out, or the box is busy: look again in a moment"];
  at("memory-part").hidden = status === 200 && !answer.gig_count;
  if (at("memory-part").hidden) return true;
  fill(at("memory-words"), [...(answer.words ?? []), ...(answer.when?.words ?? [])]);
  // A list of nothing but "not sure yet" says no more than the words above it.
  const bands = answer.enough ? answer.bands : [];
  if (isNew(at("memory-bands"), bands)) at("memory-bands").replaceChildren(...bands.map(bandLine));
  return status === 200;
});

async function all() {
  if (!isHere()) return;
  const listed = await list();
  if (listed) await showOne();
  const came = [listed, await memory(), await venues()];
  missedAt = came.every(Boolean) ? null : performance.now();
}

/** What did not come is asked for again while the box is heard. */
function followGigs() {
  if (missedAt === null || !isHere() || performance.now() - missedAt < AGAIN_MS) return;
  missedAt = null;
  all();
}

at("gig-list").addEventListener("click", async (event) => {
  const uid = event.target.closest("button")?.dataset.gig;
  if (!uid) return;
  scrollTo(0, 0);
  at("after-title").focus({ preventScroll: true });
  await read(uid);
  mark();
});
at("gigs-more").addEventListener("click", async () => {
  if (adding) return;
  adding = true;
  await list({ more: true });
  adding = false;
});
at("bring").addEventListener("change", async () => {
  const [file] = at("bring").files;
  if (!file) return;
  await bring(file, at("bring-said"));
  at("bring").value = "";
  all();
});
document.addEventListener("gigs", all);
document.addEventListener("room", all);
follow(followGigs);
