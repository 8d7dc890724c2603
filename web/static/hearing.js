// The practice stage heard through this phone: off until asked for, and off when put away.
import { follow } from "./feed.js";
import { CEILING, openAudio, state } from "./audio.js";
import { at } from "./parts.js";
import { once, pause } from "./send.js";

const LEAD_S = 0.3; // between arriving and sounding: evens out what the Wi-Fi does
const LONGEST_LEAD_S = 0.7; // with what is under way, what is heard is about a second old at most
const REPORT_MS = 500; // the server sends no more than 1.5 s beyond what was reported
const AGAIN_MS = 1000;
const MOST_TRIES = 5;
const FADE_SAMPLES = 240; // 5 ms: a hole is silent, it does not click

export const counts = { blocks: 0, holes: 0, skipped: 0 };
let playing = null; // the one that plays: { abort, name, ... }
let wanted = 0; // counts: what was stopped before it began never sounds

/** Signed 16 bit to float, never beyond the ceiling; fades in after a hole. */
export function samplesOf(pcm, fadeIn) {
  return Float32Array.from(pcm, (value, i) => {
    const x = Math.min(CEILING, Math.max(-CEILING, value / 32768));
    return fadeIn && i < FADE_SAMPLES ? (x * i) / FADE_SAMPLES : x;
  });
}

/** When the next block sounds: [time in s, whether a hole came before it], or null to skip it. */
export function placeOf(nextS, nowS) {
  if (nextS - nowS > LONGEST_LEAD_S) return null;
  return nextS < nowS + 0.01 ? [nowS + LEAD_S, true] : [nextS, false];
}

function say(words) {
  at("hear-said").textContent = words;
}

function play(pcm, rate) {
  const { context, input } = playing.chain;
  const place = placeOf(playing.nextS, context.currentTime);
  if (place === null) {
    counts.skipped += 1;
    playing.hole = true;
    return;
  }
  const [when, hole] = place;
  if (hole) counts.holes += 1;
  const buffer = new AudioBuffer({ length: pcm.length, sampleRate: rate, numberOfChannels: 1 });
  buffer.copyToChannel(samplesOf(pcm, hole || playing.hole), 0);
  playing.hole = false;
  const source = new AudioBufferSourceNode(context, { buffer });
  source.connect(input);
  source.start(when);
  playing.nextS = when + buffer.duration;
  counts.blocks += 1;
}

async function stream(mine) {
  const answer = await fetch(`/api/v1/sound?listener=${mine.name}`, { signal: mine.abort.signal });
  if (!answer.ok) {
    const refused = new Error((await answer.json()).error);
    refused.isFinal = answer.status !== 503;
    throw refused;
  }
  const rate = Number(answer.headers.get("X-Sample-Rate"));
  mine.arrived = 0;
  const reader = answer.body.getReader();
  let rest = new Uint8Array(0);
  for (;;) {
    const { done, value } = await reader.read();
    if (done || playing !== mine) return;
    mine.arrived += value.length;
    mine.tries = 0;
    const bytes = new Uint8Array(rest.length + value.length);
    bytes.set(rest);
    bytes.set(value, rest.length);
    const whole = bytes.length & ~1;
    rest = bytes.slice(whole);
    if (whole) play(new Int16Array(bytes.buffer, 0, whole / 2), rate);
  }
}

async function keepStreaming(mine) {
  while (playing === mine) {
    let why = "the sound broke off";
    try {
      await stream(mine);
    } catch (error) {
      if (playing !== mine) return;
      if (error.isFinal) {
        stop(error.message);
        return;
      }
      if (error instanceof Error && error.message && !(error instanceof TypeError)) {
        why = error.message;
      }
    }
    if (playing !== mine) return;
    mine.tries += 1;
    if (mine.tries > MOST_TRIES) {
      stop(why);
      return;
    }
    say(`${why}, trying again`);
    await pause(AGAIN_MS);
    if (playing === mine) say("");
  }
}

function report(mine) {
  // The stream itself notices a lost server.
  once("/api/v1/sound", { listener: mine.name, arrived_bytes: mine.arrived });
  if (state() !== "running") stop("the phone took the sound away; press to hear it again");
}

async function start() {
  say("");
  wanted += 1;
  const press = wanted;
  let chain;
  try {
    chain = await openAudio();
  } catch (error) {
    if (press === wanted) say(error.message);
    return;
  }
  if (press !== wanted) return;
  const letters = crypto.getRandomValues(new Uint8Array(12));
  const name = Array.from(letters, (byte) => byte.toString(16).padStart(2, "0")).join("");
  const mine = { chain, name, abort: new AbortController(), nextS: 0, arrived: 0, tries: 0 };
  playing = mine;
  mine.timer = setInterval(() => report(mine), REPORT_MS);
  at("hear").setAttribute("aria-pressed", "true");
  at("hear").textContent = "Stop the sound";
  keepStreaming(mine);
}

export function stop(why = "") {
  wanted += 1;
  if (!playing) return;
  clearInterval(playing.timer);
  playing.abort.abort();
  playing = null;
  at("hear").setAttribute("aria-pressed", "false");
  at("hear").textContent = "Hear the stage";
  say(why);
}

function followHearing(snapshot) {
  at("hearing").hidden = !snapshot.stage?.sound;
  if (!snapshot.stage?.sound) stop();
}

at("hear").addEventListener("click", () => (playing ? stop() : start()));
document.addEventListener("visibilitychange", () => {
  if (document.hidden) stop("the sound stopped when the page was put away");
});
document.addEventListener("room", (event) => {
  if (event.detail === "ears") stop(); // two sounds at once would teach nothing
});
addEventListener("pagehide", () => stop());

follow(followHearing);
