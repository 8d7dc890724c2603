// The newest news of the box, and the parts of the page that follow it.
let newest = null;
const followers = [];

export const news = () => newest;

/** One part that stumbles over what it does not know must not keep the ring from the others. */
function tell(follower) {
  try {
    follower(newest);
  } catch (error) {
    console.error(error);
  }
}

/** Call `follower` with every snapshot from now on, and with the one that is there. */
export function follow(follower) {
  followers.push(follower);
  if (newest) tell(follower);
}

export function feed(snapshot) {
  newest = snapshot;
  followers.forEach(tell);
}

/**
 * What rings comes ahead of the next snapshot: the newest one with the ring in it, howls first.
 * Advice that was given for another ring than the first one is left out.
 */
export function withRing(snapshot, ring) {
  const { class: _, event, ...fields } = ring;
  if (event === "closed") return snapshot;
  const known = snapshot.rings.some(({ id }) => id === fields.id);
  const rings = known ? snapshot.rings.map((one) => (one.id === fields.id ? { ...one, ...fields } : one))
    : [...snapshot.rings, fields];
  rings.sort((one, other) => (other.degree === "howl") - (one.degree === "howl"));
  const made = { ...snapshot, rings, state: rings[0].degree };
  if (rings[0].id !== snapshot.rings[0]?.id) delete made.advice;
  return made;
}
