// The room After: one gig, what rang and when, and what to do next time.
import { news, follow } from "./feed.js";
import { command } from "./gig.js";
import { at, create, rows, text, twice, withReasons } from "./parts.js";
import { getPatiently } from "./send.js";
import { lasted, span } from "./view.js";
import { whenOf, zoned } from "./when.js";

const NARROW_PX = 700;
const AGAIN_MS = 15_000; // how often what is still going on is looked at again
const ENDED_MS = 1000; // and what has just begun or ended, which the answer may not have known yet
let uid = ""; // the gig that is shown
let record = null; // what the box says of it, in the report's words
let readAt = -Infinity;
let shownOn = false;
let reading = 0;
let named = {}; // what stands in the field of the name unless somebody types there: of which gig, what

const isOn = () => Boolean(news()?.gig?.on && news().gig.uid === uid);
const isHere = () => document.body.dataset.room === "after";

/** The rings by slider, the worst first. */
function table() {
  const found = record.sliders;
  at("af-rings").hidden = found.length === 0;
  at("af-rings").tBodies[0].replaceChildren(...found.map((one) => {
    const [row, head, ...cells] = create("tr", "th", "td", "td", "td");
    head.scope = "row";
    text(head, one.label);
    [one.ring_count, one.howl_count || "", one.longest_s ? lasted(one.longest_s) : ""].forEach((value, i) => text(cells[i], String(value)));
    row.append(head, ...cells);
    return row;
  }));
}

/** The server's drawing; it comes in the page's own inks. */
async function timeline(mine) {
  const holder = at("af-timeline");
  const width = innerWidth < NARROW_PX ? "narrow" : "wide";
  const { status, answer } = await getPatiently(
    `/api/v1/gigs/${uid}/timeline.svg?look=page&width=${width}&${zoned(record.gig.begun)}`,
    { as: "text", withinMs: 20_000 },
  );
  if (mine !== reading) return;
  const words = status === 200 ? String(answer) : "";
  // What is no drawing is not parsed: the parser's own complaint would carry styles of its own.
  const made = words.startsWith("<svg") && new DOMParser().parseFromString(words, "image/svg+xml").documentElement;
  if (made?.nodeName === "svg") {
    made.setAttribute("role", "img");
    holder.replaceChildren(document.importNode(made, true));
  } else if (!holder.firstChild) {
    text(holder, "the picture of the evening did not come");
  }
}

/** What to do next time, with its reasons: the report's own list. */
async function nextTime(mine) {
  const { answer } = await getPatiently(`/api/v1/gigs/${uid}/next?${zoned(record.gig.begun)}`);
  if (mine !== reading) return;
  if (answer.problem) text(at("af-said"), answer.problem);
  const lines = answer.next ?? [];
  at("af-next-part").hidden = lines.length === 0;
  withReasons(at("af-next"), lines);
}

function show() {
  const { gig } = record;
  shownOn = isOn();
  text(at("af-which"), shownOn ? "the gig that is on" : gig.title ?? (gig.venue ? "" : "a gig without a name"));
  text(at("af-say"), record.rings);
  text(at("af-detail"), [whenOf(gig.begun, gig.lasted_s), gig.lasted_s === undefined ? "" : span(gig.lasted_s)]
    .filter(Boolean).join(" \u00b7 "));
  rows(at("af-figures"), {
    "not sure": gig.in_doubt && "that this was one gig: the box was off in between",
    "no longer kept": gig.rings_gone && `${gig.rings_gone} of them`,
    "pulled at the end": record.pulled,
    "ring-out": record.ring_out,
    songs: record.song_count && String(record.song_count),
    notes: record.notes?.join("; "),
  });
  table();
  for (const link of at("af-links").querySelectorAll("a")) {
    const { file } = link.dataset;
    link.href = `/api/v1/gigs/${uid}/${file}${file.endsWith(".html") ? `?${zoned(record.gig.begun)}` : ""}`;
  }
  nameField(gig);
  at("af-body").hidden = false;
  whileOn();
}

/** What is being typed outlasts the looks at a gig that is on. */
function nameField({ uid: of, title = "" }) {
  const field = at("af-name-text");
  const isTouched = document.activeElement === field || field.value !== named.title;
  if (named.of === of && isTouched) return;
  field.value = title;
  named = { of, title };
}

/** The button that was pressed goes, and the focus must stay somewhere. */
const keepFocus = () => at("after-title").focus({ preventScroll: true });

/** What is otherwise while the gig is on. */
function whileOn() {
  const on = isOn();
  if (!on && document.activeElement === at("af-end")) keepFocus();
  at("af-end").hidden = !on;
  at("af-note").hidden = !on; // a note is of the moment
  const venue = record?.gig.venue?.name ?? "";
  text(at("af-venue"), on && venue === news().gig.venue?.name ? "" : venue); // it stands above already
}

/** Read what a gig came to and show it. */
export async function read(which) {
  if (which !== uid) {
    notSure();
    at("af-timeline").replaceChildren();
    at("af-next-part").hidden = true;
  }
  uid = which;
  readAt = performance.now();
  const mine = ++reading;
  const { status, answer } = await getPatiently(`/api/v1/gigs/${uid}/summary`);
  if (mine !== reading) return;
  if (status !== 200) {
    text(at("af-say"), record?.gig.uid === uid ? at("af-say").textContent : "This gig does not come");
    text(at("af-said"), answer.error ?? "the box did not give it");
    return;
  }
  text(at("af-said"), "");
  record = answer;
  show();
  await timeline(mine);
  if (mine === reading) await nextTime(mine);
}

/** Nothing is chosen and none is on. */
export function none(words, detail = "") {
  notSure();
  reading += 1; // what is still to come is of another one
  uid = "";
  record = null;
  at("af-body").hidden = true;
  text(at("af-which"), "");
  text(at("af-say"), words);
  text(at("af-venue"), "");
  text(at("af-detail"), detail);
  at("af-end").hidden = !news()?.gig?.on;
}

export const shownGig = () => uid;

async function told(words) {
  const refused = await command(words, at("af-said"));
  if (!refused) document.dispatchEvent(new CustomEvent("gigs"));
  return refused;
}

twice(at("af-end"), () => told({ do: "end", gig: uid || news()?.gig?.uid }));
// What was asked of one gig is no answer for another.
const notSure = twice(at("af-delete"), async () => {
  const gone = uid;
  if (await told({ do: "delete", gig: gone })) return;
  if (uid !== gone) return;
  none("Deleted", "it is gone from the box");
  keepFocus();
});
at("af-name").addEventListener("submit", async (event) => {
  event.preventDefault();
  const [of, title] = [uid, at("af-name-text").value];
  const name = title.trim();
  if (!name || await told({ do: "rename", gig: of, name }) || uid !== of) return;
  named = { of, title };
  read(of);
});
at("af-note").addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = at("af-note-text");
  const { value } = field;
  if (!value.trim() || await told({ do: "note", gig: uid, text: value.trim() })) return;
  if (field.value === value) field.value = ""; // not the next one, which is begun already
  read(uid);
});

function followAfter() {
  if (!isHere()) return;
  whileOn();
  const sinceMs = performance.now() - readAt;
  if (record && isOn() !== shownOn && sinceMs > ENDED_MS) {
    readAt = performance.now();
    document.dispatchEvent(new CustomEvent("gigs"));
  } else if ((isOn() || (uid && record?.gig.uid !== uid)) && sinceMs > AGAIN_MS) {
    read(uid);
  }
}
follow(followAfter);
