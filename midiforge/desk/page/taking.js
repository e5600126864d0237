// Something else is live, here or on another page, and only one thing can be: it can be ended.

import { button } from "../../pages/player/element.js";
import { tell } from "./news.js";

/** @type {HTMLButtonElement | null} */
let offered = null;

/**
 * Offers to take over; an older offer goes.
 * @param {string} text of the button
 * @param {string} said
 * @param {Element} before where the button stands behind
 * @param {() => void} take
 */
export function offer(text, said, before, take) {
  offered?.remove();
  const made = (offered = button("choice take-over", text, () => {
    made.remove();
    tell("");
    take();
  }));
  tell(said);
  before.after(made);
  setTimeout(() => made.focus()); // after whatever has the focus now is hidden
}

/** What was offered means nothing any more. */
export function withdraw() {
  offered?.remove();
}
