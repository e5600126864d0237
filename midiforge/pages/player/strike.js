// Strikes a percussion instrument: makes its sound of oscillators, noise and filters.

import { OTHER, PERCUSSION } from "./percussion.js";

/**
 * A sound that has begun: its output, when it ends, and how to end it sooner; of a tone also how
 * to let it go at another time.
 * @typedef {{
 *   out: GainNode, end: number, stop: (at?: number) => void, until?: (at: number) => void,
 * }} Voice
 */

const SILENCE = 0.001; // -60 dB

/** @type {Map<number, Record<string, AudioBuffer>>} */
const buffers = new Map();

/**
 * One second each of noise and of a plate's many partials, which closes as a loop because every
 * partial is a whole number of Hz.
 * @param {BaseAudioContext} context
 */
export function buffersOf(context) {
  const rate = context.sampleRate;
  const known = buffers.get(rate);
  if (known) return known;
  let seed = 1;
  const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  /** @param {Float32Array<ArrayBuffer>} values */
  const filled = (values) => {
    const buffer = context.createBuffer(1, values.length, rate);
    buffer.copyToChannel(values, 0);
    return buffer;
  };
  const noise = Float32Array.from({ length: rate }, () => 2 * random() - 1);
  const plate = new Float32Array(rate);
  for (let partial = 0; partial < 36; partial++) {
    const turn = (2 * Math.PI * Math.round(420 * 28 ** ((partial + random()) / 36))) / rate;
    const phase = 7 * random();
    for (let i = 0; i < rate; i++) plate[i] += Math.sin(turn * i + phase);
  }
  const peak = plate.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
  const made = { noise: filled(noise), metal: filled(plate.map((x) => x / peak)) };
  buffers.set(rate, made);
  return made;
}

/**
 * @param {AudioParam} param
 * @param {number} from
 * @param {number | undefined} to
 * @param {number} time
 * @param {number} seconds
 */
function glide(param, from, to, time, seconds) {
  param.setValueAtTime(from, time);
  if (to) param.exponentialRampToValueAtTime(to, time + seconds);
}

/**
 * @param {BaseAudioContext} context
 * @param {OscillatorType | "noise" | "metal"} wave
 * @param {number} time
 */
function sourceOf(context, wave, time) {
  if (wave === "noise" || wave === "metal") {
    const source = context.createBufferSource();
    source.buffer = buffersOf(context)[wave];
    source.loop = true;
    source.start(time, Math.random());
    return { source, pitch: source.playbackRate };
  }
  const source = context.createOscillator();
  source.type = wave;
  source.start(time);
  return { source, pitch: source.frequency };
}

/**
 * One layer of a sound.
 * @param {BaseAudioContext} context
 * @param {AudioNode} out
 * @param {number} time
 * @param {import("./percussion.js").Layer} layer
 * @param {number} force from 0 to 1
 */
function layered(context, out, time, layer, force) {
  const { wave, f = 1, to, d, rise = 0.001, hold = 0, n = 1, every = 0, fade = 1 } = layer;
  const { source, pitch } = sourceOf(context, wave, time);
  const level = context.createGain();
  glide(pitch, f, to, time, layer.glide || 0);
  /** @type {AudioNode} */
  let tail = source;
  if (layer.pass) {
    const filter = context.createBiquadFilter();
    filter.type = layer.pass;
    filter.Q.value = layer.q || 0.7;
    glide(filter.frequency, layer.cut || 0, layer.cutTo, time, d);
    tail = source.connect(filter);
  }
  tail.connect(level).connect(out);
  let peak = layer.g * force ** (1.5 + (layer.snap || 0));
  let end = time;
  level.gain.setValueAtTime(0, time);
  for (let i = 0; i < n; i++, peak *= fade) {
    const start = time + i * every;
    const last = i === n - 1;
    if (i && layer.step) pitch.setValueAtTime(f * layer.step ** i, start);
    end = last ? start + rise + hold + d : start + every;
    level.gain.linearRampToValueAtTime(peak, start + rise);
    level.gain.setValueAtTime(peak, start + rise + hold);
    const left = last ? SILENCE : Math.max(SILENCE, SILENCE ** (every / d));
    level.gain.exponentialRampToValueAtTime(peak * left, end);
  }
  source.stop(end);
  return { source, end };
}

/**
 * Plays a note of General MIDI's percussion at a time.
 * @param {BaseAudioContext} context
 * @param {AudioNode} destination
 * @param {number} time
 * @param {{ note: number, velocity: number }} event
 * @returns {Voice}
 */
export function strike(context, destination, time, { note, velocity }) {
  const out = context.createGain();
  out.connect(destination);
  const layers = (PERCUSSION[note] || OTHER).map((layer) =>
    layered(context, out, time, layer, velocity / 127));
  return {
    out,
    end: Math.max(...layers.map((each) => each.end)),
    stop: (at) => layers.forEach((each) => each.source.stop(at)),
  };
}
