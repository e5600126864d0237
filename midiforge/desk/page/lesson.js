// The lesson that is open: what the server told of it, and how it is changed.
//
// What is typed is sent at once, and what is typed meanwhile with the next request. The file on the
// disk always has the last state that a lesson comes of.

import { get, post, Wrong } from "./api.js";
import { forgetHistory, remember, taken } from "./undone.js";
import { notice } from "./news.js";

/**
 * @typedef {{ number: number, title: string, tempos: number }} Piece
 * @typedef {{ title: string, steps: string[], counts: string[] }} Sticking
 * @typedef {{
 *   digest: string, text: string, values: Record<string, string>, title: string,
 *   pieces: Piece[], exercises: number,
 *   families: { key: string, parts: number, pieces: number[] }[],
 *   unshown: number, remarks: string[], meter: string, fitting: string[],
 *   stickings: Sticking[], hearing: any, error?: import("./api.js").Trouble,
 * }} Lesson
 */

/** The name of the drill's file, and what is known of it.
 * @type {{ drill: string, lesson: Lesson | null }} */
export const open = { drill: "", lesson: null };

/** What was typed and is not in the file: by key, or a whole sticking or text.
 * @type {Record<string, string>} */
export const unsaved = {};

/** @type {Set<(lesson: Lesson) => void>} */
const lookers = new Set();
/** @type {Set<(trouble: import("./api.js").Trouble | null) => void>} */
const troubled = new Set();
let busy = false;
/** Other changes that wait for their turn.
 * @type {(() => Promise<Lesson>)[]} */
const waiting = [];

/**
 * Is told of every new state of the lesson, and of the one there is.
 * @param {(lesson: Lesson) => void} look
 * @param {(trouble: import("./api.js").Trouble | null) => void} [wrong]
 */
export function look(look, wrong) {
  lookers.add(look);
  if (wrong) troubled.add(wrong);
  if (!open.lesson) return;
  look(open.lesson);
  wrong?.(open.lesson.error || null);
}

/** @param {Lesson} lesson */
function show(lesson) {
  open.lesson = lesson;
  for (const look of lookers) look(lesson);
  say(lesson.error || null);
}

/** @param {import("./api.js").Trouble | null} trouble */
function say(trouble) {
  for (const wrong of troubled) wrong(trouble);
}

/** @param {string} drill */
export async function openDrill(drill) {
  const lesson = await get("api/lesson", { drill });
  open.drill = drill;
  for (const key of Object.keys(unsaved)) delete unsaved[key];
  forgetHistory();
  show(lesson);
}

/**
 * Changes keys as they were typed; "" takes one out.
 * @param {Record<string, string>} changes
 */
export function change(changes) {
  Object.assign(unsaved, changes);
  next();
}

/**
 * Writes a sticking step by step.
 * @param {number} sticking
 * @param {string[]} steps
 */
export function writeSteps(sticking, steps) {
  delete unsaved.sticking;
  waiting.length = 0; // a newer row says it all
  waiting.push(() => post("api/lesson/steps", { ...base(), sticking, steps }));
  next();
}

/** Whether something waits to be sent that is newer than what the server has told. */
export const isWriting = () => waiting.length > 0;

/**
 * Puts a whole text in the place of the drill's.
 * @param {string} text
 */
export function writeText(text) {
  waiting.push(() => post("api/lesson/text", { ...base(), text }));
  next();
}

/** @param {boolean} again whether what was undone is done again instead */
export function undo(again = false) {
  const { text, to } = taken(again);
  if (text === undefined || !open.lesson) return;
  for (const key of Object.keys(unsaved)) delete unsaved[key];
  const before = open.lesson.text;
  waiting.push(async () => {
    const lesson = await post("api/lesson/text", { ...base(), text });
    to.push(before);
    return lesson;
  });
  next(true);
}

function base() {
  return { drill: open.drill, base: open.lesson?.digest || "" };
}

/** @param {boolean} [isUndo] */
async function next(isUndo = false) {
  if (busy || !open.lesson) return;
  const turn = waiting.shift();
  const sent = { ...unsaved };
  if (!turn && !Object.keys(sent).length) return;
  const before = open.lesson.text;
  busy = true;
  try {
    const lesson = await (turn ? turn() : post("api/lesson", { ...base(), changes: sent }));
    if (!turn)
      for (const key of Object.keys(sent)) if (unsaved[key] === sent[key]) delete unsaved[key];
    if (!isUndo && lesson.text !== before) remember(before);
    busy = false;
    show(lesson);
    next();
  } catch (error) {
    busy = false;
    if (!(error instanceof Wrong)) throw error;
    if (error.status === 409) return elsewhere(error.answer);
    say(error.trouble);
    if (waiting.length) next();
    else if (!turn && isNewer(sent)) next();
    else if (!turn) keepTheRest(sent, error.trouble.key);
  }
}

/** @param {Record<string, string>} sent */
function isNewer(sent) {
  return Object.keys(unsaved).some((key) => unsaved[key] !== sent[key]);
}

/**
 * One field that is wrong does not keep the others from being saved.
 * @param {Record<string, string>} sent
 * @param {string} wrong
 */
async function keepTheRest(sent, wrong) {
  const rest = Object.entries(sent).filter(([key]) => key !== wrong);
  if (!(wrong in sent) || !rest.length || !open.lesson) return;
  const before = open.lesson.text;
  busy = true;
  try {
    const lesson = await post("api/lesson", { ...base(), changes: Object.fromEntries(rest) });
    for (const [key] of rest) delete unsaved[key];
    remember(before);
    open.lesson = lesson;
    for (const look of lookers) look(lesson);
  } catch (error) {
    if (!(error instanceof Wrong)) throw error;
  }
  busy = false;
}

/** Looks whether the file was changed elsewhere, in another tab or by an editor. */
export async function lookAgain() {
  const { drill, lesson } = open;
  if (!lesson || busy || Object.keys(unsaved).length) return;
  const now = await get("api/lesson", { drill }).catch(() => null);
  if (open.drill !== drill || open.lesson !== lesson) return;
  if (!now || now.digest === lesson.digest) return;
  remember(lesson.text);
  elsewhere(now);
}

/** @param {Lesson} lesson */
function elsewhere(lesson) {
  show(lesson);
  notice("The file was changed elsewhere: this is what it is now.");
  next();
}
