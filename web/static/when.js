// Dates in words, with how sure they are: a box may have no clock of its own.
const THIS_YEAR = new Date().getFullYear();
const DOUBT = { believed: " by the box's clock, which nobody confirmed" };

const known = (stamp) => {
  const date = new Date(stamp?.utc ?? NaN);
  return Number.isNaN(date.getTime()) ? null : date;
};
const time = (date) => date.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

/** Times are this phone's own, as they were when the gig began: summer time may have passed. */
export const zoned = (begun) => `utc_offset_min=${-(known(begun) ?? new Date()).getTimezoneOffset()}`;

/** "Friday 20 November", with the year where it is another one. */
export function dayOf(stamp, { short = false } = {}) {
  const date = known(stamp);
  if (!date) return "on a day unknown";
  const year = date.getFullYear() === THIS_YEAR ? {} : { year: "numeric" };
  return date.toLocaleDateString("en-GB", {
    ...(short ? {} : { weekday: "long" }), day: "numeric", month: short ? "short" : "long", ...year,
  }) + (short && stamp.dated === "believed" ? "?" : "");
}

/** "Friday 20 November, 19:30 to 22:04", and what is doubtful about it. */
export function whenOf(begun, lastedS) {
  const date = known(begun);
  if (!date) return "on a day unknown";
  const end = lastedS === undefined ? "" : ` to ${time(new Date(date.getTime() + 1000 * lastedS))}`;
  return `${dayOf(begun)}, ${time(date)}${end}${DOUBT[begun.dated] ?? ""}`;
}
