// The sheet on which a phone is paired: the six digits of the box's panel, typed once.
import { at, text } from "./parts.js";
import { once } from "./send.js";

const sheet = at("pair-sheet");
const DIGITS = 6;
const WHERE = {
  panel: "The box's panel shows six digits. Type them here.",
  box: "Type the six digits that were asked for at the box itself.",
  settings: "Type the six digits that stand in the box's settings file.",
};
let open = null; // the promise while the sheet is there
let settle = null;
let paired = false;
let waitsUntil = 0;
let ticking = null;
let counting = null;
let until = Infinity; // when the digits go from the panel
let tried = ""; // the digits that were sent last
let trying = ""; // those that are still to be answered

function say(words) {
  text(at("pair-said"), words);
}

/** After wrong digits the box waits; the seconds are shown, and spoken only once. */
function wait(seconds) {
  waitsUntil = Math.max(waitsUntil, performance.now() + 1000 * seconds);
  clearInterval(ticking);
  const tick = () => {
    const left = Math.ceil((waitsUntil - performance.now()) / 1000);
    at("pair-go").disabled = left > 0;
    text(at("pair-wait"), left > 0 ? `again in ${left} s` : "");
    if (left <= 0) clearInterval(ticking);
  };
  ticking = setInterval(tick, 500);
  tick();
}

/** Where the digits are, and how long still; nobody is read that again and again. */
function lasting(words) {
  clearTimeout(counting);
  const left = Math.ceil((until - performance.now()) / 1000);
  text(at("pair-words"), left <= 0 ? "The digits have gone; ask for them again."
    : Number.isFinite(left) ? `${words} They stay for ${left} s.` : words);
  if (left > 0 && Number.isFinite(left)) counting = setTimeout(() => lasting(words), 1000);
}

async function showDigits() {
  const { status, answer, waitS } = await once("/api/v1/pair/ask", {});
  if (status === 200) {
    until = performance.now() + 1000 * (answer.lasts_s ?? Infinity);
    lasting(`${WHERE[answer.where] ?? WHERE.panel} Then this phone may change things.`);
  } else say(answer.error ?? "the panel could not be asked to show the digits");
  return waitS;
}

async function tryDigits(event) {
  event.preventDefault();
  const code = at("pair-code").value.replace(/\D/g, "");
  if (code.length !== DIGITS) {
    say(`the code has ${DIGITS} digits, these are ${code.length}`);
    at("pair-code").focus();
    return;
  }
  if (code === trying) return; // the sixth digit has sent them already
  say("");
  tried = code;
  const name = at("pair-name").value.trim() || at("pair-name").placeholder;
  trying = code;
  const { status, answer, waitS } = await once("/api/v1/pair", { code, name });
  trying = "";
  if (status === 200) {
    paired = true;
    document.dispatchEvent(new CustomEvent("paired"));
    sheet.close();
    return;
  }
  // The seconds count beside it; in the sentence they would stand still.
  say(waitS ? "too many wrong codes" : answer.error ?? "the digits were not taken");
  if (waitS) wait(waitS);
  at("pair-code").select();
  at("pair-code").focus();
}

/** Open the sheet, once for all who ask; true when this phone is paired now. */
export function pair() {
  open ??= new Promise((done) => {
    settle = done;
    paired = false;
    at("pair-code").value = "";
    text(at("pair-words"), "Asking the box to show six digits on its panel.");
    say("");
    sheet.showModal();
    showDigits();
  });
  return open;
}

at("pair-name").placeholder = matchMedia("(pointer: coarse)").matches ? "phone" : "laptop";
at("pair-form").addEventListener("submit", tryDigits);
// A keypad of digits has no key to send them with.
at("pair-code").addEventListener("input", ({ target }) => {
  const digits = target.value.replace(/\D/g, "");
  if (digits.length === DIGITS && digits !== tried && !at("pair-go").disabled) at("pair-form").requestSubmit();
  if (digits.length < DIGITS) tried = "";
});
at("pair-again").addEventListener("click", async () => {
  say("");
  await showDigits();
  at("pair-code").focus();
});
at("pair-leave").addEventListener("click", () => sheet.close());
sheet.addEventListener("close", () => {
  clearTimeout(counting);
  open = null;
  settle(paired);
});
