// Strokes and what is due, paired by the rule of hear/pairing.py: pad by pad, first without those
// that go with a louder one; then a stroke that is nearer to another place is not its due's, and
// what is left over is said to be an ornament, a second trigger, or extra. Times are seconds.

import { match } from "./match.js";

/**
 * Something due. `ornaments`: the pad of its grace notes and how many, or of its bounces and 0.
 * `grid`: in seconds, of its line.
 * @typedef {{ time: number, pad: string, grid: number, ornaments?: [string, number][] }} Due
 * @typedef {{ time: number, pad: string, velocity: number }} Struck
 *
 * How far a stroke may be from where it is due, how far it may be from a louder one that it goes
 * with, on its pad and as a grace note on another of `graces`, and how wide a grid step is;
 * `slower`: seconds of the take to a second of the exercise.
 * @typedef {{
 *   within: number, companion: number, grace: number, step: number, slower: number,
 *   graces: Record<string, string[]>, limits: Limits,
 * }} Rule
 *
 * The limits of hear/pads.py and hear/kinds.py, which the page is told.
 * @typedef {Record<
 *   "softer" | "graceMs" | "buzzMs" | "doubleMs" | "doubleSofter" | "beaterMs" | "beaterSofter"
 *   | "crosstalkMs" | "crosstalkSofter" | "nextPlace" | "leastPulledMs", number
 * > & { feet: string[] }} Limits
 */

/**
 * What became of each: the stroke of each due that has one, and what the others are, all by index.
 * @param {Due[]} dues in order of time
 * @param {Struck[]} strokes in order of time
 * @param {Rule} rule
 * @param {Due[]} [coming] what is due behind the end, whose grace notes may have been played
 */
export function paired(dues, strokes, rule, coming = []) {
  const aside = new Set([...companions(strokes, rule), ...graceNotes(strokes, rule)]);
  const heard = strokes.map((_, j) => j);
  /** @type {Map<number, number>} */
  const met = new Map();
  for (const some of [heard.filter((j) => !aside.has(j)), [...aside].sort((a, b) => a - b)])
    join(met, dues, strokes, some, rule.within);
  const kinds = explained(dues, strokes, met, rule, coming);
  const pulled = [...met].filter(([i, j]) => isAtNext(dues, i, strokes[j].time, rule));
  for (const [i] of pulled) met.delete(i);
  const free = heard.filter((j) => kinds.get(j) === "extra");
  const before = new Set(pulled.map(([i]) => i));
  join(met, dues, strokes, free, rule.limits.leastPulledMs / 1000, before);
  for (const j of met.values()) kinds.delete(j);
  for (const [, j] of pulled) kinds.set(j, "extra");
  return { met, kinds };
}

/**
 * Pairs what has none yet, pad by pad.
 * @param {Map<number, number>} met
 * @param {Due[]} dues
 * @param {Struck[]} strokes
 * @param {number[]} some of the strokes
 * @param {number} within
 * @param {Set<number>} [not] dues that are left alone
 */
function join(met, dues, strokes, some, within, not = new Set()) {
  const left = dues.map((_, i) => i).filter((i) => !met.has(i) && !not.has(i));
  for (const pad of new Set(left.map((i) => dues[i].pad))) {
    const mine = left.filter((i) => dues[i].pad === pad);
    const came = some.filter((j) => strokes[j].pad === pad);
    const times = came.map((j) => strokes[j].time);
    for (const [i, j] of match(mine.map((i) => dues[i].time), times, within))
      met.set(mine[i], came[j]);
  }
}

/**
 * Strokes that go with a louder one of their pad: `companions` of hear/pads.py.
 * @param {Struck[]} strokes
 * @param {Rule} rule
 */
function companions(strokes, { companion, limits: { softer } }) {
  /** @type {Set<number>} */
  const aside = new Set();
  for (const pad of new Set(strokes.map((stroke) => stroke.pad))) {
    const mine = strokes.map((_, j) => j).filter((j) => strokes[j].pad === pad);
    let last = -1, loud = 0;
    mine.forEach((j, n) => {
      const { time, velocity } = strokes[j];
      if (time - last <= companion && velocity <= softer * loud) {
        aside.add(j);
        last = time;
        return;
      }
      const near = mine.slice(n + 1, n + 5).map((other) => strokes[other]);
      const far = near.findIndex((other) => other.time - time > companion);
      const louder = (/** @type {Struck} */ other) => velocity <= softer * other.velocity;
      if (near.slice(0, far < 0 ? 4 : far).some(louder)) aside.add(j);
      else [last, loud] = [time, velocity];
    });
  }
  return aside;
}

/**
 * Strokes so shortly before a louder one that they may be its grace notes, on another pad.
 * @param {Struck[]} strokes
 * @param {Rule} rule
 */
function graceNotes(strokes, { grace, graces, limits: { softer } }) {
  return strokes.flatMap(({ time, pad, velocity }, j) => {
    const own = graces[pad] || [];
    const before = strokes.slice(Math.max(j - 64, 0), j).map((other, n) => ({ ...other, n }));
    return before
      .filter((other) => own.includes(other.pad) && time - other.time <= grace
        && other.velocity <= softer * velocity)
      .map(({ n }) => Math.max(j - 64, 0) + n);
  });
}

/**
 * What strokes are that met nothing due: `explain` of hear/pads.py.
 * @param {Due[]} dues
 * @param {Struck[]} strokes
 * @param {Map<number, number>} met
 * @param {Rule} rule
 * @param {Due[]} coming
 */
function explained(dues, strokes, met, rule, coming) {
  /** @type {Map<number, string>} */
  const kinds = new Map();
  const taken = new Set(met.values());
  const wider = Math.max(rule.slower, 1) / 1000;
  const { graceMs, buzzMs, doubleMs } = rule.limits;
  /** @type {(due: Due, time: number, padStruck: string) => void} */
  const ornaments = (due, time, padStruck) => {
    for (const [pad, many] of due.ornaments || []) {
      let last = time;
      if (many) {
        // Of a flat flam the grace note may come after its stroke.
        const near = strokes.flatMap((other, j) =>
          other.pad === pad && other.time >= time - graceMs * wider
          && other.time <= time + doubleMs / 1000 && !taken.has(j) && !kinds.has(j) ? [j] : []);
        const before = near.filter((j) => strokes[j].time < time).length;
        const begin = Math.max(before - many, 0);
        for (const j of near.slice(begin, begin + many)) kinds.set(j, "grace");
      } else
        for (const [j, other] of strokes.entries()) {
          if (other.pad !== padStruck || other.time <= time) continue;
          if (taken.has(j) || other.time - last > buzzMs * wider) break;
          kinds.set(j, "bounce");
          last = other.time;
        }
    }
  };
  const inOrder = [...met].sort(([, a], [, b]) => a - b);
  for (const [i, j] of inOrder) ornaments(dues[i], strokes[j].time, strokes[j].pad);
  for (const due of coming) ornaments(due, due.time, due.pad);
  strokes.forEach((_, j) => {
    if (!taken.has(j) && !kinds.has(j)) kinds.set(j, besides(strokes, j, rule.limits));
  });
  return kinds;
}

/**
 * @param {Struck[]} strokes
 * @param {number} j
 * @param {Limits} limits
 */
function besides(strokes, j, limits) {
  const { time, pad, velocity } = strokes[j];
  for (const [k, other] of strokes.entries()) {
    const apart = 1000 * (time - other.time), louder = velocity / other.velocity;
    if (k === j) continue;
    if (other.pad !== pad) {
      if (Math.abs(apart) <= limits.crosstalkMs && louder <= limits.crosstalkSofter)
        return "crosstalk";
    } else if (apart >= 0) {
      const most = limits.feet.includes(pad) ? limits.beaterMs : limits.doubleMs;
      if (apart <= limits.doubleMs && louder <= limits.doubleSofter) return "double trigger";
      if (apart <= most && louder <= limits.beaterSofter) return "double trigger";
    }
  }
  return "extra";
}

/**
 * Whether a stroke is nearer to another place than to its due: `is_at_next` of hear/kinds.py.
 * @param {Due[]} dues
 * @param {number} i
 * @param {number} struck
 * @param {Rule} rule
 */
function isAtNext(dues, i, struck, { step, limits: { nextPlace, leastPulledMs } }) {
  const { time, grid } = dues[i], off = struck - time, least = leastPulledMs / 1000;
  if (Math.abs(off) < least) return false;
  const apart = dues.map((due) => Math.sign(off) * (due.time - time));
  const next = Math.min(grid, step, ...apart.filter((way) => way > least));
  return Math.abs(off) > nextPlace * next;
}
