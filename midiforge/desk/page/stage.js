// The whole screen of a session: what stands on the music stand, and what can be asked for.

import { button, make } from "../../pages/player/element.js";
import { say } from "./live.js";

/** What can be asked for, with the keys that a session in a terminal has for it. */
const WISHES = /** @type {[wish: string, text: string, key: string][]} */ ([
  ["again", "Again", "a"], ["next", "Go on", "n"], ["slower", "Slower", "-"],
  ["faster", "Faster", "+"], ["hurts", "It hurts", "x"], ["pause", "Pause", " "],
]);

export const stage = make("section", { className: "stage", tabIndex: "-1" });
stage.setAttribute("aria-label", "The session");
stage.hidden = true;
/** @type {HTMLButtonElement | null} */
let pause = null;

/** @param {import("./stand.js").Stand} stand */
export function showStage(stand) {
  const wishes = WISHES.map(([wish, text, key]) => {
    const made = button(`stand-${wish}`, text, () => say({ do: "wish", wish }));
    made.setAttribute("aria-keyshortcuts", key === " " ? "Space" : key);
    if (wish === "pause") pause = made;
    return made;
  });
  const full = button("stand-full", "Full screen", () => document.fullscreenElement
    ? document.exitFullscreen() : stage.requestFullscreen?.());
  const end = button("stand-end", "End", () => say({ do: "stop" }));
  stand.word.textContent = "getting ready";
  stage.replaceChildren(stand.element, make("div", { className: "stand-keys" }, ...wishes, full,
    end));
  stage.hidden = false;
  document.body.classList.add("in-session");
  stage.focus();
}

/** @param {boolean} isPaused */
export function showPaused(isPaused) {
  if (pause) pause.textContent = isPaused ? "Play on" : "Pause";
}

export function hideStage() {
  if (document.fullscreenElement) document.exitFullscreen();
  document.body.classList.remove("in-session");
  stage.hidden = true;
}

addEventListener("keydown", (event) => {
  if (stage.hidden || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === " " && event.target instanceof Element && event.target.matches("button"))
    return;
  const [wish] = WISHES.find(([, , key]) => key === event.key || (key === "+" && event.key === "="))
    || [];
  if (!wish && event.key !== "q") return;
  event.preventDefault();
  if (!event.repeat) say(wish ? { do: "wish", wish } : { do: "stop" });
});
