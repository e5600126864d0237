// What all sounds go through on their way out: the switches of parts, then one output.

import { PARTS } from "./lesson.js";
import { settings } from "./settings.js";
import { buffersOf } from "./strike.js";

const LOUDEST = 0.8;
const REST_MS = 5000; // of silence, before the audio clock is halted
let resting = 0;

/**
 * The output, so that no sum of sounds is louder than the volume allows: a compressor, a curve that
 * nothing gets past, and the volume.
 * @param {BaseAudioContext} context
 */
export function outputOf(context) {
  const input = context.createDynamicsCompressor();
  const ceiling = context.createWaveShaper();
  const volume = context.createGain();
  input.threshold.value = -14;
  input.knee.value = 12;
  input.ratio.value = 8;
  input.attack.value = 0.002;
  input.release.value = 0.12;
  ceiling.curve = Float32Array.from({ length: 1025 }, (_, i) => Math.tanh((i - 512) / 384));
  input.connect(ceiling).connect(volume).connect(context.destination);
  return { input, volume };
}

function made() {
  const context = new AudioContext();
  const { input, volume } = outputOf(context);
  /** @type {Record<string, GainNode>} */
  const gains = {};
  for (const part of [...Object.keys(PARTS), "count-in"]) {
    gains[part] = context.createGain();
    gains[part].gain.value = settings[part] === false ? 0 : 1;
    gains[part].connect(input);
  }
  buffersOf(context);
  return { context, gains, volume };
}

/** @typedef {ReturnType<typeof made>} Mixer */

/** @type {Mixer | null} */
export let mixer = null;

/** The mixer with its clock running. */
export function opened() {
  clearTimeout(resting);
  if (!mixer) {
    mixer = made();
    setVolume();
  }
  mixer.context.resume();
  return mixer;
}

/** How long after it is due something is heard, in seconds.
 * @param {AudioContext} context */
export function latencyOf({ outputLatency, baseLatency }) {
  return outputLatency || baseLatency || 0;
}

/**
 * The audio time that is heard at a moment.
 * @param {AudioContext} context
 * @param {number} stamp the moment as events have it, in ms
 */
export function heardAt(context, stamp) {
  const { contextTime = 0, performanceTime = 0 } = context.getOutputTimestamp?.() || {};
  if (performanceTime) return contextTime + (stamp - performanceTime) / 1000;
  return context.currentTime - latencyOf(context) + (stamp - performance.now()) / 1000;
}

/** Halts the audio clock, unless something is played soon. */
export function rest() {
  resting = setTimeout(() => mixer?.context.suspend(), REST_MS);
}

/** @param {string} part */
export function setPart(part) {
  mixer?.gains[part].gain.setTargetAtTime(+settings[part], mixer.context.currentTime, 0.004);
}

export function setVolume() {
  mixer?.volume.gain.setTargetAtTime(
    LOUDEST * (+settings.volume / 100) ** 2, mixer.context.currentTime, 0.01,
  );
}
