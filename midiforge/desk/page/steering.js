// What is asked of the live engine, as the controls on the page have it; and the way back.

import { PARTS } from "../../pages/player/lesson.js";
import { settings } from "../../pages/player/settings.js";

import { open } from "./lesson.js";
import { say } from "./live.js";
import { OWN_PORT } from "./ports.js";
import { band, pads, sound, timesWanted, wanted } from "./sound.js";

/** @typedef {import("../../pages/player/run.js").Player} Player */

/**
 * Plays an exercise, and those that follow it.
 * @param {Player} player
 * @param {number} id by which what is told of it is known
 * @param {boolean} [over] whether what another page plays ends for it
 */
export function begin(player, id, over = false) {
  const [number, tempo] = numberOf(player), virtual = sound.value === OWN_PORT;
  say({ do: "play", id, over, drill: open.drill, number, tempo, virtual,
    port: virtual ? "" : sound.value, band: band.value, input: pads.value,
    times: timesWanted(), muted: silenced(), clock: wanted.clock });
}

/**
 * The number of what a player would play, and its tempo where that is another than written.
 * @param {Player} player
 * @returns {[number: string, tempo: number | null]}
 */
export function numberOf({ exercise: { numbers, tempos }, tempo }) {
  const near = tempos.reduce((best, one, i) =>
    Math.abs(one - tempo()) < Math.abs(tempos[best] - tempo()) ? i : best, 0);
  return [numbers[near], tempos[near] === tempo() ? null : tempo()];
}

/**
 * The tempo at a player's controls becomes the one that is played.
 * @param {Player} player
 * @param {import("./bars.js").Bar} bar
 */
export function setTempo({ exercise: { numbers, tempos }, place, tempo }, bar) {
  const wanted = tempos[numbers.indexOf(bar.exercise)] + Number(bar.tempo) - Number(bar.written);
  const field = /** @type {HTMLInputElement | null} */ (place.querySelector(".player-tempo"));
  if (!field || !isFinite(wanted) || wanted === tempo()) return;
  field.value = `${wanted}`;
  field.dispatchEvent(new Event("input"));
}

export function silenced() {
  return Object.keys(PARTS).filter((part) => !settings[part]);
}

/**
 * Where what plays is, in words.
 * @param {import("./bars.js").Bar} bar
 * @param {string} port
 * @param {boolean} isNow whether it is of the lesson as it is on the page
 */
export function whereIn(bar, port, isNow) {
  const where = bar.number < 0 ? "count-in" : `bar ${bar.number + 1} of ${bar.of}`;
  const times = bar.times ? ` of ${bar.times}` : "";
  return `Through ${port}: ${bar.exercise} at ${bar.tempo}, ${where}, time ${bar.time}${times}.`
    + (isNow ? "" : " What you changed comes with the next round.");
}
