// The one way out for sound: volume, then a hard limit. Soft at every load, never remembered.
export const CEILING = 0.25; // of full scale, -12 dB: nothing that is played here passes it
const FIRST_VOLUME = 40; // of 100

let chain = null;
let volume = FIRST_VOLUME;

const gainOf = (value) => (value / 100) ** 2; // even steps to the ear, nearly

function limitCurve() {
  // Straight up to the ceiling, flat beyond; a shaper holds its ends for whatever is louder.
  const points = 4097;
  return Float32Array.from({ length: points }, (_, i) => {
    const x = (2 * i) / (points - 1) - 1;
    return Math.min(CEILING, Math.max(-CEILING, x));
  });
}

function build() {
  let context;
  try {
    context = new AudioContext({ sampleRate: 48000, latencyHint: "interactive" });
  } catch {
    context = new AudioContext(); // a phone that knows one rate only; it resamples then
  }
  const input = new GainNode(context, { gain: gainOf(volume) });
  const limit = new WaveShaperNode(context, { curve: limitCurve() });
  const meter = new AnalyserNode(context, { fftSize: 4096 });
  input.connect(limit).connect(meter).connect(context.destination);
  return { context, input, meter };
}

/** Return the running context and where to connect to; call it from a click. */
export async function openAudio() {
  if (!("AudioContext" in window)) throw new Error("this browser plays no sound");
  chain ??= build();
  const { context } = chain;
  if (context.state !== "running") {
    // Resuming can wait for ever where a click is missing; a person must be told instead.
    const late = new Promise((_, fail) => {
      setTimeout(() => fail(new Error("the browser holds the sound back; press again")), 2000);
    });
    await Promise.race([context.resume(), late]);
  }
  return chain;
}

export const state = () => chain?.context.state ?? "closed";

/** The highest sample of the last 85 ms, after the limit. */
export function peak() {
  if (!chain) return 0;
  const samples = new Float32Array(chain.meter.fftSize);
  chain.meter.getFloatTimeDomainData(samples);
  return samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
}

function setVolume(value) {
  volume = Math.min(100, Math.max(0, Number(value)));
  for (const input of document.querySelectorAll(".volume input")) {
    if (Number(input.value) !== volume) input.value = volume;
    input.setAttribute("aria-valuetext", `${volume} of 100`);
  }
  if (!chain) return;
  const { context, input } = chain;
  input.gain.setTargetAtTime(gainOf(volume), context.currentTime, 0.02);
}

for (const input of document.querySelectorAll(".volume input")) {
  input.addEventListener("input", () => setVolume(input.value));
}
setVolume(FIRST_VOLUME);
