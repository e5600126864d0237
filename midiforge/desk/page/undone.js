// What the drill's text was before, to go back to.

const MOST = 200;

/** @type {string[]} */
const done = [];
/** @type {string[]} */
const undone = [];

export const canUndo = () => done.length > 0;
export const canRedo = () => undone.length > 0;

/** @param {string} text as it was before a change */
export function remember(text) {
  done.push(text);
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
