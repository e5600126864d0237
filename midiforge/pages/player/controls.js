// The controls above an exercise: buttons, its tempo, switches.

import { clockOf } from "./clock.js";
import { follow, leave } from "./cursor.js";
import { button, make } from "./element.js";
import { eventsOf, PARTS } from "./lesson.js";
import { daysOf, fastest, mark } from "./reached.js";
import { settings } from "./settings.js";
import { run, set } from "./transport.js";
import { go, toggle } from "./way.js";

/** Those of all exercises that set the same thing.
 * @type {Record<string, HTMLInputElement[]>} */
const inputs = {};

/**
 * Lets go of the controls in a place that is removed from the page.
 * @param {Element} place
 */
export function forget(place) {
  for (const [name, controls] of Object.entries(inputs))
    inputs[name] = controls.filter((control) => !place.contains(control));
}

/**
 * An input for one of the settings, in its label.
 * @param {string} name
 * @param {string} text
 * @param {"checkbox" | "range"} type
 */
function input(name, text, type) {
  const control = make("input", { type, className: `player-${name}` });
  const isSwitch = type === "checkbox";
  const show = () => {
    for (const each of inputs[name])
      if (isSwitch) each.checked = !!settings[name];
      else each.value = `${settings[name]}`;
  };
  (inputs[name] ||= []).push(control);
  show();
  control.addEventListener("input", () => {
    const place = control.closest(".player") || document.body;
    set(name, isSwitch ? control.checked : +control.value, place);
    show();
  });
  return make("label", {}, ...(isSwitch ? [control, text] : [text, control]));
}

/**
 * @param {string} label
 * @param {...Node} children
 */
function group(label, ...children) {
  const element = make("span", { className: "player-group" }, ...children);
  element.setAttribute("role", "group");
  element.setAttribute("aria-label", label);
  return element;
}

/**
 * The tempos of an exercise to choose from, and a number for any other.
 * @param {import("./lesson.js").Exercise} exercise
 * @param {() => void} changed
 */
function tempoOf({ tempos, said = tempos.map(String), limits }, changed) {
  let tempo = tempos[0];
  const [min, max] = limits.map(String);
  const number = make("input", {
    type: "number", className: "player-tempo", step: "any", min, max,
  });
  const choices = tempos.map((each, i) =>
    button("player-choice", said[i], () => choose(each, true)));
  /** @type {(value: number, write: boolean) => void} */
  const choose = (value, write) => {
    if (write) number.value = `${value}`;
    const isNew = value !== tempo;
    tempo = value;
    choices.forEach((each, i) => each.setAttribute("aria-pressed", `${tempos[i] === tempo}`));
    if (isNew) changed();
  };
  // What is half typed may be out of range: it counts when it is in it, or when it is done.
  number.addEventListener("input", () => {
    if (number.value && number.checkValidity()) choose(+number.value, false);
  });
  number.addEventListener("change", () =>
    choose(Math.max(limits[0], Math.min(limits[1], +number.value || tempo)), true));
  choose(tempo, true);
  return { number, choices, tempo: () => tempo };
}

/**
 * The button that says the tempo has been reached, and the places that show which ones were.
 * @param {import("./lesson.js").Exercise} exercise
 * @param {Element} section
 * @param {HTMLButtonElement[]} choices
 * @param {() => number} tempo
 */
function reachedOf(exercise, section, choices, tempo) {
  const { id, tempos, said = [] } = exercise;
  const blanks = section.querySelectorAll(".reached i");
  const inOrder = make("span", { className: "order-reached" });
  [...document.querySelectorAll(`.order a[href="#${id}"]`)].at(-1)?.after(inOrder);
  const name = (/** @type {number} */ value) => said[tempos.indexOf(value)] || `${value}`;
  const reached = button("player-reached", "", () => {
    mark(exercise, tempo());
    show();
  });
  function show() {
    const best = fastest(exercise);
    reached.textContent = `Reached ${name(tempo())}`;
    reached.setAttribute("aria-pressed", `${!!daysOf(exercise)[tempo()]}`);
    choices.forEach((choice, i) => choice.classList.toggle("done", !!daysOf(exercise)[tempos[i]]));
    section.classList.toggle("is-reached", !!best);
    const texts = best ? [name(best.tempo), best.day] : ["", ""];
    blanks.forEach((blank, i) => (blank.textContent = texts[i]));
    inOrder.textContent = best ? ` \u2713\u00a0${texts[0]}` : "";
  }
  show();
  return { reached, show };
}

/**
 * Puts the controls of an exercise into their place.
 * @param {import("./lesson.js").Exercise} exercise
 * @param {Element} section
 * @param {Element} place
 */
export function build(exercise, section, place) {
  const events = eventsOf(exercise);
  /** @type {NodeListOf<SVGSVGElement>} */
  const systems = section.querySelectorAll("svg.system");
  const { number, choices, tempo } = tempoOf(exercise, () => {
    if (run?.player === player) run.change();
    show();
  });
  const { reached, show } = reachedOf(exercise, section, choices, tempo);
  const count = make("span", { className: "player-count" });
  count.setAttribute("aria-hidden", "true");
  /** @type {import("./run.js").Player} */
  const player = {
    exercise,
    events,
    clock: clockOf(exercise),
    tempo,
    slower: () => exercise.tempos[0] / tempo(),
    show(playing) {
      playButton.textContent = playing ? "Stop" : "Play";
      place.classList.toggle("playing", !!playing);
      if (playing) follow(playing, page);
      else leave(page);
    },
    section,
    place,
    playButton: button("player-play", "Play", () => toggle(player)),
    previous: button("player-way", "\u2039", () => go(player, -1)),
    next: button("player-way", "\u203a", () => go(player, 1)),
  };
  const { playButton, previous, next } = player;
  previous.setAttribute("aria-label", "Previous exercise");
  next.setAttribute("aria-label", "Next exercise");
  const page = { place, systems, count };
  // What is set once waits behind a button.
  const more = button("player-more", "More", () =>
    more.setAttribute("aria-expanded", `${place.classList.toggle("open")}`));
  more.setAttribute("aria-expanded", "false");

  const has = new Set(events.map((event) => event.rounds === "countIn" || event.part));
  const options = [
    group("How to play it", input("loop", "Loop", "checkbox"),
      ...(exercise.clock[0][0] < 0 ? [input("countIn", "Count-in", "checkbox")] : [])),
    group("What is heard", ...Object.entries(PARTS).filter(([part]) => has.has(part))
      .map(([part, text]) => input(part, text, "checkbox"))),
    input("volume", "Volume", "range"),
  ];
  const hears = exercise.due ? [input("strokes", "Show my strokes", "checkbox")] : [];
  for (const label of hears) label.classList.add("player-hears");
  for (const option of [...hears, ...options]) option.classList.add("player-option");
  place.setAttribute("role", "group");
  const heading = section.querySelector("h1, h2, h3, h4, h5, h6");
  place.setAttribute("aria-label", `Player: ${heading?.textContent?.trim() || exercise.id}`);
  place.append(
    playButton,
    previous,
    next,
    make("label", {}, exercise.said ? "Tempo at first " : "Tempo ", number),
    group("Tempos of this exercise", ...choices),
    reached,
    ...hears,
    more,
    ...options,
    count,
  );
  // A button that is clicked stays out of the way of the space bar; one reached by keys is its own.
  place.addEventListener("mousedown", (event) => {
    if (event.target instanceof Element && event.target.closest("button")) event.preventDefault();
  });
  return player;
}
