// The room Level: the gain of the vocal channel and its low cut, from the desk's own line.
import { follow } from "./feed.js";
import { drawMeter, drawVoice } from "./meter.js";
import { at, buttonRow, counted, create, isNew, rest, rests, rows, text, unbroken } from "./parts.js";
import { asker } from "./send.js";
import { endStep } from "./soundcheck.js";
import { span } from "./view.js";

const OLD = "This box's program is older than this page: it cannot measure. Bring both up to date.";
const NOTHING = {
  line: ["Set the gain", "Measure, then sing your loudest line: the box says how far to turn the gain."],
  box: ["Does the box hear?", "Its own microphone hears the room. It says nothing about the desk's gain."],
};
const VOICES = { silent: "hears no voice", speech: "hears speech", singing: "hears singing", other: "hears something" };
let chosen = null; // the source, where it was chosen here
let source = "box"; // that; else what is being measured, or the desk's line where there is or was one
const ask = asker("/api/v1/soundcheck");
const db = (value) => `${value < 0 ? "\u2212" : ""}${Math.abs(value).toFixed(1)}\u00a0dB`;

function sources(soundcheck, measuring) {
  const { line } = soundcheck;
  const there = Boolean(line?.there);
  text(at("line-words"), there ? line.name ?? ""
    : `${line?.why ?? "none is set up"}; to have one: settings file, table [line], and start the box again`);
  source = chosen ?? measuring?.kind ?? (there ? "line" : source);
  for (const input of at("sources").querySelectorAll("input")) {
    input.checked = input.value === source;
    input.disabled = input.value === "line" && !there;
  }
}

function sentence(soundcheck, measuring) {
  const part = at("lv-sentence");
  if (!measuring) {
    part.dataset.state = "none";
    const [say, detail] = NOTHING[source];
    text(at("lv-of"), "");
    // Why the last one ended by itself, until the next begins.
    text(at("lv-say"), soundcheck.why ? "It stopped" : say);
    text(at("lv-detail"), soundcheck.why ?? detail);
    return;
  }
  part.dataset.state = measuring.state ?? "waiting";
  const box = measuring.kind === "box";
  const { name: named } = measuring.source ?? {};
  const name = named && named !== "auto" ? `, ${named}` : ""; // the settings' word, no card's name
  text(at("lv-of"), box ? `the box's own microphone${name}, not the desk` : `the desk's line${name}`);
  const waiting = measuring.age_s > 2 ? "It has gone silent" : "Listening";
  text(at("lv-say"), unbroken(measuring.advice?.sentence ?? waiting));
  text(at("lv-detail"), unbroken(measuring.advice?.detail
    ?? (measuring.age_s > 2 ? `nothing new for ${span(measuring.age_s)}` : box ? "" : "sing your loudest line")));
}

const loudest = (one) => one && `peak ${db(one.peak_dbfs)}, average ${db(one.rms_dbfs)}`;

function figures(measuring) {
  const m = measuring ?? {};
  const peak = m.held_peak_dbfs ?? m.peak_dbfs;
  rows(at("lv-figures"), {
    peak: peak !== undefined && `${db(peak)} of full scale`,
    average: m.rms_dbfs !== undefined && db(m.rms_dbfs),
    sung: loudest(m.sung),
    spoken: loudest(m.spoken),
    noise: m.noise_dbfs !== undefined && db(m.noise_dbfs),
    "peak above average": m.crest_db !== undefined && db(m.crest_db),
    clipped: m.clipped_count !== undefined
      && (m.clipped_count ? `${counted(m.clipped_count, "time")}${m.clipped_now ? ", now" : ""}` : "never"),
    "flat tops": m.flat_top_dbfs !== undefined && `at ${db(m.flat_top_dbfs)}: something before the box clips`,
    lost: m.lost_blocks && `${m.lost_blocks} blocks`,
    now: VOICES[m.voice],
    "measured for": m.seconds !== undefined && span(m.seconds),
  });
}

/**
 * What the hand can do now, the main thing first.  After a turn of the gain the loudest line of
 * before says nothing any more, so that it is measured again.
 */
function steps(measuring) {
  if (!measuring) return [["measure", "Measure"]];
  const stop = ["measure_stop", "stop"];
  if (measuring.kind === "box" || measuring.state === "waiting") return [["measure_stop", "Stop"]];
  if (!measuring.loudest) return [["again", "Measure again"], stop];
  if (measuring.state === "right") return [["take_level", "Keep this level"], stop];
  return [["again", "Turned: measure again"], ["take_level", "keep it as it is"], stop];
}

function buttons(measuring) {
  const [[what, words], ...small] = steps(measuring);
  // What was refused is no matter any more when there is something else to do.
  const main = at("lv-main");
  if (main.dataset.do !== what) text(at("lv-said"), "");
  // One louder word, and what would have kept a level throws it away.
  if (main.dataset.do && main.dataset.do !== what) rest(main);
  main.dataset.do = what;
  text(at("lv-main"), words);
  buttonRow(at("lv-small"), small);
}

function level(soundcheck) {
  const { measuring } = soundcheck;
  sources(soundcheck, measuring);
  sentence(soundcheck, measuring);
  const meter = at("lv-meter");
  meter.toggleAttribute("hidden", !(measuring?.scale && measuring.kind === "line"));
  if (!meter.hasAttribute("hidden")) {
    const { scale } = measuring;
    const peak = measuring.held_peak_dbfs;
    drawMeter(meter, { scale, peak: peak !== undefined && scale.kind === "analogue" ? peak - scale.zero_dbfs : peak });
  }
  figures(measuring);
  buttons(measuring);
  at("lv-main").disabled = !measuring && source === "line" && !soundcheck.line?.there;
  const taken = soundcheck.level;
  at("lv-taken").hidden = !taken;
  if (taken) {
    text(at("lv-taken"), `Kept ${span(taken.age_s ?? 0)} ago: ${taken.advice?.sentence ?? "a level"}${
      taken.loudest ? ` (${loudest(taken.loudest)}, ${taken.loudest.of})` : ""}`);
  }
}

function choicesOf(lowCut) {
  const list = at("lc-choices");
  list.hidden = !lowCut.choices?.length;
  if (list.hidden || !isNew(list, [lowCut.choices, lowCut.choice_hz])) return;
  list.tBodies[0].replaceChildren(...lowCut.choices.map((one) => {
    const [row, head] = create("tr", "th");
    const best = one.hz === lowCut.choice_hz;
    row.toggleAttribute("data-best", best);
    head.scope = "row";
    head.textContent = `${Math.round(one.hz)} Hz${best ? ", this one" : ""}`;
    const cells = [one.takes_db, one.costs_db].map((value) => {
      const [cell] = create("td");
      cell.textContent = value === undefined ? "" : db(value);
      return cell;
    });
    row.append(head, ...cells);
    return row;
  }));
}

function lowCutOf(soundcheck) {
  const { measuring } = soundcheck;
  const own = measuring?.kind === "line" ? measuring : null;
  const live = own?.low_cut;
  const shown = live ?? soundcheck.low_cut?.low_cut ?? soundcheck.low_cut;
  text(at("lc-say"), live?.sentence ?? (own ? "Sing or speak for a minute, and leave pauses."
    : measuring ? "This wants the desk's line; the box's own microphone cannot tell."
      : "Measure the desk's line, and sing or speak for a minute with pauses."));
  const waiting = live && !live.ready;
  at("lc-wait").hidden = !waiting;
  if (waiting) {
    const heard = live.voiced_s ?? 0;
    at("lc-progress").value = heard / Math.max(1, heard + (live.seconds_left ?? 60));
  }
  const svg = at("lc-spectrum");
  const spectrum = own?.spectrum ?? soundcheck.low_cut?.spectrum;
  svg.toggleAttribute("hidden", !spectrum?.centre_hz?.length);
  if (!svg.hasAttribute("hidden")) drawVoice(svg, spectrum, shown ?? {}, shown?.choice_hz);
  choicesOf(shown ?? {});
  at("lc-take").hidden = !live?.ready;
  if (live?.ready) text(at("lc-take"), live.choice_hz ? `Low cut at ${live.choice_label}: it is set` : "It is out: keep that");
  const taken = soundcheck.low_cut;
  at("lc-taken").hidden = !taken;
  if (taken) {
    const cut = taken.low_cut ?? taken;
    text(at("lc-taken"), `Kept ${span(taken.age_s ?? 0)} ago: ${cut.sentence ?? `${cut.choice_label ?? cut.choice_hz} Hz`}`);
  }
}

function followLevel(snapshot) {
  const { soundcheck } = snapshot;
  at("sources").hidden = !soundcheck || Boolean(soundcheck.measuring); // what is measured is said above the sentence
  at("lv-main").hidden = !soundcheck;
  at("low-cut-part").hidden = !soundcheck;
  if (soundcheck) {
    level(soundcheck);
    lowCutOf(soundcheck);
  } else {
    at("lv-sentence").dataset.state = "none";
    text(at("lv-say"), "Not on this box");
    text(at("lv-detail"), OLD);
  }
}

at("sources").addEventListener("change", (event) => {
  chosen = event.target.value;
  source = chosen;
});
const take = (step, said) => endStep(step, async () => !await ask({ do: `take_${step}` }, said));
at("level-room").addEventListener("click", (event) => {
  const what = event.target.dataset.do;
  if (!what || rests(event.target)) return;
  if (what === "take_level") take("level", at("lv-said"));
  else if (what === "measure") ask({ do: what, source }, at("lv-said"));
  else ask({ do: "measure_stop" }, at("lv-said"));
  if (what === "again") ask({ do: "measure", source: "line" }, at("lv-said"));
});
at("lc-take").addEventListener("click", () => take("low_cut", at("lc-said")));

follow(followLevel);
