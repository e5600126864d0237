// The lesson that is open: what the server told of it, and how it is changed.
//
// What is typed is sent at once, and what is typed meanwhile with the next request. The file on the
// disk always has the last state that a lesson comes of.

import { get, post, Wrong } from "./api.js";
import { open, say, show, tellAll, wrong } from "./lookers.js";
import { begin, overtake, putBack, sending, settled, waiting } from "./sending.js";
import { recall, remember, step } from "./undone.js";
import { notice } from "./news.js";

export { look, open } from "./lookers.js";

/**
 * @typedef {import("./lookers.js").Lesson} Lesson
 * @typedef {import("./lookers.js").Sticking} Sticking
 */

/** What was typed and is not in the file: by key, or a whole sticking or text.
 * @type {Record<string, string>} */
export const unsaved = {};

/** Whether what is being sent was taken back meanwhile; how many lessons were asked for. */
let isTakenBack = false, opening = 0;
/** The typing that the newest change is part of; "" for none. */
let typing = "";

/** @param {string} drill */
export async function openDrill(drill) {
  const own = (opening += 1);
  let lesson;
  do {
    await settled(); // what was typed belongs to the lesson that is left
    lesson = await get("api/lesson", { drill });
  } while (sending.is);
  if (own !== opening) return; // another was chosen meanwhile
  open.drill = drill;
  for (const key of Object.keys(unsaved)) delete unsaved[key];
  recall(drill, lesson.text);
  show(lesson);
}

/**
 * Changes keys as they were typed; "" takes one out.
 * @param {Record<string, string>} changes
 * @param {string} [of] a name for the typing that it is part of
 */
export function change(changes, of = "") {
  Object.assign(unsaved, changes);
  typing = of;
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
  waiting.push({ of: `steps ${sticking}`,
    send: () => post("api/lesson/steps", { ...base(), sticking, steps }) });
  next();
}

/**
 * Puts a whole text in the place of the drill's.
 * @param {string} text
 */
export function writeText(text) {
  waiting.push({ of: "", text, send: () => post("api/lesson/text", { ...base(), text }) });
  next();
}

/**
 * Goes back by a change; what was typed and could not be saved is taken back first.
 * @param {boolean} again whether what was undone is done again instead
 */
export function undo(again = false) {
  if (!again && wrong.is && open.lesson && Object.keys(unsaved).length) {
    for (const key of Object.keys(unsaved)) delete unsaved[key];
    isTakenBack = sending.is;
    return show(open.lesson);
  }
  for (const key of Object.keys(unsaved)) delete unsaved[key];
  // What is being sent is to be undone, too, and is known once it is there.
  waiting.push({ of: "", isUndo: true, send: async () => {
    const now = /** @type {Lesson} */ (open.lesson), { text, take } = step(again);
    if (text === undefined) return now;
    const lesson = await post("api/lesson/text", { ...base(), text });
    if (!lesson.overtaken) take(now.text);
    return lesson;
  } });
  next();
}

const base = () => ({ drill: open.drill, base: open.lesson?.digest || "" });

async function next() {
  if (sending.is) return overtake();
  if (!open.lesson) return;
  const turn = waiting.shift();
  const sent = { ...unsaved }, of = turn ? "" : typing;
  if (!turn && !Object.keys(sent).length) return;
  const { text } = open.lesson;
  begin();
  try {
    const lesson = await (turn ? turn.send() : post("api/lesson", { ...base(), changes: sent }));
    if (lesson.overtaken) {
      sending.is = isTakenBack = false;
      if (turn) putBack(turn);
      const isDropped = Object.keys(sent).every((key) => !(key in unsaved));
      if (!turn && isDropped && waiting[0]?.isUndo) waiting.shift(); // given up, it is undone
      return next();
    }
    if (!turn)
      for (const key of Object.keys(sent)) if (unsaved[key] === sent[key]) delete unsaved[key];
    if (!turn?.isUndo && lesson.text !== text) remember(text, of);
    sending.is = false;
    show(lesson);
    if (isTakenBack) undo(); // it was right after all
    isTakenBack = false;
    next();
  } catch (error) {
    sending.is = false;
    const isOver = isTakenBack;
    isTakenBack = false;
    if (!(error instanceof Wrong)) throw error;
    if (error.status === 409) {
      if (turn?.of) putBack(turn);
      return elsewhere(error.answer, turn?.text);
    }
    if (isOver) show(open.lesson);
    else say(error.trouble);
    if (waiting.length) next();
    else if (!turn && isNewer(sent)) next();
    else if (!turn && !isOver) keepTheRest(sent, [error.trouble]);
  }
}

/** @param {Record<string, string>} sent */
function isNewer(sent) {
  return Object.keys(unsaved).some((key) => unsaved[key] !== sent[key]);
}

/**
 * Fields that are wrong do not keep the others from being saved; each of them is told.
 * @param {Record<string, string>} sent
 * @param {import("./api.js").Trouble[]} troubles what is known to be wrong, the newest last
 */
async function keepTheRest(sent, troubles) {
  const rest = Object.entries(sent).filter(([name]) => troubles.every(({ key }) => key !== name));
  if (!(troubles[troubles.length - 1].key in sent) || !rest.length || !open.lesson)
    return isNewer(sent) ? next() : undefined;
  const before = open.lesson.text;
  begin();
  try {
    const lesson = await post("api/lesson", { ...base(), changes: Object.fromEntries(rest) });
    sending.is = !lesson.overtaken;
    if (lesson.overtaken) return next();
    for (const [key] of rest) if (unsaved[key] === sent[key]) delete unsaved[key];
    remember(before);
    tellAll(lesson);
  } catch (error) {
    sending.is = false;
    if (!(error instanceof Wrong)) throw error;
    if (error.status === 409) return elsewhere(error.answer);
    const all = [...troubles, error.trouble];
    say(...all);
    return keepTheRest(sent, all);
  }
  sending.is = false;
  if (waiting.length || isNewer(sent)) next();
}

/** Looks whether the file was changed elsewhere, in another tab or by an editor. */
export async function lookAgain() {
  const { drill, lesson } = open;
  if (!lesson || sending.is || Object.keys(unsaved).length) return;
  const now = await get("api/lesson", { drill }).catch(() => null);
  if (open.drill !== drill || open.lesson !== lesson) return;
  if (!now || now.digest === lesson.digest) return;
  remember(lesson.text);
  elsewhere(now);
}

/**
 * @param {Lesson} lesson
 * @param {string} [lost] a whole text that was written meanwhile
 */
function elsewhere(lesson, lost = "") {
  if (lost) remember(lost);
  show(lesson);
  notice("The file was changed elsewhere: this is what it is now."
    + (lost ? " Undo brings back what you wrote." : ""));
  next();
}
