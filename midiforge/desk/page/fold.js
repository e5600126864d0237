// What is seldom wanted, folded away.

import { make } from "../../pages/player/element.js";
import { titleOf } from "./fields.js";
import { look } from "./lesson.js";

/**
 * Fields that are seldom wanted; what the lesson has of them is told where they are folded.
 * @param {string} title
 * @param {import("./fields.js").Key[]} keys
 * @param {HTMLElement[]} fields
 */
export function fold(title, keys, fields) {
  const set = make("span", { className: "set" });
  look(({ values }) => {
    const own = keys.filter(({ name }) => values[name]);
    set.textContent = own.map(({ name }) => `${titleOf(name)}: ${values[name]}`).join(" · ");
  });
  return make("details", {}, make("summary", {}, make("h2", {}, `${title}: more`), set), ...fields);
}
