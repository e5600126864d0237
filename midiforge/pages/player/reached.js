// Which tempo of an exercise was reached on which day: said by the student, kept by the browser,
// saved as a file for the teacher.

import { download } from "./download.js";
import { button, make } from "./element.js";
import { keep, kept } from "./kept.js";

/** @typedef {import("./lesson.js").Exercise} Exercise */

/** @param {Exercise} exercise */
export function daysOf({ id, title }) {
  const known = kept.reached[id];
  return known?.title === title ? known.days : {};
}

/**
 * A tempo is reached as of today, or is not after all. Says whether the browser keeps it.
 * @param {Exercise} exercise
 * @param {number} tempo
 */
export function mark(exercise, tempo) {
  const { id, title } = exercise, days = { ...daysOf(exercise) };
  if (days[tempo]) delete days[tempo];
  else days[tempo] = today();
  kept.reached[id] = { title, days };
  return keep();
}

/** The fastest tempo that was reached, and when.
 * @param {Exercise} exercise */
export function fastest(exercise) {
  const days = daysOf(exercise);
  const tempo = Math.max(...Object.keys(days).map(Number));
  return days[tempo] ? { tempo, day: days[tempo] } : null;
}

function today() {
  const now = new Date();
  const two = (/** @type {number} */ number) => `${number}`.padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/**
 * What has been reached on this page, for whoever is sent it.
 * @param {Exercise[]} exercises
 */
function report(exercises) {
  const reached = exercises.flatMap((exercise) => {
    const { numbers, tempos, title } = exercise;
    return Object.entries(daysOf(exercise)).map(([said, day]) => {
      const number = numbers[tempos.indexOf(+said)] || `${parseInt(numbers[0])}`;
      return { exercise: number, title, tempo: +said, day };
    });
  });
  return JSON.stringify({ drill: document.title, saved: today(), reached }, null, 2);
}

/**
 * The button that saves it, below the practice order.
 * @param {Exercise[]} exercises
 * @param {Element} place
 */
export function offer(exercises, place) {
  const save = button("save", "Save what I have reached", () => {
    download(report(exercises), "application/json", "reached.json");
  });
  const note = "A file to send to your teacher. This page keeps it too, in this browser.";
  const lost = "This browser keeps nothing of this page: save it before you leave.";
  place.append(make("p", { className: "saving" }, save, " ", keep() ? note : lost));
}
