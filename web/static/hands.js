// What a finger, a mouse or the keyboard does to a thing of the plan.
import * as plan from "./plan.js";

const TAP_PX = 5; // less is a tap that trembles
const TURN_DEG = 5;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const TURNS = { "[": -1, "]": 1, "{": -3, "}": 3 };

const thingOf = (node) => node?.closest?.(".thing[data-kind]");
export const named = (node) => [node.dataset.kind, Number(node.dataset.index)];

const minus = ([ax, ay], [bx, by]) => [ax - bx, ay - by];

/**
 * Let the things in `host` be moved.  `moved(kind, index)` follows every step, `chosen(kind,
 * index)` a tap or the focus, `rested(kind, index)` the end of a movement.
 */
export function giveHands(host, { moved, chosen, rested }) {
  let drag = null;

  /** The place of the stage under a pointer, as the drawing is now. */
  function under(event) {
    const matrix = host.querySelector("svg").getScreenCTM().inverse();
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
    return [plan.fromCentimetres(x), plan.fromCentimetres(y)];
  }

  host.addEventListener("pointerdown", (event) => {
    const node = thingOf(event.target);
    if (!node || event.button > 0 || drag) return;
    const [kind, index] = named(node);
    host.setPointerCapture(event.pointerId); // the drawing may change under the finger
    drag = {
      id: event.pointerId, kind, index, going: false, from: [event.clientX, event.clientY],
      held: minus(plan.positionOf(kind, index), under(event)),
    };
    node.focus({ preventScroll: true });
    event.preventDefault();
  });

  // A finger on a thing does not scroll; touch-action on the shapes alone was not heeded
  // (tried in the browser of the tests).
  host.addEventListener("touchstart", (event) => {
    if (thingOf(event.target)) event.preventDefault();
  }, { passive: false });

  host.addEventListener("pointermove", (event) => {
    if (event.pointerId !== drag?.id) return;
    const [dx, dy] = [event.clientX - drag.from[0], event.clientY - drag.from[1]];
    if (!drag.going && Math.hypot(dx, dy) < TAP_PX) return;
    drag.going = true;
    const to = minus(under(event), drag.held.map((length) => -length));
    if (plan.put(drag.kind, drag.index, to, plan.DRAG)) moved(drag.kind, drag.index);
  });

  function end(event) {
    if (event.pointerId !== drag?.id) return;
    const { kind, index, going } = drag;
    drag = null;
    plan.settle();
    if (going) rested(kind, index);
    chosen(kind, index);
  }
  host.addEventListener("pointerup", end);
  host.addEventListener("pointercancel", end);

  host.addEventListener("keydown", (event) => {
    const node = thingOf(event.target);
    if (!node || event.ctrlKey || event.altKey || event.metaKey) return;
    const [kind, index] = named(node);
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      chosen(kind, index, { open: true });
      return;
    }
    const arrow = ARROWS[event.key];
    const turned = TURNS[event.key];
    if (!arrow && !turned) return;
    event.preventDefault();
    if (turned) plan.turn(kind, index, turned * TURN_DEG, `turn ${kind} ${index}`);
    else {
      const [x, y] = plan.positionOf(kind, index);
      // A mouth is moved by the width of a hand, everything else by a step.
      const small = kind === "mouth" ? 0.2 : 1;
      const step = (plan.unit() === "ft" ? 0.5 : 0.1) * (event.shiftKey ? 5 : 1) * small;
      plan.put(kind, index, [x + arrow[0] * step, y + arrow[1] * step], `key ${kind} ${index}`);
    }
    rested(kind, index);
  });

  host.addEventListener("focusin", (event) => {
    const node = thingOf(event.target);
    if (node && !drag) chosen(...named(node));
  });
}
