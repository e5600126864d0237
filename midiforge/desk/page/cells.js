// A sticking as a row of cells, one a grid step: tapped, or typed with the letters on paper.

import { button, make } from "../../pages/player/element.js";
import { writeSteps } from "./lesson.js";

const NEXT = { R: "L", L: "-", "-": "R" }; // what a tap makes of a step
/** @type {Record<string, string>} */
const SAID = { R: "right hand", L: "left hand", B: "both hands", K: "bass-drum foot",
  H: "hi-hat foot", "-": "rest" };
const TYPED = /^[rlbkh-]$/i;

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

/**
 * The row of a sticking. It is drawn anew as it is changed, before the server has answered.
 * @param {HTMLElement} place
 * @param {number} number which sticking of the drill
 * @param {import("./lesson.js").Sticking} sticking
 */
export function showCells(place, number, sticking) {
  const steps = [...sticking.steps];
  const focused = place.contains(document.activeElement)
    ? Number(document.activeElement?.closest(".cell")?.getAttribute("data-step") ?? -1) : -1;
  const onAccent = !!document.activeElement?.matches(".cell-accent");

  /** @param {number} [focus] */
  function write(focus = -1) {
    writeSteps(number, steps);
    const counts = steps.map((_, i) => sticking.counts[i] ?? "");
    draw(counts, focus, false);
  }

  /**
   * @param {number} at
   * @param {KeyboardEvent} event
   */
  function keyed(at, event) {
    const { key } = event;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (TYPED.test(key)) {
      const accent = isAccented(steps[at]) && key !== "-" ? ">" : "";
      steps[at] = accent + key.toUpperCase();
      write(Math.min(at + 1, steps.length - 1));
    } else if (key === ">") {
      accent(at, at);
    } else if (key === "Backspace" || key === "Delete") {
      if (steps.length === 1) return;
      steps.splice(at, 1);
      write(Math.max(0, Math.min(key === "Delete" ? at : at - 1, steps.length - 1)));
    } else if (key === "ArrowRight" || key === "ArrowLeft") {
      focusOn(at + (key === "ArrowRight" ? 1 : -1), event.target instanceof Element
        && event.target.matches(".cell-accent"));
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }

  /**
   * @param {number} at
   * @param {number} focus
   */
  function accent(at, focus) {
    if (bare(steps[at]) === "-") return;
    steps[at] = isAccented(steps[at]) ? bare(steps[at]) : `>${bare(steps[at])}`;
    write(focus);
  }

  /**
   * @param {number} at
   * @param {boolean} accents
   */
  function focusOn(at, accents) {
    const cell = place.querySelectorAll(".cell")[at];
    const inner = cell?.querySelector(accents ? ".cell-accent" : ".cell-stroke");
    if (inner instanceof HTMLElement) inner.focus();
  }

  /**
   * @param {string[]} counts
   * @param {number} focus
   * @param {boolean} accents
   */
  function draw(counts, focus, accents) {
    const cells = steps.map((step, at) => {
      const where = counts[at] ? `on ${counts[at]}` : `step ${at + 1}`;
      const mark = button("cell-accent", isAccented(step) ? ">" : "\u00b7", () => accent(at, at));
      mark.setAttribute("aria-label", `Accent ${where}`);
      mark.setAttribute("aria-pressed", `${isAccented(step)}`);
      mark.disabled = bare(step) === "-";
      const stroke = button("cell-stroke", bare(step), () => {
        const letter = bare(step);
        const next = letter in NEXT ? NEXT[/** @type {"R"} */ (letter)] : "R";
        steps[at] = (isAccented(step) && next !== "-" ? ">" : "") + next;
        write(at);
      });
      stroke.setAttribute("aria-label", `${where}: ${said(step)}`);
      const cell = make("span", { className: "cell" }, mark, stroke,
        make("span", { className: "cell-count" }, counts[at] || ""));
      cell.dataset.step = `${at}`;
      if (/^\d/.test(counts[at] || "") && !/[^\d]/.test(counts[at])) cell.classList.add("beat");
      cell.addEventListener("keydown", (event) => keyed(at, event));
      return cell;
    });
    const longer = button("cell-more", "+", () => {
      const last = bare(steps.at(-1) || "L");
      steps.push(last === "R" ? "L" : "R");
      write(steps.length - 1);
    });
    longer.setAttribute("aria-label", "One step more");
    const shorter = button("cell-less", "\u2212", () => {
      if (steps.length > 1) steps.pop();
      write();
    });
    shorter.setAttribute("aria-label", "One step less");
    const row = make("div", { className: "cells" }, ...cells,
      make("span", { className: "cell-length" }, longer, shorter));
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", `Sticking: ${sticking.title}`);
    place.replaceChildren(row);
    if (focus >= 0) focusOn(focus, accents);
  }

  draw(sticking.counts, focused, onAccent);
}
