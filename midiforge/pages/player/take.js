// What a student played while an exercise ran at one tempo, and what was due meanwhile. Times are
// seconds of the audio clock, as they are heard, and the delay of what was played is taken off.

import { timeOf } from "./clock.js";
import { paired } from "./pairing.js";

/**
 * `bytes`: the message, if it was one of MIDI. `pad`: "" if the kit has none of its note, or it is
 * another message.
 * @typedef {{
 *   time: number, note: number, pad: string, velocity: number, bytes?: Uint8Array,
 * }} Stroke
 *
 * A stroke that was due: `off` ms from there, undefined if it was missed.
 * @typedef {import("./pairing.js").Due & {
 *   round: number, row: import("./lesson.js").DueRow, off?: number,
 * }} Asked
 *
 * @typedef {{
 *   round: number, isWhole: boolean, asked: Asked[], states: Map<Asked, string>, extra: number,
 *   heard: number, quarter: number,
 * }} Judged
 */

const DUE_AHEAD = 0.4; // s; what is due so soon may have a stroke already
const AFTERWARDS = 0.15; // s that a round is over before it is judged
const LEAST_BEFORE = 0.13; // s; grace notes of the first due may be in it
const SLOWEST_WINDOW = 1.5; // times as wide as at the exercise's own tempo, at most

export class Take {
  /**
   * @param {import("./run.js").Run} run
   * @param {import("./lesson.js").Hearing} hearing
   * @param {number} from the place at which it begins
   */
  constructor(run, hearing, from) {
    const { exercise, clock } = run.player;
    this.run = run;
    this.hearing = hearing;
    this.exercise = exercise;
    this.clock = clock;
    this.pace = run.pace;
    this.tempo = run.player.tempo();
    this.from = from;
    this.isFromStart = from <= 0;
    this.rows = exercise.due?.strokes || [];
    this.round = clock.round(from);
    this.judgedTo = this.round;
    this.index = 0;
    /** @type {Asked[]} */
    this.asked = [];
    /** @type {Stroke[]} */
    this.strokes = [];
  }

  /** @param {number} at */
  timeOf(at) {
    return timeOf(this.clock, this.pace, at);
  }

  /** @param {number} time */
  placeAt(time) {
    const { at, slower } = this.pace;
    return this.clock.place(this.clock.seconds(at) + (time - this.pace.time) / slower);
  }

  /** @param {Stroke} stroke */
  add(stroke) {
    let i = this.strokes.length;
    while (i && this.strokes[i - 1].time > stroke.time) i--;
    this.strokes.splice(i, 0, stroke);
  }

  /** What a limb strikes at a time: what is nearest of what it is due to strike.
   * @param {string} limb
   * @param {number} time */
  rowOf(limb, time) {
    const { entry, length } = this.exercise;
    const place = this.placeAt(time), round = this.clock.round(place);
    const at = place - round * length;
    const apart = (/** @type {import("./lesson.js").DueRow} */ [due]) => {
      const away = Math.abs(due - at);
      return due < entry ? away : Math.min(away, Math.abs(length - away));
    };
    return this.rows.filter((row) => row[3].split("+").includes(limb))
      .sort((a, b) => apart(a) - apart(b))[0];
  }

  /** Takes up what is due until now.
   * @param {number} now */
  advance(now) {
    const { entry, length } = this.exercise;
    while (this.round <= this.run.last && this.rows.length) {
      const row = this.rows[this.index], at = row[0] + this.round * length;
      const time = this.timeOf(at), isOfIt = at >= this.from && (!this.round || row[0] >= entry);
      if (time > now + DUE_AHEAD) return;
      const { ornaments } = row[7] || {};
      const due = { time, pad: row[2], grid: 0, ornaments, round: this.round, row };
      if (isOfIt) this.asked.push(due);
      this.index = (this.index + 1) % this.rows.length;
      if (!this.index) this.round++;
    }
  }

  /** @param {number} round */
  endOf(round) {
    return this.timeOf(this.exercise.entry + (round + 1) * this.exercise.length);
  }

  /** The next round that is over, judged; null if none is.
   * @param {number} now */
  over(now) {
    if (this.judgedTo > this.run.last || now < this.endOf(this.judgedTo) + AFTERWARDS) return null;
    return this.judge(this.judgedTo++, true);
  }

  /** What was played of the round that is not over yet. */
  broken() {
    return this.judge(this.judgedTo, false);
  }

  /**
   * @param {number} round
   * @param {boolean} isWhole
   * @returns {Judged}
   */
  judge(round, isWhole) {
    const { window: within, companion, grace, graces, step } = this.exercise.due || NOTHING_DUE;
    const { entry, length } = this.exercise, { slower } = this.pace;
    const start = this.timeOf(round ? entry + round * length : this.run.begin);
    const quarter = (this.endOf(round) - this.timeOf(entry + round * length)) / length;
    const rule = {
      within: within * Math.min(slower, SLOWEST_WINDOW), companion, grace, graces, slower,
      step: step * quarter, limits: this.hearing.limits,
    };
    const dues = this.asked.filter((due) => due.round >= round - 1);
    for (const due of dues) due.grid = (due.row[7]?.grid || step) * quarter;
    const since = (dues[0]?.time || start) - Math.max(rule.within, LEAST_BEFORE);
    const strokes = this.strokes.filter(({ time, pad }) => pad && time >= since);
    const last = (strokes.at(-1)?.time || 0) + rule.within;
    const { met, kinds } = paired(dues, strokes, rule);
    /** @type {Judged} */
    const judged = {
      round, isWhole, asked: [], states: new Map(), extra: 0, heard: 0, quarter,
    };
    dues.forEach((due, i) => {
      const j = met.get(i), isAsked = !due.row[7]?.call && (isWhole || due.time <= last);
      if (due.round !== round || (j === undefined && !isAsked)) return;
      due.off = j === undefined ? undefined : 1000 * (strokes[j].time - due.time);
      judged.asked.push(due);
      judged.states.set(due, this.stateOf(due, 1000 * rule.step));
    });
    const [begin, end] = [start, this.endOf(round)].map((time) => time - rule.step / 2);
    strokes.forEach(({ time }, j) => {
      if (time < begin || time >= end) return;
      judged.heard++;
      if (kinds.get(j) === "extra") judged.extra++;
    });
    return judged;
  }

  /**
   * @param {Asked} due
   * @param {number} stepMs
   */
  stateOf({ off, row }, stepMs) {
    const { near, steady } = this.hearing;
    const within = Math.max(steady * stepMs, ...row[3].split("+").map((limb) => near[limb]));
    if (off === undefined) return "missed";
    if (Math.abs(off) <= within) return "in time";
    return off < 0 ? "early" : "late";
  }
}

const NOTHING_DUE = { window: 0, companion: 0, grace: 0, graces: {}, step: 1 };
