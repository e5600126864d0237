// The fields of a drill's keys, made of the table that the server has of them.

import { make } from "../../pages/player/element.js";
import { change, unsaved } from "./lesson.js";

/**
 * @typedef {{
 *   name: string, kind: string, help: string, example: string, default: string,
 *   choices: string[], shelf: string,
 * }} Key
 * @typedef {{ title: string, keys: Key[] }} Group
 * @typedef {{ name: string, title: string, family?: string, kind?: string, meter?: string,
 *   note?: string }} Named
 * @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Control
 */

/** @type {Map<string, { control: Control, wrong: HTMLElement, key: Key, saved: string }>} */
const fields = new Map();

/** Counts the times that a field was left: until then what is typed there is one change. */
let left = 0;

/** What a field is called where the key alone would not say it.
 * @type {Record<string, string>} */
const TITLES = {
  sticking: "Sticking as text",
  "every.strokes": "Besides: every sticking of so many strokes",
  text: "Words for the student",
  texts: "Words under single exercises",
  feet: "What the feet play",
  placements: "Where the sticking starts",
  entry: "Its first time through",
  accents: "Accents",
  accent_placements: "Where the accents start",
  feet_placements: "Where the feet start",
  lead: "Leading hand",
  tempos: "Tempos",
  steps: "Grid steps to a beat",
  stages: "Stages",
  surface: "The one surface of the hands",
  voicing: "What is played on what",
  count_in: "Bars of count-in",
  click_voice: "Voice of the click",
  road_map: "Order of the bars",
  chords: "Chords for the band",
  drop_swapped: "Leave out hands changed over",
};

/** @param {string} name */
export function titleOf(name) {
  const words = name.split(".").at(-1) || name;
  return TITLES[name] || words[0].toUpperCase() + words.slice(1).replaceAll("_", " ");
}

/**
 * A key's field: its title, what is typed, what is wrong with it, and what it is for.
 * @param {Key} key
 * @param {Record<string, Named[]>} shelves
 */
export function fieldOf(key, shelves) {
  const control = controlOf(key, shelves);
  control.id = `field-${key.name}`;
  const wrong = make("span", { className: "wrong", id: `wrong-${key.name}` });
  wrong.setAttribute("role", "alert");
  const help = make("span", { className: "help", id: `help-${key.name}` }, key.help,
    ...(key.default ? [` Usually: ${key.default}.`] : []));
  control.setAttribute("aria-describedby", `${wrong.id} ${help.id}`);
  const label = make("label", { htmlFor: control.id }, titleOf(key.name));
  const line = make("div", { className: `field ${key.kind}` }, label, control, wrong, help);
  const sent = () => {
    const value = control instanceof HTMLInputElement && control.type === "checkbox"
      ? `${control.checked}` : control.value;
    const field = fields.get(key.name);
    if (!field || value === (key.name in unsaved ? unsaved[key.name] : field.saved)) return;
    // A switch that is as it usually is needs no key, unless the file has one.
    change({ [key.name]: key.kind === "yes-no" && !field.saved && value === key.default ? ""
      : value }, control.matches("select, [type=checkbox]") ? "" : `${key.name} ${left}`);
  };
  control.addEventListener("input", sent);
  control.addEventListener("blur", () => (left += 1));
  fields.set(key.name, { control, wrong, key, saved: "" });
  return line;
}

/**
 * @param {Key} key
 * @param {Record<string, Named[]>} shelves
 * @returns {Control}
 */
function controlOf(key, shelves) {
  if (key.kind === "yes-no") return make("input", { type: "checkbox" });
  if (key.kind === "table" || ["text", "sticking"].includes(key.name))
    return Object.assign(make("textarea", { placeholder: key.example }),
      { rows: key.kind === "table" ? 4 : 2, spellcheck: key.name === "text" });
  if (key.choices.length && key.kind === "text") {
    const usual = make("option", { value: "" },
      key.default ? `usual: ${key.default}` : "as usual");
    return make("select", {}, usual, ...key.choices.map((choice) =>
      make("option", { value: choice }, choice)));
  }
  const input = make("input", {
    type: "text", placeholder: exampleOf(key), autocomplete: "off",
  });
  input.spellcheck = key.name === "title";
  if (key.kind === "whole" || key.kind === "number") input.inputMode = "decimal";
  const offers = offersOf(key, shelves);
  if (offers.length) {
    const list = make("datalist", { id: `offers-${key.name}` }, ...offers);
    input.setAttribute("list", list.id);
    document.getElementById(list.id)?.remove();
    document.body.append(list);
  }
  return input;
}

/**
 * What a field shows while it is empty; a word in capitals stands for something and is none.
 * @param {Key} key
 */
function exampleOf({ example }) {
  const words = example.split("|").filter((word) => !/^[A-Z.,: ]+$/.test(word));
  return words.length ? `such as ${words.join(" · ")}` : "";
}

/**
 * What may be typed, as far as it has names.
 * @param {Key} key
 * @param {Record<string, Named[]>} shelves
 */
function offersOf(key, shelves) {
  const named = (shelves[key.shelf] || []).map(({ name, title }) =>
    make("option", { value: name }, title));
  const words = key.example.split("|").map((word) => word.replaceAll("'", "").trim());
  const plain = words.filter((word) => /[a-z]/.test(word) && !/^[A-Z.]+$/.test(word));
  return [...plain.map((value) => make("option", { value })), ...named];
}

/**
 * Shows what the file has, but for what is being typed.
 * @param {Record<string, string>} values
 */
export function showValues(values) {
  for (const [name, field] of fields) {
    field.saved = values[name] ?? "";
    if (name in unsaved) continue;
    const { control, key } = field;
    const value = field.saved || (key.kind === "yes-no" ? key.default : "");
    if (control instanceof HTMLInputElement && control.type === "checkbox")
      control.checked = value === "true";
    else if (control.value !== value && document.activeElement !== control) control.value = value;
    else if (control.value.trim() !== value.trim()) control.value = value;
  }
}

/**
 * Shows what is wrong beside its field; gives the labels of such fields.
 * @param {import("./api.js").Trouble[]} troubles
 */
export function showTrouble(troubles) {
  for (const [name, { control, wrong }] of fields) {
    const trouble = troubles.find(({ key }) => key === name);
    const isIt = !!trouble;
    const said = trouble ? trouble.said.replace(`${name}: `, "") : "";
    if (wrong.textContent !== said) wrong.textContent = said;
    control.setAttribute("aria-invalid", `${isIt}`);
    if (isIt) control.closest("details")?.setAttribute("open", "");
  }
  return [...fields.values()].filter(({ wrong }) => wrong.textContent)
    .map(({ key }) => titleOf(key.name));
}

/**
 * Types something into a field, as a person would.
 * @param {string} name
 * @param {string} text
 */
export function type(name, text) {
  const field = fields.get(name);
  if (!field) return;
  field.control.value = text;
  change({ [name]: text });
}

/** @param {string} name */
export function typed(name) {
  return fields.get(name)?.control.value || "";
}
