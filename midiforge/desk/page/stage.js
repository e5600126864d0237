// The whole screen of a session: what stands on the music stand, and what can be asked for.

import { button, make } from "../../pages/player/element.js";
import { say } from "./live.js";

/** What can be asked for, with the keys that a session in a terminal has for it. */
const WISHES = /** @type {[wish: string, text: string, key: string][]} */ ([
  ["again", "Again", "a"], ["next", "Go on", "n"], ["slower", "Slower", "-"],
  ["faster", "Faster", "+"], ["hurts", "It hurts", "x"], ["pause", "Pause", " "],
]);

const REFUSED = "The browser does not give the whole screen.";

export const stage = make("section", { className: "stage", tabIndex: "-1" });
stage.setAttribute("aria-label", "The session");
stage.hidden = true;
/** @type {HTMLButtonElement | null} */
let pause = null;
const full = button("stand-full", "Full screen", () => {
  if (document.fullscreenElement) document.exitFullscreen();
  else stage.requestFullscreen().catch(() => (refused.textContent = REFUSED));
});
const refused = make("p", { className: "stand-refused" });
refused.setAttribute("role", "status");
document.addEventListener("fullscreenchange", () => {
  full.textContent = document.fullscreenElement ? "Leave full screen" : "Full screen";
  refused.textContent = "";
});

/** @param {import("./stand.js").Stand} stand */
export function showStage(stand) {
  const wishes = WISHES.map(([wish, text, key]) => {
    const made = button(`stand-${wish}`, text, () => say({ do: "wish", wish }));
    made.setAttribute("aria-keyshortcuts", key === " " ? "Space" : key);
    if (wish === "pause") pause = made;
    return made;
  });
  full.hidden = !document.fullscreenEnabled; // such as on some telephones
  refused.textContent = "";
  const end = button("stand-end", "End", () => say({ do: "stop" }));
  stand.word.textContent = "getting ready";
  stage.replaceChildren(stand.element, refused,
    make("div", { className: "stand-keys" }, ...wishes, full, end));
  stage.hidden = false;
  document.body.classList.add("in-session");
  keepOut(true);
  stage.focus();
}

/** @param {boolean} isPaused */
export function showPaused(isPaused) {
  if (pause) pause.textContent = isPaused ? "Play on" : "Pause";
}

export function hideStage() {
  if (document.fullscreenElement) document.exitFullscreen();
  document.body.classList.remove("in-session");
  keepOut(false);
  stage.hidden = true;
}

/**
 * Nothing that the stage covers is reached by keys.
 * @param {boolean} isCovered
 */
function keepOut(isCovered) {
  const beside = [...stage.parentElement?.children || []].filter((other) => other !== stage);
  for (const other of [...beside, ...document.querySelectorAll(".lesson-choice, #views")])
    /** @type {HTMLElement} */ (other).inert = isCovered;
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
