// What makes the sounds of each kind. Tones are made where a page has any: see tones.js.

import { strike } from "./strike.js";

/**
 * Begins a sound at a time, a tone for so many seconds.
 * @typedef {(
 *   context: BaseAudioContext, destination: AudioNode, time: number,
 *   event: { note: number, velocity: number, voice?: string }, seconds: number,
 * ) => import("./strike.js").Voice} Maker
 */

/** @type {Record<string, Maker>} */
export const makers = { note: strike, click: strike };
