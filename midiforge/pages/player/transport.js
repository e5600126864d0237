// Starts and stops: one exercise of the page plays at a time.

import { stayAwake } from "./awake.js";
import { cautioned } from "./care.js";
import { begin, end, listen } from "./hearing.js";
import { opened, rest, setPart, setVolume } from "./mixer.js";
import { Run } from "./run.js";
import { settings } from "./settings.js";

/**
 * What plays an exercise: sound of this page, or something else that can be followed and changed.
 * `change`: the tempo, or how often it goes round, is another; `heard`: what is heard; `goTo`: goes
 * on to another exercise without an end, if it can; `lost`: plays on without its place on the page.
 * @typedef {{
 *   player: import("./run.js").Player, heardPlace: () => number, change: () => void,
 *   end: (ring: boolean) => void, heard?: () => void, lost?: () => void,
 *   goTo?: (player: import("./run.js").Player) => boolean,
 * }} Playing
 */

/** What plays now.
 * @type {Playing | null} */
export let run = null;

/** Plays instead of the sound of this page, if it gives something.
 * @type {(player: import("./run.js").Player, ended: () => void) => Playing | null} */
let instead = () => null;

/** @param {typeof instead} other */
export function playInstead(other) {
  instead = other;
}

/** What sounded last from this page, or does.
 * @type {Run | null} */
export let latest = null;

/** @param {boolean} [ring] whether what sounds may ring on */
export function stop(ring = false) {
  if (!run) return;
  run.end(ring);
  end();
  run.player.show(null);
  run = null;
  stayAwake(false);
  rest();
}

/** @param {import("./run.js").Player} player */
export function play(player) {
  if (run?.goTo?.(player)) return;
  stop();
  cautioned(() => {
    run = instead(player, () => stop(true));
    if (!run) run = latest = new Run(player, opened(), () => stop(true));
    player.show(run);
    stayAwake(true);
    if (!(run instanceof Run)) return;
    run.lookAhead();
    begin(run);
  });
}

/**
 * @param {string} name
 * @param {boolean | number} value
 * @param {Element} place the controls it is set at
 */
export function set(name, value, place) {
  settings[name] = value;
  if (name === "volume") setVolume();
  else if (name === "loop") run?.change();
  else if (name === "strokes") listen(run instanceof Run ? run : null, place);
  else if (name !== "countIn") {
    setPart(name);
    run?.heard?.();
  }
}
