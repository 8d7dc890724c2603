// Who may change things: this phone, and the others that are paired.
import { follow } from "./feed.js";
import { pair } from "./pairing.js";
import { at, create, isNew, text, twice } from "./parts.js";
import { get, inTurn, send } from "./send.js";
import { span } from "./view.js";

let control = "";
let seen = null; // the revision that was asked for
let mine = {};

const WORDS = {
  open: "Anyone on this Wi-Fi may change things here. The settings file can ask for a code: table [access].",
  off: "Nobody can change things from a page: the settings file has turned it off, table [access].",
  code: "Anyone on this Wi-Fi may look. To change things, a phone is paired once with the six digits on the panel.",
};

async function unpair(phone) {
  text(at("who-said"), await send("/api/v1/unpair", { phone }));
  ask();
}

function line({ phone, name, paired_ago_s: ago }) {
  const [item, words, button] = create("li", "span", "button");
  const own = phone === mine.phone;
  text(words, [name, own ? "this one" : "", ago === undefined ? "" : `paired ${span(ago)} ago`].filter(Boolean).join(", "));
  button.type = "button";
  button.setAttribute("aria-label", `unpair: ${name}`);
  text(button, "unpair");
  twice(button, () => unpair(phone));
  item.append(words, button);
  return item;
}

const ask = inTurn(async () => {
  const { status, answer } = await get("/api/v1/pair");
  if (status !== 200) {
    text(at("who-said"), answer.error ?? "the box did not say who is paired");
    seen = null;
    return;
  }
  mine = answer;
  control = answer.control;
  text(at("who-words"), control === "code" && answer.paired ? "This phone may change things." : WORDS[control]);
  at("who-pair").hidden = control !== "code" || answer.paired;
  const phones = answer.phones ?? [];
  // Built anew only for others: a question that was asked, and the focus, stay.
  if (isNew(at("who-phones"), [mine.phone, phones.map(({ phone, name }) => [phone, name])])) {
    at("who-phones").replaceChildren(...phones.map(line));
  }
});

function followPhones({ access }) {
  if (!access || !at("who").open) return;
  const now = `${access.control} ${access.revision}`;
  if (now === seen) return;
  seen = now;
  ask();
}

at("who-pair").addEventListener("click", async () => {
  if (await pair()) ask();
});
document.addEventListener("paired", ask);
follow(followPhones);
