// What a page keeps from one day to the next, in the browser's storage: one item for each drill.

/**
 * cautioned: whether the cautions have been read. reached: by exercise, on which day which tempo
 * was; an exercise is known again by its place and its title, since a drill may change.
 * @typedef {{ title: string, days: Record<string, string> }} Reached
 * @typedef {{ cautioned: boolean, reached: Record<string, Reached> }} Kept
 */

/** @type {Kept} */
const nothing = { cautioned: false, reached: {} };

const item = `midiforge: ${document.title}`;

function read() {
  try {
    return { ...nothing, ...JSON.parse(localStorage.getItem(item) || "{}") };
  } catch {
    return { ...nothing }; // not to be had, or not to be read
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
