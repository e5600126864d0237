// The music signs of the page, which all that is engraved refers to.

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
