// A session's sound where it comes from this browser: what the engine sends, each message the same
// time later, so that none comes too late.

import "../../pages/player/tones.js";
import { makers } from "../../pages/player/makers.js";
import { heardAt, latencyOf, opened, rest } from "../../pages/player/mixer.js";
import { CHOKES } from "../../pages/player/percussion.js";
import { clock } from "./live.js";

/** @typedef {import("../../pages/player/strike.js").Voice} Voice */
/** A MIDI message, and when it was sent on the engine's clock, in ms.
 * @typedef {[at: number, status: number, data1: number, data2: number]} Sent */

const AHEAD_MS = 160; // for the way here, and for a page that draws
/** Seconds after which a stroke is left out: where a page was held up, all would sound at once. */
const TOO_LATE = 0.25;
const PERCUSSION = 9;
const HELD = 30; // seconds of a tone that nobody ends
const BASSES = [32, 40]; // General MIDI's programs, from 0

export class Sounding {
  constructor() {
    this.mixer = opened();
    /** How much later than it is sent something is heard, in ms. */
    this.later = Math.round(AHEAD_MS + 1000 * latencyOf(this.mixer.context));
    /** How many came so late that they were heard later still. */
    this.late = 0;
    /** @type {Map<string | number, Voice>} what is held, or what another would end */
    this.held = new Map();
    /** @type {Map<number, number>} */
    this.programs = new Map();
  }

  /** @param {Sent} sent */
  sound([at, status, data1, data2 = 0]) {
    const { context, gains } = this.mixer, channel = status & 15, kind = status >> 4;
    const stamp = performance.now() + at - clock();
    const wanted = heardAt(context, stamp) + this.later / 1000;
    const time = Math.max(wanted, context.currentTime);
    if (time > wanted) this.late++;
    const begins = kind === 9 && data2 > 0 && time - wanted < TOO_LATE;
    if (kind === 12) this.programs.set(channel, data1);
    else if (kind === 11 && data1 >= 120) this.silence(time);
    else if (channel === PERCUSSION) {
      if (begins) this.strike(time, data1, data2);
    } else if (kind === 8 || kind === 9) {
      const name = `${channel} ${data1}`;
      this.held.get(name)?.until?.(time);
      this.held.delete(name);
      if (!begins) return;
      const program = this.programs.get(channel) ?? 0;
      const voice = program >= BASSES[0] && program < BASSES[1] ? "bass" : "comp";
      const event = { note: data1, velocity: data2, voice };
      this.held.set(name, makers.tone(context, gains["count-in"], time, event, HELD));
    }
  }

  /**
   * @param {number} time
   * @param {number} note
   * @param {number} velocity
   */
  strike(time, note, velocity) {
    const { context, gains } = this.mixer, set = CHOKES[note];
    const struck = makers.note(context, gains["count-in"], time, { note, velocity }, 0);
    if (!set) return;
    this.held.get(set)?.out.gain.setTargetAtTime(0, time, 0.012);
    this.held.set(set, struck);
  }

  /** @param {number} time */
  silence(time) {
    for (const { out, stop } of this.held.values()) {
      out.gain.setTargetAtTime(0, time, 0.015);
      stop(time + 0.15);
    }
    this.held.clear();
  }

  end() {
    this.silence(this.mixer.context.currentTime);
    rest();
  }
}
