// What shows where the sound is: a line in the music, the names of the step that sounds, and before
// the music the count, large.

import { make } from "./element.js";
import { light } from "./lit.js";

/** @typedef {{ systems: NodeListOf<SVGSVGElement>, place: Element, count: Element }} Page */

const still = matchMedia("(prefers-reduced-motion: reduce)");
const line = make("div", { className: "cursor" }), band = make("div", { className: "step" });
for (const element of [line, band]) element.setAttribute("aria-hidden", "true");
band.hidden = true; // until a step sounds
/** Where the drawing that it is over stands, and how large, until the page is laid out anew.
 * @type {{ system: SVGSVGElement, left: number, top: number, scale: number } | null} */
let stands = null;
const laidOut = new ResizeObserver(() => (stands = null));
let frame = 0, point = 0;
/** @type {unknown} */
let step = null;

/**
 * Follows what plays.
 * @param {import("./transport.js").Playing} run
 * @param {Page} page
 */
export function follow(run, page) {
  frame = requestAnimationFrame(() => follow(run, page));
  const { counted, cursor: points } = run.player.exercise;
  const place = run.heardPlace();
  const count = place < 0 ? counted.filter(([at]) => at <= place).at(-1)?.[1] || "" : "";
  if (page.count.textContent !== count) page.count.textContent = count;
  let i = point < points.length && points[point][0] <= place ? point : 0;
  while (i + 1 < points.length && points[i + 1][0] <= place) i++;
  point = i;
  if (!points[i]) return;
  const [time, drawing, x] = points[i];
  const next = points[i + 1];
  const now = place < time ? null : points[i];
  const glides = !still.matches && next?.[1] === drawing && place > time;
  const way = glides ? ((place - time) / (next[0] - time)) * (next[2] - x) : 0;
  standAt(page, page.systems[drawing], x + way);
  if (step !== now) {
    light(now ? page.systems[drawing] : undefined, x);
    band.hidden = !now;
    move(band, x);
  }
  step = now;
}

/** @param {Page} page */
export function leave({ count }) {
  cancelAnimationFrame(frame);
  for (const element of [line, band]) element.remove();
  stands = step = null;
  light();
  band.hidden = true;
  count.textContent = "";
}

/**
 * Moves the line.
 * @param {Page} page
 * @param {SVGSVGElement | undefined} system
 * @param {number} x
 */
function standAt(page, system, x) {
  if (!system) return;
  if (stands?.system !== system) {
    stands = placeOf(system);
    const { top, bottom } = system.getBoundingClientRect();
    const covered = page.place.getBoundingClientRect().bottom; // by the controls
    const below = parseFloat(getComputedStyle(system).scrollMarginBottom) || 0; // by areas to tap
    if (top < Math.max(0, covered) || bottom + below > innerHeight)
      system.scrollIntoView({ block: "center", behavior: still.matches ? "auto" : "smooth" });
  }
  move(line, x);
}

/**
 * @param {HTMLElement} element
 * @param {number} x in the drawing
 */
function move(element, x) {
  if (!stands) return;
  const { left, top, scale } = stands;
  element.style.transform = `translate(${(left + x * scale).toFixed(2)}px, ${top.toFixed(2)}px)`;
}

/** @param {SVGSVGElement} system */
function placeOf(system) {
  const music = system.closest(".music, section") || document.body;
  if (line.parentNode !== music) {
    laidOut.disconnect();
    laidOut.observe(music);
    music.append(band, line);
  }
  const box = system.getBoundingClientRect(), all = music.getBoundingClientRect();
  for (const element of [line, band]) element.style.height = `${box.height}px`;
  const scale = box.width / (system.viewBox.baseVal?.width || system.width.baseVal.value);
  return { system, left: box.left - all.left, top: box.top - all.top, scale };
}
