// The venues that are kept: how often, when last; and another name, or none of it.
import { command } from "./gig.js";
import { at, counted, create, isNew, text, twice } from "./parts.js";
import { getPatiently } from "./send.js";
import { dayOf } from "./when.js";

const LONGEST_NAME = 60;
let changed = ""; // whose line gets the focus back when the list is built anew

async function told(words, uid) {
  if (await command(words, at("venues-said"))) return;
  changed = uid;
  document.dispatchEvent(new CustomEvent("gigs"));
}

function nameForm({ uid, name }) {
  const [form, label, input, button] = create("form", "label", "input", "button");
  Object.assign(input, { type: "text", maxLength: LONGEST_NAME, autocomplete: "off", value: name, id: `venue-${uid}` });
  label.htmlFor = input.id;
  text(label, "Another name");
  text(button, "rename it");
  form.append(label, input, " ", button);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const wanted = input.value.trim();
    if (wanted && wanted !== name) told({ do: "rename", venue: uid, name: wanted }, uid);
  });
  return form;
}

function line(venue) {
  const { uid, name, gig_count: count, last_utc: last, dated } = venue;
  const [item, details, summary, bold, words, remove, care] = create("li", "details", "summary", "b", "span", "button", "p");
  details.dataset.venue = uid;
  text(bold, name);
  text(words, `${counted(count, "gig")}${last ? `, last ${dayOf({ utc: last, dated }, { short: true })}` : ""}`);
  summary.append(bold, " ", words);
  remove.type = "button";
  text(remove, "delete this venue");
  care.className = "care";
  text(care, count ? "Its gigs stay, without a venue: what is remembered of the place is gone." : "No gig was here.");
  twice(remove, () => told({ do: "delete", venue: uid }, "none"));
  details.append(summary, nameForm(venue), remove, care);
  item.append(details);
  return item;
}

/** Read the list again and show it; returns whether it came. */
export async function venues() {
  const { status, answer } = await getPatiently("/api/v1/venues");
  if (status !== 200) return false; // what was shown stands
  const found = answer.venues ?? [];
  at("venues-part").hidden = found.length === 0;
  if (isNew(at("venues"), found)) at("venues").replaceChildren(...found.map(line));
  if (!changed) return true;
  const own = at("venues").querySelector(`[data-venue="${changed}"] summary`);
  (own ?? at(found.length ? "venues-title" : "gigs-title")).focus();
  changed = "";
  return true;
}
