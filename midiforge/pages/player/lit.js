// What a step is called, in the music, while it sounds: its letters and its count.

/** @typedef {{ x: number, text: Element }} Name */

/** @type {WeakMap<SVGSVGElement, Name[]>} */
const named = new WeakMap();
const NEAR = 1; // tenths of a staff space
/** @type {Element[]} */
let lit = [];

/**
 * The names in a drawing, and where they stand in it.
 * @param {SVGSVGElement} system
 */
function namesIn(system) {
  const inverse = system.getScreenCTM()?.inverse();
  return [...system.querySelectorAll("text")].flatMap((text) => {
    const own = text.getScreenCTM();
    if (!own || !inverse || !text.matches(".hand, .count")) return [];
    return [{ x: inverse.multiply(own).e + Number(text.getAttribute("x")), text }];
  });
}

/**
 * Lights the names of one step, and no others.
 * @param {SVGSVGElement} [system]
 * @param {number} [at]
 */
export function light(system, at = NaN) {
  for (const text of lit) text.classList.remove("lit");
  if (system && !named.has(system)) named.set(system, namesIn(system));
  const names = (system && named.get(system)) || [];
  lit = names.filter(({ x }) => Math.abs(x - at) < NEAR).map(({ text }) => text);
  for (const text of lit) text.classList.add("lit");
}
