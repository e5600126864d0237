// A session as it stands on a music stand: what to do, large; the staff with what became of the
// last strokes; a sentence.

import { follow, leave } from "../../pages/player/cursor.js";
import { make } from "../../pages/player/element.js";
import { clearStaff, showOnStaff, SIGNS } from "../../pages/player/onstaff.js";
import { placeIn } from "./bars.js";
import { open } from "./lesson.js";
import { clock } from "./live.js";
import { addSigns } from "./signs.js";

/**
 * Where a session is; `exercise` is the name of what stands on the staff, 0 for nothing. A mark:
 * when something was due, its pad, what became of it, how many ms off it was.
 * @typedef {[at: number, pad: string, became: string, off: number]} Mark
 * @typedef {{
 *   mode: string, elapsed: string, of: string, phase: string, drill: string, now: string,
 *   last: boolean, counts: boolean, lines: [head: string, said: string][], marks: Mark[],
 *   extra: number, hears: boolean, hurts: boolean, waits: boolean, paused: boolean,
 *   exercise: number,
 * }} Scene
 *
 * An exercise, engraved.
 * @typedef {{
 *   name: number, number: string, title: string, hands: [hand: string, on: string][],
 *   markup: string, signs: string, why?: string,
 *   heard: import("../../pages/player/lesson.js").Exercise[],
 * }} Engraved
 */

const SAME = 1e-3; // quarter notes
/** What shows the count of the player's own pages, and where its controls end: neither is here. */
const NOWHERE = make("span", {});

export class Stand {
  constructor() {
    this.where = make("p", { className: "stand-where" });
    this.title = make("h2", { className: "stand-title" });
    this.count = make("span", { className: "stand-count" });
    this.count.setAttribute("aria-hidden", "true");
    this.word = make("span", { className: "stand-word" });
    this.hands = make("p", { className: "stand-hands" });
    this.staff = make("div", { className: "stand-staff" });
    this.legend = make("p", { className: "stand-legend" }, ["early", "late", "missed", "elsewhere"]
      .map((name) => `${SIGNS[/** @type {keyof typeof SIGNS} */ (name)]} ${name}`).join("   "));
    this.more = make("span", {});
    this.legend.append(this.more);
    this.lines = make("div", { className: "stand-lines" });
    this.lines.setAttribute("role", "status");
    const now = make("div", { className: "stand-now" }, this.count, this.word, this.hands);
    this.element = make("div", { className: "stand-music" }, this.where, this.title, now,
      this.staff, this.legend, this.lines);
    /** @type {Map<number, Engraved>} */
    this.known = new Map();
    this.shown = 0;
    /** @type {import("../../pages/player/lesson.js").Exercise | null} */
    this.exercise = null;
    /** @type {import("./bars.js").Bar[]} */
    this.bars = [];
    /** @type {Scene | null} */
    this.scene = null;
    this.said = "";
    this.isFollowed = false;
    this.frame = requestAnimationFrame(() => this.beat());
  }

  /** @param {Engraved} exercise */
  engraved(exercise) {
    this.known.set(exercise.name, exercise);
    if (this.scene) this.show(this.scene);
  }

  /** @param {import("./bars.js").Bar} bar */
  bar(bar) {
    this.bars = [...this.bars.slice(-1), bar];
  }

  /** @param {Scene} scene */
  show(scene) {
    this.scene = scene;
    const { elapsed, of, phase, drill, now, lines, exercise, marks, extra, mode } = scene;
    this.where.textContent = [`${elapsed} of ${of}`, phase, drill].filter(Boolean).join(" · ");
    this.word.textContent = now;
    this.element.dataset.mode = mode;
    const text = lines.map((line) => line.join("")).join("\n");
    if (text !== this.said)
      this.lines.replaceChildren(...lines.map(([head, said]) =>
        make("p", {}, ...(head ? [make("strong", {}, `${head}: `)] : []), said)));
    this.said = text;
    if (exercise !== this.shown) this.turnTo(exercise);
    this.mark(marks);
    this.more.textContent = extra ? `   + ${extra} too many` : "";
    this.legend.hidden = !marks.length;
    this.followIf(["play", "listen", "count in"].includes(mode));
  }

  /** @param {number} name */
  turnTo(name) {
    const engraved = this.known.get(name);
    if (name && !engraved) return; // it comes
    this.followIf(false);
    this.shown = name;
    this.exercise = engraved?.heard[0] || null;
    this.title.textContent = engraved ? `${engraved.number}  ${engraved.title}` : "";
    this.hands.replaceChildren(...(engraved?.hands || []).map(([hand, on]) =>
      make("span", {}, make("b", {}, `${hand}: `), on)));
    if (engraved) addSigns(engraved.signs);
    this.staff.innerHTML = engraved?.markup || "";
    for (const { id } of this.exercise ? [this.exercise] : [])
      this.staff.querySelector(`[id="${id}"]`)?.removeAttribute("aria-labelledby");
    for (const element of this.staff.querySelectorAll("[id]")) element.removeAttribute("id");
    if (engraved?.why) this.staff.replaceChildren(make("p", {}, engraved.why));
  }

  /** @param {Mark[]} marks */
  mark(marks) {
    const { exercise } = this, hearing = open.lesson?.hearing;
    if (!exercise?.due || !hearing) return;
    if (!marks.length) return clearStaff();
    const { entry, length, due: { strokes } } = exercise;
    /** @type {Map<import("../../pages/player/lesson.js").DueRow, Mark>} */
    const latest = new Map();
    for (const mark of marks) {
      const place = mark[0] < entry + length - SAME ? mark[0]
        : entry + ((mark[0] - entry + SAME) % length) - SAME;
      const row = strokes.find(([at, , pad]) => pad === mark[1] && Math.abs(at - place) < SAME);
      if (row) latest.set(row, mark);
    }
    const states = new Map();
    const asked = [...latest].map(([row, [, , became, off]]) => {
      const due = { row, off: became === "missed" ? undefined : off };
      states.set(due, became);
      return due;
    });
    const quarter = (this.bars.at(-1)?.quarter || 500) / 1000;
    showOnStaff({ asked, states, quarter }, exercise, this.staff, hearing);
  }

  heardPlace() {
    return this.bars.length ? placeIn(this.bars, clock()) : -Infinity;
  }

  /** @param {boolean} isIt */
  followIf(isIt) {
    const wanted = isIt && !!this.exercise?.cursor.length;
    if (wanted === this.isFollowed) return;
    this.isFollowed = wanted;
    const systems = /** @type {NodeListOf<SVGSVGElement>} */ (
      this.staff.querySelectorAll("svg.system"));
    const page = { place: NOWHERE, systems, count: NOWHERE };
    if (!wanted) return leave(page);
    const { exercise } = this;
    const { entry, length } = /** @type {import("../../pages/player/lesson.js").Exercise} */ (
      exercise);
    const at = () => {
      const place = this.heardPlace();
      return place < entry + length ? place : entry + ((place - entry) % length);
    };
    follow(/** @type {any} */ ({ player: { exercise }, heardPlace: at }), page);
  }

  /** The count, frame by frame. */
  beat() {
    this.frame = requestAnimationFrame(() => this.beat());
    const bar = this.bars.at(-1);
    let count = "";
    if (this.scene?.counts && bar) {
      const within = placeIn([bar], clock()) - bar.start;
      const beats = this.scene.mode === "strike with the click"
        ? Math.floor(within) + 1 : bar.beats.filter((at) => at <= within + SAME).length;
      count = within < 0 ? "" : `${beats}`;
    }
    if (this.count.textContent !== count) this.count.textContent = count;
  }

  end() {
    cancelAnimationFrame(this.frame);
    this.followIf(false);
  }
}
