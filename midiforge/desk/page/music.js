// The lesson as music: a few exercises of a family at once, asked for when they come into sight,
// and with their players. What is the same as before stays where it is, and plays on.

import { forget } from "../../pages/player/controls.js";
import { make } from "../../pages/player/element.js";
import { prepare } from "../../pages/player/hearing.js";
import { run, stop } from "../../pages/player/transport.js";
import { players } from "../../pages/player/way.js";
import { get, Wrong } from "./api.js";
import { addSigns, playersOf } from "./engraved.js";
import { open } from "./lesson.js";
import { tell } from "./news.js";

const NEAR = "900px"; // below what is seen
/**
 * The place of some exercises of a family. `key`: of what stands there; `wanted`: of what is to.
 * @typedef {{
 *   element: HTMLElement, key: string, wanted: string, number: number, part: number,
 *   isNear: boolean, players: import("../../pages/player/run.js").Player[],
 *   asked: AbortController | null,
 * }} Slot
 */

/** @type {Slot[]} */
let slots = [];
/** @type {WeakMap<Element, Slot>} */
const slotOf = new WeakMap();

/** What stands beside the controls of each exercise.
 * @type {() => Node[]} */
let besides = () => [];

/** @param {typeof besides} make */
export function putBeside(make) {
  besides = make;
}

const near = new IntersectionObserver((seen) => {
  for (const { target, isIntersecting } of seen) {
    const slot = slotOf.get(target);
    if (slot) slot.isNear = isIntersecting;
  }
  fillAll();
}, { rootMargin: NEAR });

/**
 * Shows a lesson's music.
 * @param {HTMLElement} place
 * @param {import("./lesson.js").Lesson} lesson
 */
export function showMusic(place, lesson) {
  prepare(lesson.hearing);
  const kept = new Map(slots.filter(({ key }) => key).map((slot) => [slot.key, slot]));
  const before = slots;
  const used = new Set();
  const parts = lesson.families.flatMap(({ key, parts }, number) =>
    Array.from({ length: parts }, (_, part) => ({ wanted: `${key} ${part}`, number, part })));
  slots = parts.map(({ wanted, number, part }) => {
    const same = kept.get(wanted);
    const slot = same && !used.has(same) ? same : null;
    if (slot) used.add(slot);
    return Object.assign(slot || emptySlot(), { wanted, number, part });
  });
  // What changed stays in sight until what comes in its place is there.
  const free = new Set(before.filter((slot) => !used.has(slot)));
  slots.forEach((slot, i) => {
    if (slot.key || !free.size) return;
    const [old] = free.has(before[i]) ? [before[i]] : free;
    free.delete(old);
    near.unobserve(slot.element);
    slots[i] = Object.assign(old, { wanted: slot.wanted, number: slot.number, part: slot.part });
  });
  free.forEach(remove);
  for (const slot of slots) if (slot.key !== slot.wanted) slot.asked?.abort();
  slots.forEach(({ element }, i) => {
    if (place.children[i] !== element) place.insertBefore(element, place.children[i] || null);
    near.observe(element);
  });
  fillAll();
  order();
}

let filling = false;

/** Asks for what is near, one after the other from the top of what is seen. */
async function fillAll() {
  if (filling) return;
  filling = true;
  for (;;) {
    const lacking = slots.filter((slot) => slot.isNear && slot.key !== slot.wanted);
    const seen = lacking.find(({ element }) => element.getBoundingClientRect().bottom > 0);
    const next = seen || lacking[0];
    if (!next) break;
    await fill(next);
  }
  filling = false;
}

/** @returns {Slot} */
function emptySlot() {
  const element = make("div", { className: "slot" });
  const empty = { key: "", wanted: "", number: 0, part: 0, isNear: false, asked: null };
  const slot = { element, players: [], ...empty };
  slotOf.set(element, slot);
  return slot;
}

/** @param {Slot} slot */
function remove(slot) {
  slot.asked?.abort();
  near.unobserve(slot.element);
  clear(slot);
  slot.element.remove();
}

/** What plays was changed: it is heard on, if it knows how, or stops. */
function lose() {
  if (run?.lost) return run.lost();
  stop();
  tell("What played was changed, so it has stopped.");
}

/**
 * The player of an exercise as the lesson is now, if it stands on the page.
 * @param {string} number
 */
export function playerOf(number) {
  return slots.filter(({ key, wanted }) => key === wanted).flatMap((slot) => slot.players)
    .find(({ exercise }) => exercise.numbers.includes(number));
}

/** @param {Slot} slot */
function clear(slot) {
  for (const player of slot.players) {
    if (run?.player === player) lose();
    forget(player.place);
  }
  slot.players = [];
}

/** @param {Slot} slot */
async function fill(slot) {
  if (!open.lesson) return;
  const asking = (slot.asked = new AbortController());
  const { wanted, number, part } = slot;
  const question = { drill: open.drill, digest: open.lesson.digest, family: number, part };
  try {
    const set = await get("api/music", question, asking.signal);
    if (slot.wanted !== wanted) return;
    put(slot, set);
    slot.key = wanted;
  } catch (error) {
    if (slot.wanted !== wanted) return; // the lesson has been changed meanwhile
    slot.key = wanted;
    if (error instanceof Wrong && error.status === 409) return;
    clear(slot);
    slot.element.replaceChildren(make("p", { className: "wrong" }, `${error}`));
  } finally {
    if (slot.asked === asking) slot.asked = null;
  }
  order();
}

/**
 * @param {Slot} slot
 * @param {{ markup: string, heard: import("../../pages/player/lesson.js").Exercise[],
 *   signs: string }} set
 */
function put(slot, { markup, heard, signs }) {
  addSigns(signs);
  clear(slot);
  slot.element.innerHTML = markup;
  slot.players = playersOf(slot.element, heard);
  for (const { place } of slot.players) place.append(...besides());
}

/** Players in the order of the page, so that the keys go from one to the next. */
function order() {
  players.splice(0, players.length, ...slots.flatMap((slot) => slot.players));
  players.forEach(({ previous, next }, i) => {
    previous.disabled = i === 0;
    next.disabled = i === players.length - 1;
  });
}

/**
 * Scrolls to where an exercise stands or will stand, which sets it.
 * @param {number} piece its number, without a letter
 */
export function bringIntoSight(piece) {
  for (const [family, { parts, pieces }] of (open.lesson?.families || []).entries()) {
    const part = Math.floor(pieces.indexOf(piece) / Math.ceil(pieces.length / parts));
    slots.find((slot) => slot.number === family && slot.part === part)
      ?.element.scrollIntoView({ block: "center" });
  }
}
