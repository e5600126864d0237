// What was played of a round, on the staff: a tint over each notehead, shifted as far as the stroke
// was early or late, and a sign for who cannot tell colours.

import { make } from "./element.js";

/**
 * What came of what was due, `off` ms from there: a row, and what became of it.
 * @typedef {{ row: import("./lesson.js").DueRow, off?: number }} Came
 */

/** @typedef {{ tint: SVGElement, sign: SVGElement, x: number, perQuarter: number }} Mark */

export const SIGNS = {
  early: "\u2039", late: "\u203a", missed: "\u00d7", elsewhere: "\u25cb", "in time": "",
};
const WORST = ["in time", "late", "early", "elsewhere", "missed"];
const ABOVE = -4, BELOW = 14; // tenths of a staff space over the top, under the bottom

/** @type {WeakMap<import("./lesson.js").DueRow, Mark>} */
const marks = new WeakMap();

/**
 * @param {string} tag
 * @param {Record<string, string | number>} attributes
 */
function drawn(tag, attributes) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, `${value}`);
  return element;
}

/**
 * The marks of an exercise, made once, where its cursor has columns; several strokes of what
 * repeats may stand at one notehead.
 * @param {import("./lesson.js").Exercise} exercise
 * @param {Element} section
 * @param {import("./lesson.js").Hearing} hearing
 */
function makeMarks({ due, cursor }, section, { look }) {
  const systems = section.querySelectorAll("svg.system");
  /** @type {Map<string, Mark>} */
  const places = new Map();
  for (const row of due?.strokes || []) {
    const [at, , , limbs, y] = row;
    let i = 0;
    while (i + 1 < cursor.length && Math.abs(cursor[i + 1][0] - at) <= Math.abs(cursor[i][0] - at))
      i++;
    const [time, drawing, x] = cursor[i];
    const [next] = [cursor[i + 1], cursor[i - 1]].filter((other) => other?.[1] === drawing);
    const name = `${drawing} ${x} ${y}`;
    const known = places.get(name);
    if (known) {
      marks.set(row, known);
      continue;
    }
    const system = systems[drawing];
    if (!system) continue;
    const group = system.querySelector(".struck") || system.appendChild(
      drawn("g", { class: "struck", "aria-hidden": "true" }));
    const height = system.getAttribute("viewBox")?.split(" ").map(Number)[3] || 0;
    const isFoot = limbs.endsWith("F");
    const mark = {
      tint: drawn("ellipse", { cx: x, cy: y, rx: look.wide, ry: look.high }),
      sign: drawn("text", { x, y: isFoot ? height + BELOW : ABOVE }),
      x,
      perQuarter: next ? Math.abs((next[2] - x) / (next[0] - time)) : 0,
    };
    group.append(mark.tint, mark.sign);
    places.set(name, mark);
    marks.set(row, mark);
  }
}

/**
 * Shows what became of what was due in a round.
 * @param {{ asked: Came[], states: Map<Came, string>, quarter: number }} judged its quarter note
 *   in seconds
 * @param {import("./lesson.js").Exercise} exercise
 * @param {Element} section
 * @param {import("./lesson.js").Hearing} hearing
 */
export function showOnStaff({ asked, states, quarter }, exercise, section, hearing) {
  const { magnified, furthest } = hearing.look, step = exercise.due?.step || 1;
  if (exercise.due && !marks.has(exercise.due.strokes[0])) makeMarks(exercise, section, hearing);
  /** @type {Map<Mark, Came[]>} */
  const here = new Map();
  for (const due of asked) {
    const mark = marks.get(due.row);
    if (mark) here.set(mark, [...(here.get(mark) || []), due]);
  }
  for (const [mark, dues] of here) {
    const worst = Math.max(...dues.map((due) => WORST.indexOf(states.get(due) || "")));
    const state = /** @type {keyof typeof SIGNS} */ (WORST[worst]);
    const offs = dues.flatMap(({ off }) => (off === undefined ? [] : [off]));
    const off = offs.reduce((sum, each) => sum + each, 0) / (offs.length || 1);
    const steps = (magnified * off) / 1000 / quarter / step;
    const way = Math.max(-furthest, Math.min(furthest, steps)) * step * mark.perQuarter;
    mark.tint.setAttribute("cx", (mark.x + way).toFixed(1));
    for (const element of [mark.tint, mark.sign])
      element.setAttribute("class", state.replace(" ", "-"));
    mark.sign.textContent = SIGNS[state];
  }
}

export function clearStaff() {
  for (const element of document.querySelectorAll(".struck > *")) {
    element.removeAttribute("class");
    if (element.tagName === "text") element.textContent = "";
  }
}

/**
 * A round in a sentence: its figures, and for who hears the page which strokes they are of.
 * @param {import("./take.js").Judged} judged
 */
export function said({ round, isWhole, asked, states, extra, heard }) {
  const name = `Round ${round + 1}${isWhole ? "" : ", in part"}`;
  if (!heard) return [make("span", {}, `${name}: nothing was heard.`)];
  const of = (/** @type {string} */ state) => asked.filter((due) => states.get(due) === state);
  const offs = asked.flatMap(({ off }) => (off === undefined ? [] : [off]));
  const off = Math.round(offs.reduce((sum, each) => sum + each, 0) / (offs.length || 1));
  const counted = [
    `${of("in time").length} of ${asked.length} in time`,
    ...["early", "late", "missed"].flatMap((state) =>
      of(state).length ? [`${of(state).length} ${state}`] : []),
    ...(extra ? [`${extra} more than written`] : []),
  ];
  const mean = !offs.length ? "" :
    off ? `; on average ${Math.abs(off)} ms ${off < 0 ? "early" : "late"}` : "; on the click";
  const bars = new Set(asked.map(({ row }) => row[5])).size;
  const places = ["early", "late", "missed"].flatMap((state) => {
    const strokes = of(state).map((due) => strokeSaid(due, bars > 1));
    return strokes.length ? [` ${state}: ${strokes.join(", ")}.`] : [];
  });
  return [
    make("span", {}, `${name}: ${counted.join(", ")}${mean}.`),
    make("span", { className: "aloud" }, places.join("")),
  ];
}

/** @type {Record<string, string>} */
const STRIKERS = {
  RH: "right hand", LH: "left hand", RF: "right foot", LF: "left foot", "RH+LH": "both hands",
};

/**
 * @param {import("./take.js").Asked} due
 * @param {boolean} inBars
 */
function strokeSaid({ row: [, , , limbs, , bar, count] }, inBars) {
  return `${STRIKERS[limbs] || limbs} on ${inBars ? `bar ${bar}, ` : ""}${count}`;
}
