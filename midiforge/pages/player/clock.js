// When things are due. Places are quarter notes from an exercise's first downbeat.

/**
 * Between two rows of a table of rising numbers: what column `to` says where `from` has `value`.
 * @param {number[][]} table
 * @param {number} value
 * @param {number} from
 * @param {number} to
 */
function between(table, value, from, to) {
  let i = 1;
  while (i < table.length - 1 && table[i][from] <= value) i++;
  const [before, after] = [table[i - 1], table[i]];
  const share = (value - before[from]) / (after[from] - before[from]);
  return before[to] + share * (after[to] - before[to]);
}

/**
 * An exercise's clock, round after round: seconds by place and places by seconds, at its first
 * tempo. It tells both for some places, and between two of them time goes evenly.
 * @param {import("./lesson.js").Exercise} exercise
 */
export function clockOf({ clock, entry, length }) {
  const start = between(clock, entry, 0, 1);
  const lasts = between(clock, entry + length, 0, 1) - start;
  /** @type {(value: number, begin: number, size: number) => number} */
  const round = (value, begin, size) => Math.max(0, Math.floor((value - begin) / size));
  return {
    begin: clock[0][0],
    /** @param {number} at */
    round: (at) => round(at, entry, length),
    /** @param {number} at */
    seconds(at) {
      const times = round(at, entry, length);
      return between(clock, at - times * length, 0, 1) + times * lasts;
    },
    /** @param {number} seconds */
    place(seconds) {
      const times = round(seconds, start, lasts);
      return between(clock, seconds - times * lasts, 1, 0) + times * length;
    },
  };
}

/** @typedef {ReturnType<typeof clockOf>} Clock */

/**
 * From one audio time on, the clock at some tempo: so many times slower than the exercise's first.
 * @typedef {{ time: number, at: number, slower: number }} Pace
 */

/**
 * The audio time of a place.
 * @param {Clock} clock
 * @param {Pace} pace
 * @param {number} at
 */
export function timeOf(clock, { time, at: from, slower }, at) {
  return time + (clock.seconds(at) - clock.seconds(from)) * slower;
}

/**
 * When an event is due whose place is at `time`: what comes before its place as long before as
 * there is room for, at any tempo, and what comes after it only if there is.
 * @param {import("./lesson.js").Event} event
 * @param {number} time
 * @param {number} room seconds from its place to as far as it reaches
 */
export function due({ late, ms }, time, room) {
  if (ms > 0 && ms > room) return Infinity;
  return time + late + (ms < 0 ? Math.max(ms, room) : ms);
}
