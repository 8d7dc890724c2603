// A drawing brought up to a newer one: its things stay the same elements, so that what has the
// focus or a finger on it keeps it; all else is put in anew.

const keyOf = (node) => node.dataset?.kind ? `${node.dataset.kind} ${node.dataset.index}` : "";

function attributes(from, to) {
  for (const { name } of [...from.attributes]) if (!to.hasAttribute(name)) from.removeAttribute(name);
  for (const { name, value } of to.attributes) {
    if (from.getAttribute(name) !== value) from.setAttribute(name, value);
  }
}

/** A thing's hold stays too: a touch whose target goes away is over. */
function thing(old, child) {
  attributes(old, child);
  const [hold, newHold] = [old, child].map((one) => one.querySelector(".hold"));
  if (!hold || !newHold) {
    old.replaceChildren(...child.childNodes);
    return;
  }
  attributes(hold, newHold);
  newHold.remove();
  for (const part of [...old.childNodes]) if (part !== hold) part.remove();
  old.append(...child.childNodes);
}

/** Make the element `from` like `to`, which is used up. */
export function morph(from, to) {
  attributes(from, to);
  const wanted = new Set([...to.children].map(keyOf).filter(Boolean));
  const here = new Map();
  for (const child of [...from.childNodes]) {
    const key = keyOf(child);
    if (wanted.has(key)) here.set(key, child);
    else child.remove();
  }
  let next = from.firstChild;
  for (const child of [...to.childNodes]) {
    const old = here.get(keyOf(child));
    if (!old) {
      from.insertBefore(child, next);
    } else {
      if (old === next) next = next.nextSibling;
      else from.insertBefore(old, next);
      thing(old, child);
    }
  }
}
