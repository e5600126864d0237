// What the drill's text was before, to go back to; kept for the tab, so that a page that is loaded
// again, or comes back to a lesson, still has it.

import { look, open } from "./lookers.js";
import { keep, recalled } from "./tab.js";

const MOST = 200;
const ONE_MS = 20_000; // a longer pause in typing was to look and listen: what follows is a change

/** What was changed last, and when. */
let last = "", at = -Infinity;

/** @type {string[]} */
let done = [];
/** @type {string[]} */
let undone = [];

export const canUndo = () => done.length > 0;
export const canRedo = () => undone.length > 0;

/**
 * @param {string} text as it was before a change
 * @param {string} [typing] a name for what was typed without leaving its field, which is one change
 * though it was written at each stop on the way; "" for anything else
 */
export function remember(text, typing = "") {
  const now = performance.now();
  if (!typing || typing !== last || now - at > ONE_MS || !done.length) done.push(text);
  [last, at] = [typing, now];
  done.splice(0, done.length - MOST);
  undone = [];
}

/**
 * Takes up what is known of a drill, unless it was changed since by something else.
 * @param {string} drill
 * @param {string} text as it is now
 */
export function recall(drill, text) {
  last = "";
  [done, undone] = [[], []];
  const kept = JSON.parse(recalled(`undo ${drill}`) || "{}");
  if (kept.text === text) ({ done, undone } = kept);
}

look(({ text }) => keep(`undo ${open.drill}`, JSON.stringify({ text, done, undone })));

/**
 * The text to go to, and how it is taken once one has gone there.
 * @param {boolean} again whether what was undone is done again
 */
export function step(again) {
  const [from, to] = again ? [undone, done] : [done, undone];
  return {
    text: from.at(-1),
    /** @param {string} text that there was until now */
    take: (text) => {
      last = "";
      from.pop();
      to.push(text);
    },
  };
}
