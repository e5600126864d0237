// The kit: which ports there are, and learning which note each of its pads sends.

import { stayAwake } from "../../pages/player/awake.js";
import { button, make } from "../../pages/player/element.js";
import { stop } from "../../pages/player/transport.js";
import { change, open } from "./lesson.js";
import { hear, newName, say } from "./live.js";
import { notice, tell } from "./news.js";
import { lookAtPorts, OWN_PORT, portChoice, ports } from "./ports.js";
import { offer as offerTo, withdraw } from "./taking.js";

const STROKES = 3; // that each pad is asked for

/**
 * @typedef {{
 *   title: string, how: string, number: number, of: number, strokes: number, message: string,
 *   hint: string, latest: string,
 *   voices: { title: string, asked: boolean, notes: number[] }[],
 * }} Learning
 */

const source = portChoice("kit-from", "The kit is on", "input", [["", "choose a port"]], true,
  () => offer());
const name = make("input", { type: "text", id: "kit-name", maxLength: "60", value: "My kit" });
const start = button("kit-start", "Learn it", () => begin(false));
const asked = make("section", { className: "kit-asked", tabIndex: "-1" });
asked.setAttribute("aria-label", "What to hit");
const title = make("p", { className: "kit-title" }), how = make("p", { className: "kit-how" });
const strokes = make("p", { className: "kit-strokes" }), said = make("p", {});
title.setAttribute("role", "status");
const voices = make("ol", { className: "kit-voices" });
const result = make("section", { className: "kit-result", tabIndex: "-1" });
const list = make("div", { className: "kit-ports" });
const form = make("form", { className: "form" });
let learnt = 0;

/** @param {HTMLElement} place */
function show(place) {
  form.append(make("h2", {}, "Learn a kit"),
    make("p", {}, "A voice is named, and you hit its pad three times; its notes go into a kit file "
      + "in this folder, which lessons can name."),
    make("div", { className: "field" }, make("label", { htmlFor: name.id }, "What it is called"),
      name), source.field(), start);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    begin(false);
  });
  const keys = /** @type {[string, string][]} */ ([["skip", "Skip it"], ["back", "The one before"],
    ["again", "From the start"], ["finish", "That is all"]]).map(([what, text]) =>
    button("choice", text, () => say({ do: "step", learn: what })));
  asked.append(title, how, strokes, said, make("div", { className: "often form" }, ...keys));
  asked.hidden = result.hidden = true;
  place.append(form, asked, result, make("section", {}, make("h2", {}, "Voices"), voices),
    make("section", {}, make("h2", {}, "MIDI ports"), list));
  voices.append(make("li", {}, "They fill up as you hit them."));
  lookAtPorts(offer);
}

function offer() {
  if (!source.value && ports.input.length === 1) source.set(ports.input[0]);
  start.disabled = !source.value;
  const half = (/** @type {string} */ text, /** @type {string[]} */ names) => [
    make("h3", {}, text),
    make("ul", {}, ...(names.length ? names : ["none"]).map((port) => make("li", {}, port)))];
  list.replaceChildren(...(ports.why ? [make("p", {}, `None can be had: ${ports.why}.`)] : []),
    ...half("To play through", ports.output), ...half("To hear from", ports.input));
}

/** @param {boolean} over whether something else that is live ends for it */
function begin(over) {
  stop();
  withdraw();
  learnt = newName();
  const virtual = source.value === OWN_PORT;
  say({ do: "learn", id: learnt, over, name: name.value, virtual,
    port: virtual ? "" : source.value });
}

/** @param {Learning} now */
function told(now) {
  form.hidden = true;
  result.hidden = true;
  if (asked.hidden) {
    asked.hidden = false;
    asked.focus();
    stayAwake(true);
  }
  title.textContent = `${now.number} of ${now.of}: ${now.title}`;
  how.textContent = now.how;
  strokes.textContent = "\u25cf".repeat(now.strokes) + "\u25cb".repeat(STROKES - now.strokes);
  strokes.setAttribute("aria-label", `${now.strokes} of ${STROKES} strokes`);
  said.textContent = [now.hint, now.message, now.latest].filter(Boolean).join(" \u00b7 ");
  voices.replaceChildren(...now.voices.map((voice) => {
    const notes = voice.notes.length ? voice.notes.join(", ") : voice.asked ? "now" : "\u2013";
    const line = make("li", {}, make("span", {}, voice.title), make("b", {}, notes));
    if (voice.asked) line.setAttribute("aria-current", "step");
    return line;
  }));
}

/** @param {import("./live.js").Said} ended */
function close({ lines = [], file = "" }) {
  learnt = 0;
  stayAwake(false);
  asked.hidden = true;
  form.hidden = false;
  result.hidden = !lines.length;
  const called = file.split(/[\\/]/).at(-1) || "";
  const deeper = "../".repeat(open.drill.split("/").length - 1);
  result.replaceChildren(make("h2", {}, "The kit is learnt"),
    ...lines.map((/** @type {string} */ line) => make("p", {}, line)),
    button("choice", "Use it in this lesson", () => {
      change({ kit: deeper + called });
      notice(`This lesson is for ${called} now.`);
    }));
  (result.hidden ? start : result).focus();
}

hear((news) => {
  if (!learnt || !(news.id === learnt || news.taken || news.closed)) return;
  if (news.learning) told(news.learning);
  if (news.wrong) tell(news.wrong.said);
  if (news.broken) tell(news.broken);
  if (news.taken) tell("Another page uses MIDI now, so learning has ended.");
  if (news.busy) {
    offerTo("Learn it all the same", "Something else is using MIDI; only one thing can at a time.",
      start, () => begin(true));
  } else if (news.ended || news.wrong || news.closed) close(news.ended || {});
});

/** @type {import("./main.js").View} */
export const kit = { name: "kit", title: "Kit", show };
