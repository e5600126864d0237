// An exercise that plays: begins what is due, round after round, and takes it back when the tempo
// changes. Times are seconds of the audio clock.

import { due, timeOf } from "./clock.js";
import { soundsIn } from "./lesson.js";
import { makers } from "./makers.js";
import { heardAt, latencyOf } from "./mixer.js";
import { CHOKES } from "./percussion.js";
import { settings } from "./settings.js";

/**
 * What can be played. `slower`: how many times, than its first tempo.
 * @typedef {{
 *   exercise: import("./lesson.js").Exercise, events: import("./lesson.js").Event[],
 *   clock: import("./clock.js").Clock, slower: () => number, tempo: () => number,
 *   show: (playing: import("./transport.js").Playing | null) => void,
 *   section: Element, place: Element,
 *   playButton: HTMLButtonElement, previous: HTMLButtonElement, next: HTMLButtonElement,
 * }} Player
 *
 * What is told to whoever looks on.
 * @typedef {{
 *   id: string, kind: string, part: string, note: number, velocity: number, time: number,
 *   at: number,
 * }} Scheduled
 *
 * @typedef {import("./strike.js").Voice & {
 *   event: import("./lesson.js").Event, round: number, time: number, choke: number,
 *   shown: Scheduled,
 * }} Sounding
 */

const EVERY_MS = 25; // between two looks ahead
const AHEAD = 0.35; // s; how far notes are scheduled
const AHEAD_HIDDEN = 4; // browsers look after timers of hidden pages once a second
const LEAD = 0.1; // s from the click to the first sound
const MARGIN = 0.02; // s; what is due sooner is not changed any more
const LATE = 0.05; // s; what is later than that is left out
const REMEMBERED = 4000;

export class Run {
  /**
   * @param {Player} player
   * @param {import("./mixer.js").Mixer} mixer
   * @param {() => void} ended told when the last round is over
   */
  constructor(player, { context, gains }, ended) {
    const { exercise, clock } = player;
    const { countIn } = settings;
    this.player = player;
    this.ended = ended;
    this.context = context;
    this.gains = gains;
    this.id = exercise.id;
    this.events = player.events.filter((event) => countIn || event.rounds !== "countIn");
    this.earliest = Math.min(0, ...this.events.map(({ late, ms }) => late + ms));
    this.latest = Math.max(0, ...this.events.map(({ late, ms }) => late + ms));
    this.begin = countIn ? clock.begin : 0;
    this.start = context.currentTime + LEAD - this.earliest;
    this.pace = { time: this.start, at: this.begin, slower: player.slower() };
    this.before = this.pace;
    this.floor = 0;
    this.round = 0;
    this.last = settings.loop ? Infinity : 0;
    /** @type {Map<number, Set<import("./lesson.js").Event>>} */
    this.done = new Map();
    /** @type {Sounding[]} */
    this.voices = [];
    /** @type {Scheduled[]} */
    this.scheduled = [];
    this.timer = setInterval(() => this.lookAhead(), EVERY_MS);
  }

  /** @param {number} at */
  timeOf(at) {
    return timeOf(this.player.clock, this.pace, at);
  }

  /** @param {number} time */
  placeAt(time) {
    const { clock } = this.player;
    const pace = time < this.pace.time ? this.before : this.pace;
    return clock.place(clock.seconds(pace.at) + (time - pace.time) / pace.slower);
  }

  /** How long after it is due something is heard. */
  latency() {
    return latencyOf(this.context);
  }

  /** Where in the exercise the music is that is heard now. */
  heardPlace() {
    const at = this.placeAt(heardAt(this.context, performance.now()));
    return at - Math.min(this.last, this.player.clock.round(at)) * this.player.exercise.length;
  }

  /** @param {number} round */
  startOf(round) {
    const { entry, length } = this.player.exercise;
    return this.timeOf(round ? entry + round * length : this.begin);
  }

  /**
   * Schedules what is due. Every time comes from the place itself, so that no error adds up; the
   * sets of what is done see to it that nothing comes twice or is forgotten.
   */
  lookAhead() {
    const now = this.context.currentTime;
    const horizon = now + (document.hidden ? AHEAD_HIDDEN : AHEAD);
    while (this.round < this.last && this.startOf(this.round + 1) + this.latest < now - 1)
      this.done.delete(this.round++);
    const soon = [];
    for (let round = this.round; round <= this.last; round++) {
      if (this.startOf(round) + this.earliest > horizon) break;
      const done = this.done.get(round) || new Set();
      this.done.set(round, done);
      for (const event of this.events) {
        if (done.has(event) || !soundsIn(event, round, this.last)) continue;
        const at = event.at + round * this.player.exercise.length;
        const place = this.timeOf(at);
        if (place + this.earliest >= horizon) break; // and so are all that come later
        const room = event.ms && this.timeOf(at + event.most) - place;
        const time = Math.max(due(event, place, room), this.floor);
        if (time >= horizon) continue;
        done.add(event);
        if (time > now - LATE) soon.push({ event, round, at, time });
      }
    }
    for (const each of soon.sort((a, b) => a.time - b.time)) this.sound(each);
    this.voices = this.voices.filter((voice) => voice.end > now);
    this.scheduled.splice(0, this.scheduled.length - REMEMBERED);
    if (this.last < Infinity && now >= this.startOf(this.last + 1) + this.latency()) this.ended();
  }

  /**
   * @typedef {import("./lesson.js").Event} Event
   * @param {{ event: Event, round: number, at: number, time: number }} what
   */
  sound({ event, round, at, time }) {
    const { kind, part, note, velocity, lasts } = event;
    const out = this.gains[event.rounds === "countIn" ? "count-in" : part];
    const seconds = lasts && this.timeOf(at + lasts) - this.timeOf(at);
    const voice = makers[kind](this.context, out, time, event, seconds);
    const choke = (kind === "note" && CHOKES[note]) || 0;
    if (choke)
      for (const other of this.voices)
        if (other.choke === choke && other.time < time)
          other.out.gain.setTargetAtTime(0, time, 0.012);
    const shown = { id: this.id, kind, part, note, velocity, time, at };
    this.voices.push(Object.assign(voice, { event, round, time, choke, shown }));
    this.scheduled.push(shown);
  }

  /**
   * Takes back what has been scheduled from `time` on.
   * @param {number} time
   */
  takeBack(time) {
    const gone = new Set();
    this.voices = this.voices.filter((voice) => {
      voice.out.gain.cancelScheduledValues(time);
      if (voice.time < time) return true;
      voice.stop();
      voice.out.disconnect();
      this.done.get(voice.round)?.delete(voice.event);
      gone.add(voice.shown);
      return false;
    });
    this.scheduled = this.scheduled.filter((each) => !gone.has(each));
  }

  /** From now on at another tempo, or another number of times, from the same place. */
  change() {
    const time = this.context.currentTime + MARGIN;
    const at = this.placeAt(time);
    this.takeBack(time);
    this.before = this.pace;
    this.pace = { time, at, slower: this.player.slower() };
    this.floor = time;
    for (const voice of this.voices) voice.until?.(this.timeOf(voice.shown.at + voice.event.lasts));
    this.last = settings.loop ? Infinity : Math.min(this.last, this.player.clock.round(at));
    this.lookAhead();
  }

  /**
   * Ends what sounds: at once, or so that it may ring.
   * @param {boolean} ring
   */
  end(ring) {
    const now = this.context.currentTime;
    clearInterval(this.timer);
    this.takeBack(now);
    if (ring) return;
    for (const voice of this.voices) {
      voice.out.gain.setTargetAtTime(0, now, 0.015);
      voice.stop(now + 0.15);
    }
  }
}
