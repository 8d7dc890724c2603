// The sheet on which the venue is chosen: one that is known, or a new name.
import { command } from "./gig.js";
import { at, counted, create, isNew, text } from "./parts.js";
import { getPatiently, inTurn } from "./send.js";
import { dayOf } from "./when.js";

const sheet = at("venue-sheet");
let gig = null;

async function choose(words) {
  const refused = await command(words, at("venue-said"));
  if (!refused) sheet.close();
}

function button({ uid, name, gig_count: count = 0, last_utc: last, dated }) {
  const [item, one, bold, small] = create("li", "button", "b", "span");
  one.type = "button";
  text(bold, name);
  text(small, [count ? counted(count, "gig") : "no gig yet",
    last && `last ${dayOf({ utc: last, dated })}`].filter(Boolean).join(", "));
  one.append(bold, " ", small);
  if (uid === gig?.venue?.uid) one.setAttribute("aria-current", "true");
  one.addEventListener("click", () => choose({ do: "venue", venue: uid }));
  item.append(one);
  return item;
}

const showKnown = inTurn(async () => {
  const { status, answer } = await getPatiently("/api/v1/venues");
  if (status !== 200) {
    text(at("venue-said"), answer.error ?? "the known venues did not come");
    return;
  }
  const venues = answer.venues ?? [];
  if (isNew(at("venue-list"), [venues, gig?.venue?.uid])) at("venue-list").replaceChildren(...venues.map(button));
  at("venue-empty").hidden = venues.length > 0;
});

/** Open the sheet for the gig that is on, or for one that begins with it. */
export function chooseVenue(now) {
  gig = now;
  text(at("venue-said"), "");
  at("venue-name").value = "";
  at("venue-none").hidden = !gig?.venue;
  if (!sheet.open) sheet.showModal();
  showKnown();
}

at("venue-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const name = at("venue-name").value.trim();
  if (name) choose({ do: "venue", name });
});
at("venue-none").addEventListener("click", () => choose({ do: "clear_venue", gig: gig?.uid }));
at("venue-leave").addEventListener("click", () => sheet.close());
