// Where the sound of a lesson comes from: the browser, or a MIDI port; and how it is played there.

import { make } from "../../pages/player/element.js";
import { run, stop } from "../../pages/player/transport.js";
import { say } from "./live.js";
import { putBeside } from "./music.js";
import { lookAtPorts, portChoice } from "./ports.js";

const TIMES = [["0", "for ever"], ["", "as the drill has it, then on"], ["1", "once, then on"],
  ["2", "2 times, then on"], ["4", "4 times, then on"], ["8", "8 times, then on"]];

export const sound = portChoice("sound-from", "Sound from", "output", [["", "this browser"]], true,
  () => {
    if (run) stop();
    showMore();
  });
export const band = portChoice("band-through", "The band through", "output",
  [["", "the same port"]], false, () => run && stop());
export const pads = portChoice("pads-from", "Pads and pedals from", "input",
  [["", "the only one, if any"]], false, () => {});
/** How often each exercise goes round, and whether beat clock is sent. */
export const wanted = { times: "0", clock: false };
const more = make("details", { className: "sound-more" },
  make("summary", {}, "More about MIDI"));

/** How often an exercise is to go round, 0 for ever; null for as the drill has it. */
export function timesWanted() {
  return wanted.times === "" ? null : +wanted.times;
}

function showMore() {
  more.hidden = !sound.value;
  document.body.classList.toggle("through-midi", !!sound.value);
}

/** Where the sound of the whole lesson comes from, and how. */
export function soundChoice() {
  const times = make("select", {}, ...TIMES.map(([value, text]) =>
    make("option", { value }, text)));
  times.addEventListener("change", () => {
    wanted.times = times.value;
    say({ do: "times", times: timesWanted() });
  });
  const beat = make("input", { type: "checkbox" });
  beat.addEventListener("change", () => (wanted.clock = beat.checked));
  more.append(
    make("label", { className: "port-choice" }, make("span", {}, "Each exercise"), times),
    band.field(), pads.field(),
    make("label", { className: "port-choice switch" }, beat, "Send MIDI beat clock"));
  lookAtPorts(showMore);
  const element = make("div", { className: "sound-choice" }, sound.field(), more);
  element.setAttribute("role", "group");
  element.setAttribute("aria-label", "Where the sound comes from");
  return element;
}

// The same choice among an exercise's own.
putBeside(() => {
  const field = sound.field();
  field.classList.add("player-option");
  return [field];
});
