// The player of a lesson's page, with sounds made by Web Audio.
//
// What sounds, and when, is in the page; nothing is added here. window.lessonPlayer shows what goes
// on.

import { build } from "./controls.js";
import { prepare } from "./hearing.js";
import { makers } from "./makers.js";
import { mixer, outputOf } from "./mixer.js";
import { offer } from "./reached.js";
import { Run } from "./run.js";
import { latest, run, stop } from "./transport.js";
import { players } from "./way.js";

function start() {
  const source = document.getElementById("lesson-sound");
  /** @type {import("./lesson.js").Lesson} */
  const { exercises, hearing } = JSON.parse(source?.textContent || '{ "exercises": [] }');
  if (hearing) prepare(hearing);
  for (const exercise of exercises) {
    const section = document.getElementById(exercise.id);
    const place = section?.querySelector(".player");
    if (!section || !place) continue;
    if (window.AudioContext) players.push(build(exercise, section, place));
    else place.textContent = "This browser cannot play the exercise, as it has no Web Audio.";
  }
  const orderOf = (/** @type {import("./run.js").Player} */ { exercise }) =>
    parseInt(exercise.numbers[0]);
  players.sort((a, b) => orderOf(a) - orderOf(b));
  players[0]?.previous.setAttribute("disabled", "");
  players.at(-1)?.next.setAttribute("disabled", "");
  const order = document.querySelector(".order");
  if (order && players.length) offer(exercises, order);
}

Object.assign(window, {
  lessonPlayer: {
    get playing() { return run && run.player.exercise.id; },
    get scheduled() { return latest ? latest.scheduled : []; },
    get startTime() { return run instanceof Run ? run.start : null; },
    get tempo() { return run && run.player.tempo(); },
    get context() { return mixer && mixer.context; },
    get gains() { return mixer && mixer.gains; },
    makers,
    outputOf,
  },
});
addEventListener("pagehide", () => stop());
document.addEventListener("visibilitychange", () => {
  if (run instanceof Run) run.lookAhead();
});
if (document.readyState === "loading") addEventListener("DOMContentLoaded", start);
else start();
