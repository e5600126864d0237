// The page's cautions, before anything is played for the first time.

import { button, make } from "./element.js";
import { keep, kept } from "./kept.js";

/** @param {() => void} then what is done when they have been read */
export function cautioned(then) {
  const list = document.querySelector(".care ul");
  if (!list || kept.cautioned) return then();
  const heading = make("h2", { id: "first-care" }, "Before you play");
  const dialog = make("dialog", { className: "first-care" }, heading, list.cloneNode(true),
    button("first-play", "I have read this: play", () => {
      kept.cautioned = true;
      keep();
      dialog.close();
      then();
    }));
  dialog.setAttribute("aria-labelledby", heading.id);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
