// Music that the server has engraved, put on the page.

import { build } from "../../pages/player/controls.js";

/**
 * Puts players into markup that is on the page.
 * @param {Element} element
 * @param {import("../../pages/player/lesson.js").Exercise[]} heard
 */
export function playersOf(element, heard) {
  return heard.flatMap((exercise) => {
    const section = element.querySelector(`[id="${exercise.id}"]`);
    const place = section?.querySelector(".player");
    return section && place ? [build(exercise, section, place)] : [];
  });
}

/**
 * Adds the outlines of music signs that the page does not have yet.
 * @param {string} signs
 */
export function addSigns(signs) {
  const all = document.getElementById("signs");
  const parsed = new DOMParser().parseFromString(
    `<svg xmlns="http://www.w3.org/2000/svg">${signs}</svg>`, "image/svg+xml");
  for (const sign of parsed.querySelectorAll("path"))
    if (!document.getElementById(sign.id)) all?.append(document.importNode(sign, true));
}
