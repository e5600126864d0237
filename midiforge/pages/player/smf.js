// A take as a Standard MIDI File of format 0, as the program's own are: tempo, meter, marks and
// what was played, on the exercise's ticks; it begins on a bar line before the first downbeat.

const DIVISION = 19200; // ticks to a quarter note
const STRUCK_QUARTERS = 1 / 16; // how long a note lasts at most
const NOTE_ON = 0x90, NOTE_OFF = 0x80;

/** Whether a message is a stroke; a note-on of velocity 0 ends a note.
 * @param {Uint8Array} bytes */
export function isStruck(bytes) {
  return (bytes[0] & 0xf0) === NOTE_ON && bytes[2] > 0;
}

/** @param {number} value */
function variable(value) {
  const bytes = [value & 0x7f];
  for (let rest = value >> 7; rest; rest >>= 7) bytes.unshift((rest & 0x7f) | 0x80);
  return bytes;
}

/**
 * @param {number} value
 * @param {number} size
 */
function big(value, size) {
  return Array.from({ length: size }, (_, i) => (value >> (8 * (size - 1 - i))) & 0xff);
}

/**
 * @param {number} kind
 * @param {ArrayLike<number>} content
 */
function meta(kind, content) {
  return [0xff, kind, ...variable(content.length), ...Array.from(content)];
}

/** @param {string} words */
function text(words) {
  return new TextEncoder().encode(words);
}

/**
 * @param {import("./take.js").Take} take
 * @param {Date} played when it began
 * @returns {Uint8Array<ArrayBuffer>}
 */
export function takeFile(take, played) {
  const { exercise, clock, pace, hearing, tempo } = take, { marks } = hearing;
  const [numerator, unit] = exercise.due?.meter || [4, 4];
  const bar = (4 * numerator) / unit;
  const placed = (/** @type {import("./take.js").Stroke} */ { time }) => take.placeAt(time);
  const begin = take.isFromStart ? Math.min(clock.begin, -bar) : take.from;
  const origin = Math.floor(Math.min(begin, ...take.strokes.map(placed)) / bar + 1e-9) * bar;
  const tick = (/** @type {number} */ at) => Math.max(0, Math.round((at - origin) * DIVISION));
  const own = exercise.tempos.indexOf(tempo);
  const near = exercise.tempos.map((each) => Math.abs(each - tempo));
  const number = exercise.numbers[own < 0 ? near.indexOf(Math.min(...near)) : own];
  const title = exercise.due?.title || exercise.title;
  const name = `${title}, ${exercise.said?.[own] || `${tempo} bpm`}`;
  /** @type {[tick: number, bytes: number[]][]} */
  const events = [
    [0, meta(0x03, text(name))],
    [0, meta(0x06, text(`${marks.played}${played.toISOString().slice(0, 19)}+00:00`))],
    [0, meta(0x58, [numerator, Math.log2(unit), 24, 8])],
    [0, meta(0x06, text(marks.exercise + number))],
  ];
  for (const [at, quarter] of tempi(take, origin))
    events.push([tick(at), meta(0x51, big(Math.round(1e6 * quarter * pace.slower), 3))]);
  if (take.isFromStart && own >= 0) events.push([tick(0), meta(0x06, text(marks.start))]);
  const channel = hearing.channel - 1;
  take.strokes.forEach((stroke, j) => {
    const { note, velocity, bytes } = stroke, at = tick(placed(stroke));
    if (bytes && !isStruck(bytes)) {
      events.push([at, [...bytes]]);
      return;
    }
    const on = bytes ? bytes[0] & 0xf : channel;
    const again = take.strokes.slice(j + 1).find((other) => other.note === note);
    const end = Math.min(at + STRUCK_QUARTERS * DIVISION, again ? tick(placed(again)) : Infinity);
    events.push([at, [NOTE_ON | on, note, velocity]], [end, [NOTE_OFF | on, note, 64]]);
  });
  const isEnd = (/** @type {number[]} */ [kind]) => +((kind & 0xf0) === NOTE_OFF);
  events.sort((a, b) => a[0] - b[0] || isEnd(b[1]) - isEnd(a[1]));
  let last = 0;
  const track = events.flatMap(([at, bytes]) => {
    const wait = variable(at - last);
    last = at;
    return [...wait, ...bytes];
  });
  track.push(...variable(DIVISION), ...meta(0x2f, []));
  return Uint8Array.from([
    ...text("MThd"), ...big(6, 4), ...big(0, 2), ...big(1, 2), ...big(DIVISION, 2),
    ...text("MTrk"), ...big(track.length, 4), ...track,
  ]);
}

/**
 * From which places on a quarter note lasts how many seconds, at the exercise's first tempo.
 * @param {import("./take.js").Take} take
 * @param {number} origin
 */
function tempi(take, origin) {
  const { entry, length, clock } = take.exercise, { seconds } = take.clock;
  const end = Math.max(take.from, ...take.strokes.map(({ time }) => take.placeAt(time)));
  /** @type {[place: number, quarter: number][]} */
  const changes = [];
  for (let round = 0; entry + round * length <= end || !round; round++)
    for (const [i, [at]] of clock.slice(0, -1).entries()) {
      if (round && at < entry) continue;
      const place = at + round * length, next = clock[i + 1][0] + round * length;
      const quarter = (seconds(next) - seconds(place)) / (next - place);
      const isNew = Math.abs(quarter / (changes.at(-1)?.[1] || 1) - 1) > 1e-6;
      if (!changes.length) changes.push([origin, quarter]);
      else if (isNew) changes.push([place, quarter]);
    }
  return changes;
}
