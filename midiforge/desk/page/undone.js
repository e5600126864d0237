// What the drill's text was before, to go back to.

const MOST = 200;
const ONE_MS = 1500; // what is typed into one field without a longer pause is one change

/** What was changed last, and when. */
let last = "", at = -Infinity;

/** @type {string[]} */
const done = [];
/** @type {string[]} */
const undone = [];

export const canUndo = () => done.length > 0;
export const canRedo = () => undone.length > 0;

/**
 * @param {string} text as it was before a change
 * @param {string} [what] was changed
 */
export function remember(text, what = "") {
  const now = performance.now();
  if (!what || what !== last || now - at > ONE_MS || !done.length) done.push(text);
  [last, at] = [what, now];
  done.splice(0, done.length - MOST);
  undone.length = 0;
}

export function forgetHistory() {
  done.length = undone.length = 0;
}

/**
 * Takes the text to go to, and says where the one that there is now belongs then.
 * @param {boolean} again whether what was undone is done again
 */
export function taken(again) {
  const [from, to] = again ? [undone, done] : [done, undone];
  return { text: from.pop(), to };
}
