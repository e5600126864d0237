// The lesson that is open, and those who are told of each new state of it.

/**
 * @typedef {{ title: string, steps: string[], counts: string[] }} Sticking
 * @typedef {{
 *   digest: string, text: string, values: Record<string, string>, title: string,
 *   pieces: number, exercises: number,
 *   families: { key: string, parts: number, pieces: number[] }[],
 *   unshown: number, remarks: string[], meter: string, fitting: string[],
 *   stickings: Sticking[], hearing: any, error?: import("./api.js").Trouble, overtaken?: true,
 * }} Lesson
 */

/** The name of the drill's file, and what is known of it.
 * @type {{ drill: string, lesson: Lesson | null }} */
export const open = { drill: "", lesson: null };

/** @type {Set<(lesson: Lesson) => void>} */
const lookers = new Set();
/** @type {Set<(troubles: import("./api.js").Trouble[]) => void>} */
const troubled = new Set();
/** Whether something is said to be wrong. */
export const wrong = { is: false };

/**
 * Is told of every new state of the lesson, and of the one there is; and of what is wrong, if
 * anything is.
 * @param {(lesson: Lesson) => void} look
 * @param {(troubles: import("./api.js").Trouble[]) => void} [hear]
 */
export function look(look, hear) {
  lookers.add(look);
  if (hear) troubled.add(hear);
  if (!open.lesson) return;
  look(open.lesson);
  hear?.(open.lesson.error ? [open.lesson.error] : []);
}

/** @param {Lesson} lesson */
export function tellAll(lesson) {
  open.lesson = lesson;
  for (const look of lookers) look(lesson);
}

/**
 * Tells all of a lesson, and what is wrong with it.
 * @param {Lesson} lesson
 */
export function show(lesson) {
  tellAll(lesson);
  say(...(lesson.error ? [lesson.error] : []));
}

/** @param {import("./api.js").Trouble[]} troubles */
export function say(...troubles) {
  wrong.is = troubles.length > 0;
  for (const told of troubled) told(troubles);
}
