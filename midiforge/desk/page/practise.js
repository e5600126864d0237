// Practising at the kit: what a session is to be, the session itself, and what is left of it.

import { stayAwake } from "../../pages/player/awake.js";
import { button, make } from "../../pages/player/element.js";
import { stop } from "../../pages/player/transport.js";
import { get, Wrong } from "./api.js";
import { dayLink, days, showDays } from "./days.js";
import { look, open } from "./lesson.js";
import { hear, newName, say } from "./live.js";
import { tell } from "./news.js";
import { lookAtPorts, OWN_PORT, portChoice, ports } from "./ports.js";
import { Sounding } from "./sounding.js";
import { hideStage, showPaused, showStage, stage } from "./stage.js";
import { Stand } from "./stand.js";
import { keep } from "./tab.js";
import { offer, withdraw } from "./taking.js";

const NO_KIT = "Without a kit on MIDI it goes by the clock; the log keeps only what hurts.";

const kit = portChoice("practise-kit", "The kit is on", "input",
  [["", "no kit: by the clock"]], false, () => ask());
let isChosen = false;
const output = portChoice("practise-output", "Sound from", "output",
  [["", "this browser"]], true, () => {
    isChosen = true;
    ask();
  });

/** What is asked before a session. */
const minutes = Object.assign(make("input", { type: "number", id: "practise-minutes", min: "5",
  max: "180", value: "30" }), { required: true });
const player = make("input", { type: "text", id: "practise-player", maxLength: "60" });
const measure = make("input", { type: "checkbox" });
const sounded = Object.assign(make("input", { type: "checkbox" }), { checked: true });
const others = make("fieldset", {}, make("legend", {}, "Lessons in it"));
const known = make("p", { className: "help" });
const start = button("practise-start", "Start the session", () => begin(false));
/** Why it cannot be started. */
const why = make("p", { className: "help", id: "practise-why" });
start.setAttribute("aria-describedby", why.id);
const form = make("form", { className: "form practise-form" });
const result = make("section", { className: "practise-result", tabIndex: "-1" });

/** @type {{ id: number, stand: Stand, sounding: Sounding | null } | null} */
let session = null;
/** The kit whose delay was asked for last: what is ticked is the player's from then on. */
let asked = "";
/** What is said when it has ended. */
let ending = "";

/** @param {HTMLElement} place */
async function show(place) {
  const line = (/** @type {HTMLInputElement} */ input, /** @type {string} */ text) =>
    make("label", { className: "port-choice switch" }, input, text);
  const field = (/** @type {HTMLInputElement} */ input, /** @type {string} */ text) =>
    make("div", { className: "field" }, make("label", { htmlFor: input.id }, text), input);
  form.append(make("h2", {}, "A session at the kit"),
    make("p", {}, "It plans the minutes from what was played before, sounds what is new, hears "
      + "you play to the click, and goes slower, faster or on. Put the screen on a music stand."),
    others, field(minutes, "Minutes"), field(player, "Who plays"), kit.field(),
    output.field(), line(sounded, "Sound what is new before I play it"),
    line(measure, "Measure the delay of the kit first, with eight strokes"), known,
    make("div", { className: "do" }, why, start));
  others.addEventListener("change", canStart);
  minutes.addEventListener("input", canStart);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    begin(false);
  });
  result.hidden = true;
  result.setAttribute("aria-label", "What is left of the session");
  place.append(form, result, stage, make("section", {}, make("h2", {}, "Days"), days));
  lookAtPorts(choosePorts);
  look(() => form.offsetParent && back()); // out of sight it is asked for when one comes back
}

function choosePorts() {
  if (!isChosen && !output.value && ports.output.length) output.set(ports.output[0]);
  if (!kit.value && ports.input.length === 1) kit.set(ports.input[0]);
  ask();
}

function canStart() {
  why.textContent = !minutes.checkValidity() ? `Minutes: ${minutes.min} to ${minutes.max}.`
    : others.querySelector(":checked") ? "" : "Tick a lesson first.";
  start.disabled = !!why.textContent;
}

/** What is known before a session. */
async function ask() {
  if (!open.drill || !form.isConnected) return;
  canStart();
  const question = { drill: open.drill, input: kit.value, browser: output.value ? "" : "1" };
  const told = await get("api/practise", question).catch((error) => {
    if (!(error instanceof Wrong)) throw error;
    return null;
  });
  if (!told) return;
  measure.disabled = !kit.value;
  if (kit.value !== asked) measure.checked = !!kit.value && told.delay === null;
  asked = kit.value;
  if (!player.value) player.value = told.player;
  const delay = told.delay === null ? "Its delay is not known yet."
    : `Its delay is ${Math.round(told.delay)} ms, as it was measured.`;
  known.textContent = kit.value ? delay : NO_KIT;
  showDays(told.days);
}

async function back() {
  const { drills, titles } = await get("api/drills");
  const before = new Set([...others.querySelectorAll("input")].filter(({ checked }) => checked)
    .map(({ value }) => value));
  others.replaceChildren(make("legend", {}, "Lessons in it"),
    ...drills.map((/** @type {string} */ name) => make("label", { className: "port-choice switch" },
      Object.assign(make("input", { type: "checkbox", value: name }),
        { checked: name === open.drill || before.has(name) }), titles[name])));
  await ask();
}

/** @param {boolean} over whether what another page plays ends for it */
function begin(over) {
  stop();
  withdraw();
  const chosen = [...others.querySelectorAll("input")].filter(({ checked }) => checked)
    .map(({ value }) => value);
  session?.stand.end();
  session?.sounding?.end();
  keep("player", player.value.trim());
  const sounding = output.value ? null : new Sounding();
  ending = "The session has ended.";
  session = { id: newName(), stand: new Stand(), sounding };
  const virtual = output.value === OWN_PORT;
  say({ do: "practise", id: session.id, over, drills: chosen, minutes: Number(minutes.value),
    player: player.value, input: kit.value, port: virtual ? "" : output.value, virtual,
    measure: measure.checked, unheard: !sounded.checked,
    ...(sounding && { browser: true, later: sounding.later }) });
  open_(session.stand);
}

/** @param {Stand} stand */
function open_(stand) {
  showStage(stand);
  form.hidden = result.hidden = true;
  stayAwake(true);
}

/** @param {import("./live.js").Said} ended */
function close({ lines = [], troubles = [], page = "", caution = "" }) {
  if (!session) return;
  session.stand.end();
  session.sounding?.end();
  session = null;
  asked = ""; // its delay may be known now
  stayAwake(false);
  hideStage();
  form.hidden = false;
  result.hidden = !lines.length && !troubles.length;
  result.replaceChildren(make("h2", {}, "The session is over"),
    ...lines.map((/** @type {[number, string]} */ [indent, text]) =>
      Object.assign(make("p", { className: indent ? "indented" : "" }, text))),
    ...troubles.map((/** @type {string} */ text) => make("p", { className: "wrong" }, text)),
    ...(page ? [make("p", {}, "All of it on one page: ", dayLink(page))] : []),
    make("p", { className: "help" }, caution));
  (result.hidden ? start : result).focus();
  ask();
}

hear((said) => {
  if (!session || !(said.id === session.id || said.taken || said.closed)) return;
  const { stand, sounding } = session;
  if (said.sound) sounding?.sound(said.sound);
  if (said.exercise) stand.engraved(said.exercise);
  if (said.bar) stand.bar({ ...said.bar, at: said.bar.at + (sounding?.later || 0) });
  if (said.scene) {
    stand.show(said.scene);
    showPaused(said.scene.paused);
  }
  if (said.said) tell(said.said);
  if (said.wrong) tell(said.wrong.said);
  if (said.busy) offerIt();
  if (said.taken) ending = "Another page plays now, so the session has ended.";
  if (said.closed) ending = "midiforge was away for a moment: the session has ended. What you "
    + "played is kept.";
  if (said.broken) ending = said.broken;
  if (said.ended || said.closed) tell(ending);
  if (said.ended || said.wrong || said.closed || said.busy) close(said.ended || {});
});

function offerIt() {
  offer("Start here instead", "Something else is using MIDI; only one thing can at a time.", start,
    () => begin(true));
}

addEventListener("beforeunload", (event) => {
  if (session) event.preventDefault(); // it would end with the page
});

/** @type {import("./main.js").View} */
export const practising = { name: "practise", title: "Practise", show, back,
  leave: () => session && say({ do: "stop" }) };
