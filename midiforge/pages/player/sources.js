// Where strokes come from: a kit's port, keys that are typed, areas of the screen that are tapped.

import { button, make } from "./element.js";
import { keep, kept } from "./kept.js";
import { settings } from "./settings.js";

/**
 * What came: `stamp` as events have it, in ms. A limb's stroke has no note of its own yet.
 * @typedef {{
 *   from: "kit" | "keys" | "screen", stamp: number, limb?: string, bytes?: Uint8Array,
 * }} Came
 *
 * @typedef {keyof typeof LIMBS} Limb
 */

/** What the limbs are called, and which keys they are unless the student chooses others. */
const LIMBS = {
  LH: { name: "left hand", key: "f" },
  RH: { name: "right hand", key: "j" },
  LF: { name: "left foot", key: "v" },
  RF: { name: "right foot", key: "n" },
};

const limbs = /** @type {Limb[]} */ (Object.keys(LIMBS));
const areas = Object.fromEntries(limbs.map((limb) => [limb, area(limb)]));
export const areasGroup = make("div", { className: "areas" }, ...Object.values(areas));
areasGroup.setAttribute("role", "group");
areasGroup.setAttribute("aria-label", "Strike with");
nameAreas();

/** Limbs that wait for their keys.
 * @type {Limb[]} */
let waiting = [];
/** Who is told what came, and who says things.
 * @type {{ came: (came: Came) => void, tell: (sentence: string) => void }} */
const listener = { came() {}, tell() {} };

/** @param {typeof listener} some */
export function listenWith(some) {
  Object.assign(listener, some);
}

/** @param {Limb} limb */
function keyOf(limb) {
  return kept.keys[limb] || LIMBS[limb].key;
}

/** @param {Limb} limb */
function area(limb) {
  const pressed = button("area", "", () => {});
  pressed.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    listener.came({ from: "screen", stamp: event.timeStamp, limb });
  });
  return pressed;
}

function nameAreas() {
  for (const limb of limbs) {
    const { name } = LIMBS[limb], key = keyOf(limb).toUpperCase();
    areas[limb].replaceChildren(name[0].toUpperCase() + name.slice(1), make("kbd", {}, key));
  }
}

/** Shows the areas of these limbs alone.
 * @param {(limb: string) => boolean} isAsked */
export function showAreas(isAsked) {
  for (const limb of limbs) areas[limb].hidden = !isAsked(limb);
}

/** Has the student choose a key for each limb that is shown. */
export function askForKeys() {
  waiting = limbs.filter((limb) => !areas[limb].hidden);
  askForKey();
}

function askForKey() {
  const [limb] = waiting;
  listener.tell(limb ? `Press the key for the ${LIMBS[limb].name}.` : "These are your keys now.");
}

/** @param {string} typed */
function choose(typed) {
  const limb = waiting.shift();
  if (limb) kept.keys[limb] = typed;
  keep();
  nameAreas();
  askForKey();
}

addEventListener("keydown", (event) => {
  const { key, target, altKey, ctrlKey, metaKey } = event;
  const isText = target instanceof HTMLInputElement && target.type === "number";
  if (!settings.strokes || altKey || ctrlKey || metaKey || isText || key.length > 1 || key === " ")
    return;
  const typed = key.toLowerCase();
  if (waiting.length) return choose(typed);
  const limb = limbs.find((each) => keyOf(each) === typed);
  if (!limb || event.repeat) return;
  event.preventDefault();
  listener.came({ from: "keys", stamp: event.timeStamp, limb });
});

/**
 * Hears every kit that is plugged in, now or later, where the browser can.
 * @param {(sentence: string) => void} told told of it, whenever that changes
 */
export function hearKits(told) {
  if (!navigator.requestMIDIAccess)
    return told("This browser has no Web MIDI, so it hears no kit: type or tap instead.");
  navigator.requestMIDIAccess().then((access) => {
    access.onstatechange = () => hearPorts(access, told);
    hearPorts(access, told);
  }, () => told("This browser was not allowed to hear a kit: type or tap instead."));
}

/**
 * @param {MIDIAccess} access
 * @param {(sentence: string) => void} told
 */
function hearPorts({ inputs }, told) {
  const ports = [...inputs.values()].filter(({ state }) => state === "connected");
  for (const port of ports)
    port.onmidimessage = ({ data, timeStamp }) =>
      data && listener.came({ from: "kit", stamp: timeStamp, bytes: data });
  const names = ports.map(({ name }) => name || "a port without a name").join(", ");
  told(names ? `Listening to ${names}.` : "No kit is plugged in: type or tap instead.");
}
