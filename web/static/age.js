// How old what is shown is.  The server says when it sent, by a clock of its own: where the Wi-Fi
// holds messages back, they come with that clock behind by as much.
const DRIFT = 0.001; // two clocks go apart by less (quartz: below 0.0001, common practice)
const BEHIND_S = 2; // further back is a box that began anew, not a message that came late

let best = Infinity; // the least that this device's clock was ever ahead of the server's
let last = { sentS: -Infinity, nowS: 0 };
let heard = null; // when the last answer came, by both clocks, and how old it was then

/** Seconds since an instant; a device that slept may have stopped one of its clocks meanwhile. */
const since = (then) => Math.max(performance.now() - then.running, Date.now() - then.wall) / 1000;

/**
 * How long a message was on its way, beyond the quickest one; null for one that was sent before
 * another that has come already.
 */
export function delayOf(sentS, nowS = performance.now() / 1000) {
  const backS = last.sentS - sentS;
  if (backS > 0 && backS < BEHIND_S) return null;
  if (backS > 0) best = Infinity;
  else best += DRIFT * Math.max(0, nowS - last.nowS);
  last = { sentS, nowS };
  best = Math.min(best, nowS - sentS);
  return nowS - sentS - best;
}

/** Take note of an answer of the page's server; returns whether it is news. */
export function hear(answer) {
  const { snapshot } = answer;
  const delayS = delayOf(answer.sent_s);
  if (delayS === null) return false;
  // A box that says itself that it cannot hear is believed as it speaks, however old the last sound.
  const soundS = snapshot?.state === "deaf" ? 0 : snapshot?.audio_age_s ?? 0;
  heard = {
    running: performance.now(), wall: Date.now(),
    ageS: snapshot ? answer.age_s + delayS + soundS : Infinity,
  };
  return true;
}

export const silentS = () => (heard ? since(heard) : Infinity);
export const ageS = () => (heard ? heard.ageS + since(heard) : Infinity);
