// From one exercise to the next, and the keys of the page.

import { latest, play, run, stop } from "./transport.js";

/** In the order of their numbers, which is that to practise in.
 * @type {import("./run.js").Player[]} */
export const players = [];

/** @param {Element} section */
function isInSight(section) {
  const { top, bottom } = section.getBoundingClientRect();
  return bottom > 0 && top < innerHeight;
}

/** The exercise that plays, or that would: while it is in sight the one whose button was reached
 * by keys, or that played last, else the first on the screen. */
function current() {
  if (run) return run.player;
  const focused = players.find(({ section }) => section.contains(document.activeElement));
  const known = [focused, latest?.player].find((player) => player && isInSight(player.section));
  if (known) return known;
  return players.find(({ section }) => section.getBoundingClientRect().bottom > innerHeight / 4);
}

/** @param {import("./run.js").Player} player */
export function toggle(player) {
  if (run?.player === player) stop();
  else play(player);
}

/**
 * Goes to the exercise so many further, and plays it if something plays.
 * @param {import("./run.js").Player} player
 * @param {number} by
 */
export function go(player, by) {
  const other = players[players.indexOf(player) + by];
  if (!other) return;
  other.section.scrollIntoView();
  other.playButton.focus({ preventScroll: true });
  if (run) play(other);
}

/** The keys that do what the page itself does with them.
 * @type {Record<string, string>} */
const OWN = {
  " ": "button, input, select, textarea, summary, a, dialog *",
  ArrowLeft: "input, select, textarea, dialog *",
  ArrowRight: "input, select, textarea, dialog *",
};

addEventListener("keydown", (event) => {
  if (event.key === "Escape") return stop();
  const { key, target } = event;
  const player = current();
  if (!OWN[key] || !player || event.altKey || event.ctrlKey || event.metaKey) return;
  if (target instanceof Element && target.matches(OWN[key])) return;
  event.preventDefault();
  if (event.repeat) return;
  if (key === " ") toggle(player);
  else go(player, key === "ArrowLeft" ? -1 : 1);
});
