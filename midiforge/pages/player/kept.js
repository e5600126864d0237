// What a page keeps from one day to the next, in the browser's storage: one item for each drill.

/**
 * cautioned: whether the cautions have been read. reached: by exercise, on which day which tempo
 * was; an exercise is known again by its place and its title, since a drill may change. delays: in
 * ms, of what strokes come by. keys: which key is which limb.
 * @typedef {{ title: string, days: Record<string, string> }} Reached
 * @typedef {{
 *   cautioned: boolean, reached: Record<string, Reached>, delays: Record<string, number>,
 *   keys: Record<string, string>,
 * }} Kept
 */

/** @type {Kept} */
const nothing = { cautioned: false, reached: {}, delays: {}, keys: {} };

const item = `midiforge: ${document.title}`;

function read() {
  try {
    return { ...structuredClone(nothing), ...JSON.parse(localStorage.getItem(item) || "{}") };
  } catch {
    return structuredClone(nothing); // not to be had, or not to be read
  }
}

/** @type {Kept} */
export const kept = read();

/** Whether the browser keeps it. */
export function keep() {
  try {
    localStorage.setItem(item, JSON.stringify(kept));
    return true;
  } catch {
    return false;
  }
}
