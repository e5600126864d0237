// Bars as the live engine tells them, and where the music is by them.

/**
 * A bar as the engine tells it: when it begins on its clock, in ms, what it is in the exercise, in
 * quarter notes, and how many ms one of these lasts.
 * @typedef {{
 *   exercise: string, number: number, of: number, start: number, length: number, quarter: number,
 *   at: number, beats: number[], time: number, times: number, tempo: string, written: string,
 *   ends: boolean, digest?: string,
 * }} Bar
 */

/**
 * Where the music is at a moment, in quarter notes, by the bars that were told.
 * @param {Bar[]} bars the last ones
 * @param {number} now on the engine's clock
 */
export function placeIn(bars, now) {
  const bar = bars.filter(({ at }) => at <= now).at(-1) || bars[0];
  return bar.start + (now - bar.at) / bar.quarter;
}
