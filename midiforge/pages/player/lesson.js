// What a page tells its player of an exercise; it is made by pages/sound.py.

/**
 * A note of percussion: its place, General MIDI number, velocity, who plays it, and how many ms
 * behind its place it sounds at any tempo; then `ms` more, which reach as far as `most`: see `due`.
 * @typedef {[
 *   at: number, note: number, velocity: number, part: string, late?: number, ms?: number,
 *   most?: number,
 * ]} Note
 * @typedef {[at: number, lasts: number, note: number, velocity: number, voice: string]} Tone
 *
 * `numbers`: the exercise's at each tempo. `counted`: what is counted in.
 *
 * Places are quarter notes from the first downbeat, the count-in before 0. What is `before` the
 * loop sounds once, behind the count-in; the loop lasts for `length` from `entry` on; its `seam`
 * leads from the end back there, in each round but the last.
 * @typedef {{
 *   id: string,
 *   title: string,
 *   numbers: string[],
 *   tempos: number[],
 *   said?: string[],
 *   limits: [number, number],
 *   clock: number[][],
 *   entry: number,
 *   length: number,
 *   notes: { countIn: Note[], before: Note[], loop: Note[], seam: Note[] },
 *   tones?: { before: Tone[], loop: Tone[] },
 *   counted: [place: number, count: string][],
 *   cursor: [place: number, drawing: number, x: number][],
 *   due?: Wanted,
 * }} Exercise
 *
 * What is due, made by pages/due.py: how far apart strokes may be in seconds, the pads of grace
 * notes, a grid step in quarter notes, and each stroke: its place, note and pad, the limbs that
 * strike it ("RH+LH"), how far down its drawing it stands, its bar and count;
 * `title`: as MIDI files have it, where that is another.
 * @typedef {[
 *   at: number, note: number, pad: string, limbs: string, y: number, bar: number, count: string,
 *   told?: { grid?: number, ornaments?: [string, number][], call?: number },
 * ]} DueRow
 * @typedef {{
 *   window: number, companion: number, grace: number, graces: Record<string, string[]>,
 *   step: number, meter: [number, number], strokes: DueRow[], title?: string,
 * }} Wanted
 *
 * What is the same for all of them: the pads of a kit's notes, and from how many ms on a limb, or
 * from what share of a grid step on any of them, is early or late.
 * @typedef {{
 *   pads: Record<string, string>, channel: number, velocity: number,
 *   near: Record<string, number>, steady: number,
 *   marks: { start: string, exercise: string, played: string },
 *   look: { magnified: number, furthest: number, wide: number, high: number },
 *   limits: import("./pairing.js").Limits,
 * }} Hearing
 *
 * Something that sounds, its times in seconds. `rounds`: which it sounds in.
 * @typedef {{
 *   kind: "note" | "click" | "tone", at: number, note: number, velocity: number, part: string,
 *   rounds: string, late: number, ms: number, most: number, lasts: number, voice?: string,
 * }} Event
 */

/** @typedef {{ exercises: Exercise[], hearing?: Hearing }} Lesson */

/** What can be silenced, and what it is called. */
export const PARTS = { hands: "Hands", feet: "Feet", band: "The band", click: "Click" };

/**
 * All that sounds in an exercise, by place.
 * @param {Exercise} exercise
 */
export function eventsOf({ notes, tones }) {
  /** @type {Event[]} */
  const events = [];
  for (const [rounds, some] of Object.entries(notes))
    for (const [at, note, velocity, part, late = 0, ms = 0, most = 0] of some)
      events.push({
        kind: part === "click" ? "click" : "note", at, note, velocity, part, rounds,
        late: late / 1000, ms: ms / 1000, most, lasts: 0,
      });
  for (const [rounds, some] of Object.entries(tones || {}))
    for (const [at, lasts, note, velocity, voice] of some)
      events.push({
        kind: "tone", at, note, velocity, part: "band", rounds, late: 0, ms: 0, most: 0, lasts,
        voice,
      });
  return events.sort((a, b) => a.at - b.at);
}

/**
 * Whether something sounds in a round, counted from 0.
 * @param {Event} event
 * @param {number} round
 * @param {number} last the last of them
 */
export function soundsIn({ rounds }, round, last) {
  if (rounds === "loop") return true;
  return rounds === "seam" ? round < last : round === 0;
}
