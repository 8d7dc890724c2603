// The trainer's ring: a tone that grows along a straight line in dB out of quiet noise.
import { CEILING, openAudio } from "./audio.js";

const LOUDEST = 0.8 * CEILING;
const START_DB = -36; // beside the loudest, below the noise: it is born out of the floor
const GROWTH_DB_PER_S = 15; // a loop in a room, one or two dB too hot
const NOISE_RMS = 0.006;
const LONGEST_S = 20; // nobody answered: it does not go on for ever
const NOISE_S = 2;

let playing = null;
let wanted = 0; // counts: what was ended before it began never sounds

const ratio = (db) => 10 ** (db / 20);

function noise(context) {
  const buffer = new AudioBuffer({
    length: NOISE_S * context.sampleRate, sampleRate: context.sampleRate, numberOfChannels: 1,
  });
  const samples = buffer.getChannelData(0);
  const peak = NOISE_RMS * Math.sqrt(3); // uniform noise: peak is root three times rms
  for (let i = 0; i < samples.length; i += 1) samples[i] = peak * (2 * Math.random() - 1);
  return new AudioBufferSourceNode(context, { buffer, loop: true });
}

/** Fade out what plays, if anything does. */
function fade(seconds) {
  if (!playing) return;
  const { context, out, sources } = playing;
  playing = null;
  const now = context.currentTime;
  out.gain.cancelScheduledValues(now);
  out.gain.setTargetAtTime(0, now, seconds / 4);
  sources.forEach((source) => source.stop(now + seconds + 0.1));
}

/** End the ring that plays, and one that is about to; 60 ms, so that it does not click. */
export function silence(seconds = 0.06) {
  wanted += 1;
  fade(seconds);
}

/** Let a ring grow; resolves once it plays, or is not wanted any more. */
export async function ring(hz, { from = START_DB } = {}) {
  wanted += 1;
  const mine = wanted;
  const { context, input } = await openAudio();
  if (mine !== wanted) return;
  fade(0.06);
  const now = context.currentTime + 0.03;
  const out = new GainNode(context, { gain: 0 });
  const loud = new GainNode(context, { gain: LOUDEST * ratio(from) });
  const tone = new OscillatorNode(context, { frequency: hz });
  const floor = noise(context);
  tone.connect(loud).connect(out);
  floor.connect(out);
  out.connect(input);
  out.gain.setTargetAtTime(1, now, 0.05);
  loud.gain.setValueAtTime(LOUDEST * ratio(from), now);
  loud.gain.exponentialRampToValueAtTime(LOUDEST, now - from / GROWTH_DB_PER_S);
  for (const source of [tone, floor]) {
    source.start(now);
    source.stop(now + LONGEST_S);
  }
  playing = { context, out, loud, sources: [tone, floor] };
}

/** What rings, 0 for nothing, and how far below the loudest: for tests, which have no ears. */
export const frequencyHz = () => playing?.sources[0].frequency.value ?? 0;
export const levelDb = () =>
  (playing ? 20 * Math.log10(playing.loud.gain.value / LOUDEST) : -Infinity);

/** The slider is pulled: the tone falls by what that gives (db is negative), then goes. */
export function pull(db) {
  wanted += 1;
  if (!playing) return;
  const { context, loud } = playing;
  const now = context.currentTime;
  const level = Math.max(loud.gain.value, LOUDEST * ratio(START_DB));
  loud.gain.cancelScheduledValues(now);
  loud.gain.setValueAtTime(level, now);
  loud.gain.exponentialRampToValueAtTime(level * ratio(Math.min(0, db)), now + 0.3);
  const mine = playing;
  setTimeout(() => {
    if (playing === mine) fade(0.4);
  }, 2200);
}
