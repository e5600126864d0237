// A sticking as a row of cells, one a grid step: tapped, or typed with the letters on paper.

import { button, make } from "../../pages/player/element.js";
import { writeSteps } from "./lesson.js";
import { isWriting } from "./sending.js";

const NEXT = { R: "L", L: "-", "-": "R" }; // what a tap makes of a step
/** @type {Record<string, string>} */
const SAID = { R: "right hand", L: "left hand", B: "both hands", K: "bass-drum foot",
  H: "hi-hat foot", "-": "rest" };
const TYPED = /^[rlbkh-]$/i;

/** @param {string} count such as "2", which "2e" is not */
const isBeat = (count) => /^\d+$/.test(count);
/** @param {string} step such as ">R" or "(L)" */
const isAccented = (step) => step.includes(">");
/** @param {string} step */
const bare = (step) => step.replaceAll(">", "");

/** @param {string} step */
function said(step) {
  const letter = bare(step).replace(/[()z]/g, "").replace(/^[rl]+/, "");
  const words = [SAID[letter] || letter];
  if (isAccented(step)) words.push("accented");
  if (step.includes("(")) words.push("ghost note");
  if (/^[rl]/.test(bare(step))) words.push("with grace notes");
  if (step.includes("z")) words.push("buzz");
  return words.join(", ");
}

/** The row of a sticking. It shows what is tapped or typed before the server has answered. */
export class Row {
  /** @param {number} number which sticking of the drill */
  constructor(number) {
    this.number = number;
    /** @type {string[]} */
    this.steps = [];
    /** @type {string[]} */
    this.counts = [];
    this.element = make("div", { className: "cells" });
    this.element.setAttribute("role", "group");
  }

  /** @param {import("./lesson.js").Sticking} sticking as the file has it */
  show({ title, steps, counts }) {
    this.element.setAttribute("aria-label", `Sticking: ${title}`);
    if (isWriting()) return; // what was typed since comes behind
    this.steps = [...steps];
    this.counts = counts;
    this.draw();
  }

  /**
   * Writes what is there now.
   * @param {number} [focus] the step to go on with
   */
  write(focus = -1) {
    writeSteps(this.number, [...this.steps]);
    this.draw();
    if (focus >= 0) this.focusOn(Math.min(focus, this.steps.length - 1));
  }

  /**
   * @param {number} at
   * @param {boolean} [accents]
   */
  focusOn(at, accents = false) {
    const cell = this.element.querySelectorAll(".cell")[at];
    const inner = cell?.querySelector(accents ? ".cell-accent" : ".cell-stroke");
    if (inner instanceof HTMLElement) inner.focus();
  }

  /** @param {number} at */
  accent(at) {
    const step = this.steps[at];
    if (bare(step) === "-") return;
    this.steps[at] = isAccented(step) ? bare(step) : `>${bare(step)}`;
    this.write();
  }

  /**
   * Puts another stroke on a step, which keeps its accent.
   * @param {number} at
   * @param {string} letter
   */
  strike(at, letter) {
    this.steps[at] = (isAccented(this.steps[at]) && letter !== "-" ? ">" : "") + letter;
  }

  /**
   * @param {number} at
   * @param {KeyboardEvent} event
   */
  keyed(at, event) {
    const { key, target } = event;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (TYPED.test(key)) {
      this.strike(at, key.toUpperCase());
      this.write(at + 1);
    } else if (key === ">") {
      this.accent(at);
    } else if (key === "Backspace" || key === "Delete") {
      if (this.steps.length > 1) this.steps.splice(at, 1);
      this.write(Math.max(0, key === "Delete" ? at : at - 1));
    } else if (key === "ArrowRight" || key === "ArrowLeft") {
      const isAccent = target instanceof Element && target.matches(".cell-accent");
      this.focusOn(at + (key === "ArrowRight" ? 1 : -1), isAccent);
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }

  /** Cells that are there are changed, so that the one that has the focus keeps it. */
  draw() {
    const cells = this.element.querySelectorAll(".cell");
    const begins = this.steps.map((_, at) => at === 0 || isBeat(this.counts[at] || ""));
    const known = [...cells].map((cell) => cell.previousElementSibling === null);
    if (`${begins}` !== `${known}`) this.lay(begins);
    this.element.querySelectorAll(".cell").forEach((cell, at) => {
      const step = this.steps[at], count = this.counts[at] || "";
      const [accent, stroke, counted] = /** @type {HTMLButtonElement[]} */ ([...cell.children]);
      const where = count ? `on ${count}` : `step ${at + 1}`;
      accent.textContent = isAccented(step) ? ">" : "\u00b7";
      accent.disabled = bare(step) === "-";
      accent.setAttribute("aria-label", `Accent ${where}`);
      accent.setAttribute("aria-pressed", `${isAccented(step)}`);
      stroke.textContent = bare(step);
      stroke.setAttribute("aria-label", `${where}: ${said(step)}`);
      counted.textContent = count;
      cell.classList.toggle("beat", isBeat(count));
    });
  }

  /**
   * Lays out as many cells as there are steps, beat by beat.
   * @param {boolean[]} begins whether a beat begins
   */
  lay(begins) {
    /** @type {HTMLElement[]} */
    const beats = [];
    begins.forEach((isFirst, at) => {
      const cell = make("span", { className: "cell" },
        button("cell-accent", "", () => this.accent(at)),
        button("cell-stroke", "", () => {
          this.strike(at, NEXT[/** @type {"R"} */ (bare(this.steps[at]))] || "R");
          this.write();
        }),
        make("span", { className: "cell-count" }));
      cell.dataset.step = `${at}`;
      cell.addEventListener("keydown", (event) => this.keyed(at, event));
      if (isFirst) beats.push(make("span", { className: "cell-beat" }));
      beats.at(-1)?.append(cell);
    });
    const longer = button("cell-more", "+", () => {
      this.steps.push(bare(this.steps.at(-1) || "") === "R" ? "L" : "R");
      this.write(this.steps.length - 1);
    });
    const shorter = button("cell-less", "\u2212", () => {
      if (this.steps.length > 1) this.steps.pop();
      this.write();
    });
    longer.setAttribute("aria-label", "One step more");
    shorter.setAttribute("aria-label", "One step less");
    this.element.replaceChildren(...beats,
      make("span", { className: "cell-length" }, longer, shorter));
  }
}
