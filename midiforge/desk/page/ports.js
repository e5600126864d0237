// The MIDI ports of this computer, as they come and go, and fields to choose one. All fields that
// choose the same thing show the same.

import { make } from "../../pages/player/element.js";
import { hear, say } from "./live.js";

/** @typedef {{ output: string[], input: string[], virtual: boolean, why: string }} Ports */

export const OWN_PORT = "\u0000own"; // in the place of a name: one that others connect to

/** @type {Ports} */
export let ports = { output: [], input: [], virtual: false, why: "" };

/** @type {Set<() => void>} */
const lookers = new Set();

hear((said) => {
  if (said.opened) say({ do: "ports" });
  if (!said.ports) return;
  ports = said.ports;
  for (const look of lookers) look();
});

/**
 * Is told whenever there are other ports, and now.
 * @param {() => void} look
 */
export function lookAtPorts(look) {
  lookers.add(look);
  look();
}

/**
 * Something for which a port is chosen. What was chosen stays so when it is unplugged, and says so.
 * @param {string} name of all fields of it, as a class
 * @param {string} label
 * @param {"output" | "input"} direction
 * @param {[value: string, text: string][]} others what may be chosen besides
 * @param {boolean} own whether a port of midiforge's own may be
 * @param {(value: string) => void} chosen
 */
export function portChoice(name, label, direction, others, own, chosen) {
  let wanted = others[0]?.[0] ?? "";
  /** @param {HTMLSelectElement} choice */
  const fill = (choice) => {
    const known = [...others, ...ports[direction].map((port) => [port, shortened(port)]),
      ...(own && ports.virtual ? [[OWN_PORT, "a port of midiforge's own"]] : [])];
    const gone = known.some(([value]) => value === wanted) ? []
      : [[wanted, `${shortened(wanted)} (not there now)`]];
    choice.replaceChildren(...[...known, ...gone].map(([value, text]) =>
      make("option", { value }, text)));
    choice.value = wanted;
  };
  const show = () => document.querySelectorAll(`select.${name}`).forEach((choice) =>
    fill(/** @type {HTMLSelectElement} */ (choice)));
  lookAtPorts(show);
  return {
    /** A field to choose it. */
    field() {
      const choice = make("select", { className: name });
      fill(choice);
      choice.addEventListener("change", () => {
        wanted = choice.value;
        show();
        chosen(wanted);
      });
      return make("label", { className: "port-choice" }, make("span", {}, label), choice);
    },
    get value() { return wanted; },
    /** @param {string} value */
    set(value) {
      wanted = value;
      show();
    },
  };
}

/** What a port is called, without the number that the system gives it. */
function shortened(/** @type {string} */ name) {
  return name.replace(/\s+\d+:\d+$/, "");
}
