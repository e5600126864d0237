// Foot patterns, chosen by seeing and hearing them.

import { button, make } from "../../pages/player/element.js";
import { stop } from "../../pages/player/transport.js";
import { get, Wrong } from "./api.js";
import { type } from "./fields.js";
import { addSigns, playersOf } from "./music.js";

/** @param {import("./fields.js").Named[]} ostinatos */
export function feetChooser(ostinatos) {
  const feet = ostinatos.filter(({ kind }) => kind === "foot");
  const list = make("ul", { className: "feet-list" }, ...feet.map(entryOf));
  const all = make("details", { className: "feet" },
    make("summary", {}, "Look through the foot patterns"), list);
  const near = new IntersectionObserver((seen) => {
    for (const { target, isIntersecting } of seen)
      if (isIntersecting) {
        near.unobserve(target);
        preview(/** @type {HTMLElement} */ (target));
      }
  });
  all.addEventListener("toggle", () => {
    if (!all.open) return stop();
    for (const entry of list.querySelectorAll("li")) near.observe(entry);
  });
  return all;
}

/** @param {import("./fields.js").Named} ostinato */
function entryOf({ name, title, meter, note }) {
  const take = button("choice", "Take it", () => type("feet", name));
  take.setAttribute("aria-label", `Take ${title}`);
  const entry = make("li", {}, make("p", {}, make("b", {}, title), ` ${meter} `, take),
    ...(note ? [make("p", { className: "help" }, note)] : []), make("div", { className: "heard" }));
  entry.dataset.name = name;
  return entry;
}

/** @param {HTMLElement} entry */
async function preview(entry) {
  const place = entry.querySelector(".heard");
  if (!place) return;
  try {
    const { markup, heard, signs } = await get("api/preview", { feet: entry.dataset.name || "" });
    addSigns(signs);
    place.innerHTML = markup;
    for (const element of place.querySelectorAll("[id], [aria-labelledby]"))
      for (const name of ["id", "aria-labelledby"])
        if (element.hasAttribute(name))
          element.setAttribute(name, `${entry.dataset.name}-${element.getAttribute(name)}`);
    for (const use of place.querySelectorAll("use[href^='#n']"))
      use.setAttribute("href", `#${entry.dataset.name}-${use.getAttribute("href")?.slice(1)}`);
    playersOf(place, heard.map((/** @type {{ id: string }} */ one) =>
      ({ ...one, id: `${entry.dataset.name}-${one.id}` })));
  } catch (error) {
    if (!(error instanceof Wrong)) throw error;
    place.textContent = error.message;
  }
}
