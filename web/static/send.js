// Questions and commands to the box. Here alone is decided what a refusal means: to wait, to pair
// this phone first, or to say why.
const PATIENCE_S = 3; // longer than that a person is told, not kept waiting
const TRIES = 3;
const NOBODY = "the box is not answering";
const NOT_KNOWN = "; whether it was done is not known: look before you do it again";
const NO_SHEET = "the sheet for the six digits did not come; try again near the box, or load the page again";
const BROKEN = "this page failed on it; load the page again";

export const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

async function ask(path, { withinMs = 10_000, as = "json", ...options } = {}) {
  const got = await fetch(path, { ...options, signal: AbortSignal.timeout(withinMs) }).catch(() => null);
  if (!got) return { status: 0, answer: { error: NOBODY }, waitS: 0 };
  // What is refused is always told as JSON.
  const answer = await got[got.ok ? as : "json"]().catch(() => ({}));
  const waitS = got.ok ? 0 : Number(got.headers.get("Retry-After")) || 0;
  return { status: got.status, answer, waitS };
}

/** Ask, for JSON or "text"; returns { status, answer, waitS }, status 0 when nobody answered. */
export const get = (path, options) => ask(path, options);

/** The same function, one call after the other: so no older answer comes over a newer one. */
export function inTurn(does) {
  let before = Promise.resolve();
  return (...given) => {
    before = before.catch(() => {}).then(() => does(...given));
    return before;
  };
}

/** Send JSON once, whatever comes; returns the same. */
export const once = (path, body) => ask(path, {
  method: "POST",
  headers: { "Content-Type": "application/json" },
  body: typeof body === "string" ? body : JSON.stringify(body),
});

/** Wait as long as was asked for, if that is not long. */
async function patiently(asked) {
  let got = await asked();
  for (let n = 1; n < TRIES && got.waitS && got.waitS <= PATIENCE_S; n += 1) {
    await pause(1000 * got.waitS);
    got = await asked();
  }
  if (got.waitS) got.answer.error = `${got.answer.error ?? "the box is busy"}; again in ${Math.ceil(got.waitS)} s`;
  return got;
}

/** The same for what may take its time: a list, a record. */
export const getPatiently = (path, options) => patiently(() => get(path, options));

async function change(path, body) {
  const got = await patiently(() => once(path, body));
  if (got.status === 0) got.answer.error += NOT_KNOWN; // it may have got there
  return got;
}

/** Send JSON that may change something; a phone that is not paired is asked to be, then it goes on. */
export async function post(path, body) {
  const got = await change(path, body);
  if (got.status !== 401 || !got.answer.pair) return got;
  const { pair } = await import("./pairing.js").catch(() => ({}));
  if (!pair) return { ...got, answer: { error: NO_SHEET } };
  if (await pair()) return change(path, body);
  return { ...got, answer: { error: "nothing was changed: this phone only looks" } };
}

/** Send a command; returns why it was refused, empty when it was taken. */
export async function send(path, command) {
  const { status, answer } = await post(path, command);
  return status === 200 ? "" : answer.error ?? "the box did not take it";
}

/**
 * Asks one command after the other, so that no tap is lost while the one before is answered; a
 * second tap on the same is none.  What was refused is said in the element.
 */
export function asker(path) {
  let asking = Promise.resolve();
  let under = ""; // the newest, until it is answered
  return (command, said) => {
    const key = JSON.stringify(command);
    if (key !== under) {
      under = key;
      asking = asking.then(async () => {
        said.textContent = "";
        // Whatever breaks: what waits in line is asked all the same.
        const refused = await send(path, command).catch(() => BROKEN);
        said.textContent = refused;
        if (under === key) under = "";
        return refused;
      });
    }
    return asking;
  };
}
