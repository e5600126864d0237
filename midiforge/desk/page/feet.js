// Foot patterns, chosen by seeing and hearing them.

import { button, make } from "../../pages/player/element.js";
import { stop } from "../../pages/player/transport.js";
import { get, Wrong } from "./api.js";
import { type } from "./fields.js";
import { look } from "./lesson.js";
import { playersOf } from "./music.js";
import { addSigns } from "./signs.js";

/** @param {import("./fields.js").Named[]} ostinatos */
export function feetChooser(ostinatos) {
  const feet = ostinatos.filter(({ kind }) => kind === "foot");
  const entries = feet.map(entryOf);
  const list = make("ul", { className: "feet-list" }, ...entries);
  const own = make("input", { type: "checkbox" });
  own.checked = true;
  const words = make("input", { type: "search", placeholder: "such as samba" });
  words.setAttribute("aria-label", "Foot patterns whose names have");
  const many = make("span", { className: "help" });
  many.setAttribute("role", "status");
  const meterSaid = make("span", {}, "4/4");
  const all = make("details", { className: "feet" },
    make("summary", {}, "Look through the foot patterns"),
    make("div", { className: "feet-tools" }, words,
      make("label", {}, own, "Only those that fit\u00a0", meterSaid), many),
    list);
  /** @type {string[]} */
  let fitting = [];
  const choose = () => {
    const wanted = words.value.trim().toLowerCase();
    feet.forEach((one, i) => {
      const named = `${one.title} ${one.name} ${one.family}`.toLowerCase().includes(wanted);
      entries[i].hidden = !named || (own.checked && !fitting.includes(one.name));
    });
    const shown = entries.filter(({ hidden }) => !hidden).length;
    many.textContent = `${shown} of ${feet.length}`;
  };
  own.addEventListener("input", choose);
  words.addEventListener("input", choose);
  const near = new IntersectionObserver((seen) => {
    for (const { target, isIntersecting } of seen)
      if (isIntersecting) {
        near.unobserve(target);
        preview(/** @type {HTMLElement} */ (target));
      }
  });
  all.addEventListener("toggle", () => {
    if (!all.open) return stop();
    for (const entry of entries) near.observe(entry);
    all.scrollIntoView({ block: "start" }); // the patterns, not just the line that opens them
  });
  look((lesson) => {
    if (lesson.error) return;
    meterSaid.textContent = lesson.meter;
    fitting = lesson.fitting;
    choose();
  });
  return all;
}

/** @param {import("./fields.js").Named} ostinato */
function entryOf({ name, title, meter, note }) {
  const take = button("choice", "Take it", () => type("feet", name));
  take.setAttribute("aria-label", `Take it: ${title}`);
  const entry = make("li", {}, make("p", {}, make("b", {}, title), `${meter}`, take),
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
