// The sounds of the band's bass and chords.

import { makers } from "./makers.js";

/**
 * A wave of partials (levels, from the fundamental) that rises in `rise` s and falls towards `held`
 * of its level, by a half in about `half` s (an octave higher in 0.7 of that); a low-pass filter
 * closes from `open` to `shut` times the pitch meanwhile, and within `least` Hz. `g` is its level
 * at the hardest; when let go it is gone in five times `let` s.
 * @typedef {{
 *   partials: number[], open: number, shut: number, least: number, rise: number, half: number,
 *   held: number, g: number, let: number,
 * }} Timbre
 */

/** @type {Record<string, Timbre>} */
const TIMBRES = {
  bass: {
    partials: [1, 0.5, 0.28, 0.14, 0.09, 0.05], open: 14, shut: 5, least: 300,
    rise: 0.008, half: 0.5, held: 0.3, g: 0.12, let: 0.03,
  },
  comp: {
    partials: [1, 0.36, 0.16, 0.09, 0.03, 0.02], open: 9, shut: 3, least: 700,
    rise: 0.005, half: 0.35, held: 0.12, g: 0.07, let: 0.05,
  },
};

/** @type {WeakMap<BaseAudioContext, Map<Timbre, PeriodicWave>>} */
const waves = new WeakMap();

/**
 * @param {BaseAudioContext} context
 * @param {Timbre} timbre
 */
function waveOf(context, timbre) {
  const known = waves.get(context) || new Map();
  waves.set(context, known);
  if (!known.has(timbre)) {
    const { partials } = timbre;
    known.set(timbre, context.createPeriodicWave(
      new Float32Array(partials.length + 1),
      Float32Array.from([0, ...partials]),
      { disableNormalization: true },
    ));
  }
  return known.get(timbre);
}

makers.tone = (context, destination, time, { voice = "", note, velocity }, seconds) => {
  const timbre = TIMBRES[voice] || TIMBRES.comp;
  const { open, shut, least, rise, half, held, g, let: gone } = timbre;
  const pitch = 440 * 2 ** ((note - 69) / 12);
  const falls = (half / Math.LN2) * 0.7 ** ((note - 60) / 12);
  const source = context.createOscillator();
  const filter = context.createBiquadFilter();
  const level = context.createGain();
  const hand = context.createGain();
  const out = context.createGain();
  source.setPeriodicWave(waveOf(context, timbre));
  source.frequency.value = pitch;
  filter.type = "lowpass";
  filter.frequency.setValueAtTime(Math.max(open * pitch, least), time);
  filter.frequency.setTargetAtTime(Math.max(shut * pitch, least), time, falls / 2);
  const peak = g * (velocity / 127) ** 1.5;
  level.gain.setValueAtTime(0, time);
  level.gain.linearRampToValueAtTime(peak, time + rise);
  level.gain.setTargetAtTime(peak * held, time + rise, falls);
  source.connect(filter).connect(level).connect(hand).connect(out).connect(destination);
  source.start(time);
  /** @param {number} at */
  const letGo = (at) => {
    hand.gain.setTargetAtTime(0, at, gone);
    source.stop(at + 10 * gone);
    return at + 10 * gone;
  };
  let until = time + seconds;
  return {
    out,
    end: letGo(until),
    stop: (at) => source.stop(at),
    until(at) {
      const now = context.currentTime;
      if (until <= now) return; // let go already
      until = Math.max(at, now);
      hand.gain.cancelScheduledValues(now);
      this.end = letGo(until);
    },
  };
};
