// Small hands for the page's elements; each leaves alone what has not changed.

export const at = (id) => document.getElementById(id);
export const create = (...tags) => tags.map((tag) => document.createElement(tag));

/** A depth or a level in decibels, without its unit. */
export const decibels = (db) => String(Math.round(db * 10) / 10);

/** "1 ring", "3 rings". */
export const counted = (count, noun) => `${count} ${noun}${count === 1 ? "" : "s"}`;

/** Words in which no number is parted from its unit. */
export const unbroken = (words) => words.replaceAll(/(\d) (?=dB|(?:m|cm|s|Hz|kHz)\b)/g, "$1\u00a0");

export function text(element, value) {
  if (element.textContent !== value) element.textContent = value;
}

/** Whether something else is to be built into an element than what was; remembers it. */
export function isNew(element, what) {
  const key = JSON.stringify(what);
  if (element.dataset.key === key) return false;
  element.dataset.key = key;
  return true;
}

/** A list of lines. */
export function fill(list, values) {
  if (!isNew(list, values)) return;
  list.replaceChildren(...values.map((value) => {
    const [item] = create("li");
    item.textContent = value;
    return item;
  }));
}

/** A list of what to do, each with its reason. */
export function withReasons(list, lines) {
  if (!isNew(list, lines)) return;
  list.replaceChildren(...lines.map(({ title, words }) => {
    const [item, bold, why] = create("li", "b", "span");
    text(bold, title);
    text(why, words);
    item.append(bold, why);
    return item;
  }));
}

/** A list of names with what they are; what is false, empty or unknown is left out. */
export function rows(list, named) {
  const entries = Object.entries(named).filter(([, value]) => value);
  if (list.children.length !== 2 * entries.length) {
    list.replaceChildren(...entries.flatMap(() => create("dt", "dd")));
  }
  entries.flat().forEach((value, i) => text(list.children[i], value));
}

/** One of several things to choose, with words beside it. */
export function choice({ name, value = "", checked = false, words, chosen }) {
  const [label, input, span] = create("label", "input", "span");
  label.className = "choice";
  Object.assign(input, { type: "radio", name, value, checked });
  input.addEventListener("change", chosen);
  span.append(...words);
  label.append(input, span);
  return label;
}

/**
 * Buttons as [what they do, words, title]; the one with the focus keeps it, and one that has come
 * into the place of another takes no tap at once.
 */
export function buttonRow(group, buttons) {
  if (!isNew(group, buttons)) return;
  const before = [...group.children].map(({ dataset }) => dataset.do);
  const focused = document.activeElement?.dataset?.do;
  group.replaceChildren(...buttons.map(([what, words, title = ""]) => {
    const [button] = create("button");
    Object.assign(button, { type: "button", textContent: words, title });
    button.dataset.do = what;
    return button;
  }));
  [...group.children].forEach((button, i) => { if (before[i] && before[i] !== button.dataset.do) rest(button); });
  if (focused) group.querySelector(`[data-do="${focused}"]`)?.focus();
}

const SURE_MS = 4000;
export const TOO_SOON_MS = 700; // a double tap, or one that was meant for what stood there before

/**
 * What was asked of the box and it does not show yet, by name: until then that is shown, so that
 * nothing springs back under the hand.
 */
export function asked() {
  const waiting = new Map();
  return {
    /** Show `value` until the box does, some seconds from its answer at most; a refusal ends it. */
    async until(name, value, answer) {
      const mine = { value, untilMs: Infinity };
      waiting.set(name, mine);
      const refused = await answer;
      mine.untilMs = refused ? -Infinity : performance.now() + SURE_MS;
      return refused;
    },
    /** What to show where the box shows `told`. */
    shown(name, told) {
      const one = waiting.get(name);
      if (!one) return told;
      const isOver = one.untilMs < Infinity && (one.value === told || performance.now() > one.untilMs);
      if (isOver) waiting.delete(name);
      return isOver ? told : one.value;
    },
  };
}

/** A button that does another thing from now on takes no tap at once: that was meant for the one before. */
export function rest(button) {
  const until = performance.now() + TOO_SOON_MS;
  button.dataset.rests = String(until);
  button.setAttribute("aria-disabled", "true");
  setTimeout(() => { if (button.dataset.rests === String(until)) button.removeAttribute("aria-disabled"); }, TOO_SOON_MS);
}

export const rests = (button) => button.getAttribute("aria-disabled") === "true";

/**
 * A button that asks back: only a second tap within some seconds acts, and none that follows the
 * one before at once.  Returns what takes the question back, for when the button means another thing.
 */
export function twice(button, act) {
  let words = "";
  let until = 0;
  let tappedAt = -Infinity;
  const forget = () => {
    if (!until) return;
    until = 0;
    text(button, words);
  };
  button.addEventListener("click", () => {
    const now = performance.now();
    const tooSoon = now - tappedAt < TOO_SOON_MS;
    tappedAt = now;
    if (now < until) {
      if (tooSoon) return;
      forget();
      act();
      return;
    }
    if (!until) words = button.textContent;
    until = now + SURE_MS;
    text(button, "sure? tap again");
    setTimeout(() => { if (performance.now() >= until) forget(); }, SURE_MS + 50);
  });
  return forget;
}
