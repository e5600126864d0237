// One change of the lesson is sent at a time. What takes long is given up for something newer.

import { post } from "./api.js";
import { open } from "./lookers.js";

const SOON_MS = 300; // what is there by then is waited for, though something newer is typed

/** A change that is no key's: all of some steps, or a text.
 * @typedef {{ of: string, text?: string, isUndo?: boolean,
 *   send: () => Promise<import("./lookers.js").Lesson> }} Turn */

/** Those that wait to be sent.
 * @type {Turn[]} */
export const waiting = [];

/** Whether something waits to be sent that is newer than what the server has told. */
export const isWriting = () => waiting.length > 0;

/** One that was not taken is sent once more, unless a newer one says it all.
 * @param {Turn} turn */
export function putBack(turn) {
  if (!waiting.some(({ of }) => of && of === turn.of)) waiting.unshift(turn);
}

/** Whether something is being sent. */
export const sending = { is: false };
let since = 0, timer = 0;

export function begin() {
  sending.is = true;
  since = performance.now();
  clearTimeout(timer);
}

/** Waits until nothing is being sent, nor anything that waited for it. */
export async function settled() {
  while (sending.is) await new Promise((look) => setTimeout(look, 20));
}

/** Something newer waits: has the server give up what is being sent, unless it is done soon. */
export function overtake() {
  clearTimeout(timer);
  timer = setTimeout(() => {
    if (sending.is) post("api/lesson/overtaken", { drill: open.drill }).catch(() => {});
  }, Math.max(0, since + SOON_MS - performance.now()));
}
