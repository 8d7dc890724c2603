// Rooms of the practice stage, and where its things can stand; their limits on one scale.
import { follow } from "./feed.js";
import { make, size } from "./drawing.js";
import { asker } from "./send.js";
import { asked, at, choice, create, text } from "./parts.js";

let built = "";
let drawn = "";

const signed = (db) =>
  `${db > 0 ? "+" : db < 0 ? "\u2212" : ""}${Math.abs(db).toFixed(1)} dB`;

const queue = asker("/api/v1/stage");
const pending = asked(); // a room or a placement that the box has not shown yet

const ask = (name, value) => pending.until(name, value, queue({ [name]: value }, at("stage-said")));

function buildRooms(stage) {
  at("room").replaceChildren(...stage.rooms.map((name) => new Option(name)));
}

function buildPlacements(stage) {
  const legend = at("placements").firstElementChild;
  at("placements").replaceChildren(legend, ...stage.placements.map((one) => {
    const [name] = create("b");
    name.textContent = one.name;
    return choice({
      name: "placement", value: one.name, words: [name, ` ${one.description}`], chosen: () => ask("placement", one.name),
    });
  }));
}

/** Each placement's limit as a line along the fader's own scale. */
function drawLimits(svg, stage) {
  const [width] = size(svg);
  const key = JSON.stringify([width, stage.placement, stage.placements]);
  if (key === drawn) return;
  drawn = key;
  const line = 34;
  const height = stage.placements.length * line + 22;
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.style.height = `${height * Math.max(1, svg.clientWidth / width)}px`;
  const tried = stage.placements.filter((one) => one.limit_db !== undefined);
  const lowest = Math.min(-6, ...tried.map((one) => one.limit_db));
  const highest = Math.max(9, ...tried.map((one) => one.limit_db));
  const x = (db) => 12 + ((db - lowest) / (highest - lowest)) * (width - 24);
  const parts = [make("line", {
    class: "way", x1: x(0), x2: x(0), y1: 2, y2: height - 18,
  }), make("text", { x: x(0), y: height - 4 }, "0 dB: as it was found")];
  stage.placements.forEach((one, i) => {
    const y = i * line + 26;
    const here = one.name === stage.placement;
    if (one.limit_db === undefined) {
      parts.push(make("text", { class: "start", x: 12, y: y - 8 }, `${one.name}: not tried`));
      return;
    }
    const end = x(one.limit_db);
    const words = `${one.name} ${signed(one.limit_db)}`;
    parts.push(
      make("text", { class: here ? "start here" : "start", x: 12, y: y - 8 }, words),
      make("line", { class: "way", x1: x(lowest), x2: end, y1: y, y2: y }),
      make("circle", { class: here ? "wedge" : "stand", cx: end, cy: y, r: here ? 6 : 4 }),
    );
  });
  svg.replaceChildren(...parts);
  svg.setAttribute("aria-label", `Where each begins to ring: ${stage.placements.map((one) =>
    one.limit_db === undefined ? `${one.name} not tried` : `${one.name} ${signed(one.limit_db)}`,
  ).join(", ")}`);
}

function followPlaces(snapshot) {
  const { stage } = snapshot;
  if (!stage?.rooms) return;
  const names = JSON.stringify([stage.rooms, stage.placements.map((one) => one.name)]);
  if (names !== built) {
    built = names;
    buildRooms(stage);
    buildPlacements(stage);
  }
  const busy = Boolean(stage.moving);
  at("placements").setAttribute("aria-busy", String(busy));
  if (!busy) at("room").value = pending.shown("room", stage.room);
  const words = busy ? `on the way: ${stage.moving}` : stage.description;
  text(at("room-words"), words);
  if (!busy) {
    const placement = pending.shown("placement", stage.placement);
    for (const input of at("placements").querySelectorAll("input")) input.checked = input.value === placement;
  }
  drawLimits(at("limits"), stage);
}

at("room").addEventListener("change", () => ask("room", at("room").value));

follow(followPlaces);
