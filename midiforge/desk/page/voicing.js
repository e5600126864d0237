// What each limb plays, as rows of lists; anything finer is typed into the field below them.

import { make } from "../../pages/player/element.js";
import { type, typed } from "./fields.js";

const ROWS = { RH: "Right hand", "RH accent": "… accented", LH: "Left hand",
  "LH accent": "… accented", RF: "Right foot", LF: "Left foot" };

/** @param {string} text rules as they are typed, "RH=ride, RH accent=crash" */
function rulesOf(text) {
  const rules = new Map();
  for (const rule of text.split(",")) {
    const [limb, voice] = rule.split("=").map((part) => part.trim());
    if (limb && voice) rules.set(limb, voice);
  }
  return rules;
}

/** @param {import("./fields.js").Named[]} voices */
export function voicingRows(voices) {
  /** @type {Map<string, HTMLSelectElement>} */
  const choices = new Map();
  const element = make("div", { className: "voicing-rows" }, ...Object.entries(ROWS).map(
    ([limb, title]) => {
      const choice = make("select", { id: `voice-${limb.replace(" ", "-")}` },
        make("option", { value: "" }, "as usual"),
        ...voices.map((voice) => make("option", { value: voice.name }, voice.title)));
      choice.setAttribute("aria-label", limb.endsWith("accent")
        ? `${ROWS[/** @type {"RH"} */ (limb.split(" ")[0])]}, accented` : title);
      choice.addEventListener("change", () => {
        const rules = rulesOf(typed("voicing"));
        if (choice.value) rules.set(limb, choice.value);
        else rules.delete(limb);
        type("voicing", [...rules].map(([name, voice]) => `${name}=${voice}`).join(", "));
      });
      choices.set(limb, choice);
      return make("label", {}, title, choice);
    }));
  return {
    element,
    /** @param {string} text */
    show(text) {
      const rules = rulesOf(text);
      for (const [limb, choice] of choices) {
        const voice = rules.get(limb) || "";
        const own = choice.querySelector("[data-own]");
        own?.remove();
        if (voice && ![...choice.options].some(({ value }) => value === voice)) {
          const option = make("option", { value: voice }, voice);
          option.dataset.own = "";
          choice.append(option);
        }
        choice.value = voice;
      }
    },
  };
}
