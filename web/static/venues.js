// The venues that are kept: how often, when last; and another name, or none of it.
import { command } from "./gig.js";
import { at, counted, create, isNew, text, twice } from "./parts.js";
import { getPatiently, inTurn } from "./send.js";
import { dayOf } from "./when.js";

const LONGEST_NAME = 60;
const lines = new Map(); // by venue: its line, and how it is brought up to date
let changed = ""; // whose line gets the focus when the list is read again

async function told(words, uid) {
  if (await command(words, at("venues-said"))) return;
  changed = uid;
  document.dispatchEvent(new CustomEvent("gigs"));
}

/** The form for another name; what is being typed outlasts what is told of the venue. */
function nameForm(uid) {
  const [form, label, input, button] = create("form", "label", "input", "button");
  let known = "";
  Object.assign(input, { type: "text", maxLength: LONGEST_NAME, autocomplete: "off", id: `venue-${uid}` });
  label.htmlFor = input.id;
  text(label, "Another name");
  text(button, "rename it");
  form.append(label, input, " ", button);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const wanted = input.value.trim();
    if (wanted && wanted !== known) told({ do: "rename", venue: uid, name: wanted }, uid);
  });
  const show = (name) => {
    if (input.value === known || input.value.trim() === name) input.value = name;
    known = name;
  };
  return { form, show };
}

function line(uid) {
  const [item, details, summary, bold, words, remove, care] = create("li", "details", "summary", "b", "span", "button", "p");
  const { form, show: showName } = nameForm(uid);
  details.dataset.venue = uid;
  summary.append(bold, " ", words);
  remove.type = "button";
  text(remove, "delete this venue");
  care.className = "care";
  twice(remove, () => told({ do: "delete", venue: uid }, "none"));
  details.append(summary, form, remove, care);
  item.append(details);
  const show = ({ name, gig_count: count, last_utc: last, dated }) => {
    showName(name);
    text(bold, name);
    text(words, `${counted(count, "gig")}${last ? `, last ${dayOf({ utc: last, dated }, { short: true })}` : ""}`);
    text(care, count ? "Its gigs stay, without a venue: what is remembered of the place is gone." : "No gig was here.");
  };
  return { item, details, summary, show };
}

/** The lines in their order; whoever types in one goes on. */
function order(uids) {
  for (const uid of [...lines.keys()]) if (!uids.includes(uid)) lines.delete(uid);
  for (const uid of uids) if (!lines.has(uid)) lines.set(uid, line(uid));
  if (!isNew(at("venues"), uids)) return;
  const holder = document.activeElement;
  at("venues").replaceChildren(...uids.map((uid) => lines.get(uid).item));
  if (at("venues").contains(holder)) holder.focus({ preventScroll: true });
}

/** Where a line was done with, and the hand is nowhere else by now, the focus stays at it. */
function keepFocus() {
  const own = lines.get(changed);
  const isFree = document.activeElement === document.body || own?.item.contains(document.activeElement);
  if (own) own.details.open = false;
  if (changed && isFree) (own?.summary ?? at(lines.size ? "venues-title" : "gigs-title")).focus();
  changed = "";
}

/** Read the list again and show it; returns whether it came. */
export const venues = inTurn(async () => {
  const { status, answer } = await getPatiently("/api/v1/venues");
  if (status !== 200) return false; // what was shown stands
  const found = answer.venues ?? [];
  at("venues-part").hidden = found.length === 0;
  order(found.map(({ uid }) => uid));
  for (const venue of found) lines.get(venue.uid).show(venue);
  keepFocus();
  return true;
});
