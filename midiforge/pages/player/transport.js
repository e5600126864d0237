// Starts and stops: one exercise of the page plays at a time.

import { stayAwake } from "./awake.js";
import { cautioned } from "./care.js";
import { begin, end, listen } from "./hearing.js";
import { opened, rest, setPart, setVolume } from "./mixer.js";
import { Run } from "./run.js";
import { settings } from "./settings.js";

/** What plays now.
 * @type {Run | null} */
export let run = null;

/** What played last, or plays.
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
  stop();
  cautioned(() => {
    run = latest = new Run(player, opened(), () => stop(true));
    player.show(run);
    stayAwake(true);
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
  else if (name === "strokes") listen(run, place);
  else if (name !== "countIn") setPart(name);
}
