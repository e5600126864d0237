// What shows where the sound is: a line in the music, the names of the step that sounds, and before
// the music the count, large.

import { light } from "./lit.js";

/** @typedef {{ systems: NodeListOf<SVGSVGElement>, place: Element, count: Element }} Page */

const still = matchMedia("(prefers-reduced-motion: reduce)");
const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
line.setAttribute("class", "cursor");
line.setAttribute("aria-hidden", "true");
let frame = 0;
/** @type {unknown} */
let step = null;

/**
 * Follows what plays.
 * @param {import("./run.js").Run} run
 * @param {Page} page
 */
export function follow(run, page) {
  frame = requestAnimationFrame(() => follow(run, page));
  const { counted, cursor: points } = run.player.exercise;
  const place = run.heardPlace();
  const count = place < 0 ? counted.filter(([at]) => at <= place).at(-1)?.[1] || "" : "";
  if (page.count.textContent !== count) page.count.textContent = count;
  let i = 0;
  while (i + 1 < points.length && points[i + 1][0] <= place) i++;
  if (!points[i]) return;
  const [time, drawing, x] = points[i];
  const next = points[i + 1];
  const now = place < time ? null : points[i];
  if (step !== now) light(now ? page.systems[drawing] : undefined, x);
  step = now;
  const glides = !still.matches && next?.[1] === drawing && place > time;
  const way = glides ? ((place - time) / (next[0] - time)) * (next[2] - x) : 0;
  standAt(page, page.systems[drawing], x + way);
}

/** @param {Page} page */
export function leave({ count }) {
  cancelAnimationFrame(frame);
  line.remove();
  light();
  step = null;
  count.textContent = "";
}

/**
 * @param {Page} page
 * @param {SVGSVGElement | undefined} system
 * @param {number} x
 */
function standAt(page, system, x) {
  if (!system) return;
  if (line.parentNode !== system) {
    const { y, height } = system.viewBox.baseVal || { y: 0, height: system.height.baseVal.value };
    line.setAttribute("y1", `${y}`);
    line.setAttribute("y2", `${y + height}`);
    system.append(line);
    const { top, bottom } = system.getBoundingClientRect();
    const covered = page.place.getBoundingClientRect().bottom; // by the controls
    const below = parseFloat(getComputedStyle(system).scrollMarginBottom) || 0; // by areas to tap
    if (top < Math.max(0, covered) || bottom + below > innerHeight)
      system.scrollIntoView({ block: "center", behavior: still.matches ? "auto" : "smooth" });
  }
  line.setAttribute("x1", x.toFixed(2));
  line.setAttribute("x2", x.toFixed(2));
}
