// Hears what a student plays along, and shows it: the panel below the controls.

import { Measure } from "./delay.js";
import { download } from "./download.js";
import { button, make } from "./element.js";
import { keep, kept } from "./kept.js";
import { heardAt, opened } from "./mixer.js";
import { clearStaff, said, showOnStaff } from "./onstaff.js";
import { settings } from "./settings.js";
import { isStruck, takeFile } from "./smf.js";
import { areasGroup, askForKeys, hearKits, listenWith, showAreas } from "./sources.js";
import { strike } from "./strike.js";
import { Take } from "./take.js";

const LOOK_MS = 60; // between two looks at what is over

/** What is the same for all exercises of the page.
 * @type {import("./lesson.js").Hearing | null} */
let page = null;
/** @type {Take | null} */
let take = null;
let began = new Date();
let timer = 0;
/** @type {Measure | null} */
let measure = null;
let hearsKits = false;

const ears = make("p", { className: "ears" });
const judgement = make("p", { className: "judged" });
judgement.setAttribute("role", "status");
const saveTake = button("hearing-save", "Save the take", () => {
  if (take) download(takeFile(take, began), "audio/midi", `${take.exercise.numbers[0]}, take.mid`);
});
const panel = make("div", { className: "hearing" }, ears, areasGroup, judgement,
  make("div", { className: "hearing-tools" },
    button("hearing-keys", "Other keys", askForKeys),
    button("hearing-delay", "Measure the delay", measureDelay),
    saveTake));

/** @param {string} sentence */
function tell(sentence) {
  judgement.textContent = sentence;
}

/** @param {import("./lesson.js").Hearing} hearing */
export function prepare(hearing) {
  page = hearing;
  listenWith({ came, tell });
}

/**
 * Begins to hear, or leaves off.
 * @param {import("./run.js").Run | null} run what plays
 * @param {Element} place the controls it was asked for at
 */
export function listen(run, place) {
  document.body.classList.toggle("listening", !!settings.strokes);
  if (settings.strokes) {
    if (!hearsKits) hearKits((sentence) => (ears.textContent = sentence));
    hearsKits = true;
    showPanel(run?.player.place || place);
    if (run) begin(run);
  } else {
    end();
    stopMeasuring();
    panel.remove();
    clearStaff();
  }
}

/** @param {Element} place */
function showPanel(place) {
  saveTake.disabled = !take?.strokes.length;
  if (panel.parentNode !== place) place.append(panel);
}

/** @param {import("./run.js").Run} run */
export function begin(run) {
  const { place, exercise } = run.player;
  if (!settings.strokes || !page || !exercise.due) return;
  const rows = exercise.due.strokes;
  stopMeasuring();
  clearStaff();
  const at = run.placeAt(run.context.currentTime);
  take = new Take(run, page, Math.max(run.begin, at));
  began = new Date();
  showAreas((limb) => rows.some((row) => row[3].includes(limb)));
  showPanel(place);
  tell("");
  clearInterval(timer);
  timer = setInterval(() => look(run), LOOK_MS);
}

/** @param {import("./run.js").Run} run */
function look(run) {
  if (!take || !page) return;
  if (run.pace.slower !== take.pace.slower) {
    take = new Take(run, page, run.pace.at);
    began = new Date();
  }
  const now = heardAt(run.context, performance.now());
  take.advance(now);
  for (let judged = take.over(now); judged; judged = take.over(now)) showRound(judged);
}

/** @param {import("./take.js").Judged} judged */
function showRound(judged) {
  if (!take || !page) return;
  judgement.replaceChildren(...said(judged));
  if (judged.heard) showOnStaff(judged, take.exercise, take.run.player.section, page);
  saveTake.disabled = !take.strokes.length;
}

/** What plays has stopped. */
export function end() {
  if (!timer || !take) return;
  clearInterval(timer);
  timer = 0;
  const judged = take.broken();
  if (judged.heard) showRound(judged);
}

/** @param {import("./sources.js").Came} what */
function came({ from, stamp, limb, bytes }) {
  if (!settings.strokes || !page) return;
  const isStroke = !bytes || isStruck(bytes);
  if (measure && isStroke) {
    measure.tap(heardAt(opened().context, stamp), from);
    if (measure) tell(`${measure.left} more.`);
  } else if (take && timer && (isStroke || isKept(bytes))) {
    const time = heardAt(take.run.context, stamp) - (kept.delays[from] || 0) / 1000;
    const note = bytes ? bytes[1] : take.rowOf(limb || "", time)?.[1];
    if (note === undefined) return;
    const pad = (isStroke && page.pads[note]) || "";
    const last = take.strokes.at(-1);
    // A drum that both hands strike at once is struck once.
    const again = limb && last?.pad === pad && 1000 * (time - last.time) < page.limits.doubleMs;
    if (!again) take.add({ time, note, pad, velocity: bytes ? bytes[2] : page.velocity, bytes });
  }
}

/** Whether a message that is no stroke belongs to a take: the pedal of a hi-hat.
 * @param {Uint8Array | undefined} bytes */
function isKept(bytes) {
  return !!bytes && (bytes[0] & 0xf0) === 0xb0;
}

function stopMeasuring() {
  measure?.end();
  measure = null;
}

function measureDelay() {
  if (timer) return tell("Stop the music first.");
  stopMeasuring();
  const { context, gains } = opened();
  tell("Listen to the click, then play eight beats with it: with a key, an area, or on the kit.");
  measure = new Measure(context, gains["count-in"], strike, (delay) => {
    measure = null;
    if ("tooUneven" in delay) return tell("These taps are too far apart to tell: measure again.");
    kept.delays[delay.from] = delay.ms;
    const lost = keep() ? "" : " This browser does not keep that.";
    tell(`What is played on the ${delay.from} arrives ${delay.ms} ms late: taken off now.${lost}`);
  });
}
