// Writing a lesson: what the hands and the feet play on one side, the music on the other.

import { button, make } from "../../pages/player/element.js";
import { get } from "./api.js";
import { part } from "./asking.js";
import { Row } from "./cells.js";
import { fieldOf, showTrouble, showValues, titleOf, type } from "./fields.js";
import { feetChooser } from "./feet.js";
import "./leaving.js";
import { look, undo, writeText } from "./lesson.js";
import { fold } from "./fold.js";
import { showMusic } from "./music.js";
import { tell } from "./news.js";
import { soundChoice } from "./sound.js";
import "./through.js";
import { canRedo, canUndo } from "./undone.js";
import { voicingRows } from "./voicing.js";

// What is always in sight, in the order in which one thinks of it.
const HANDS = ["sticking", "every.strokes"];
const FEET = ["feet"];
const MOVES = ["placements", "accents", "accent_placements", "lead"];
const TIME = ["tempos", "meter", "steps", "swing"];
const STAGES = ["stages", "voicing"];
/** @type {Record<string, [text: string, typed: string][]>} What is often wanted, a tap away. */
const OFTEN = {
  placements: [["As written", ""], ["Every step of the beat", "beat"], ["… of the bar", "bar"],
    ["… of the phrase", "phrase"]],
  accents: [["Its own", ""], ["On the beats", "beats"], ["None", "none"]],
  accent_placements: [["With the sticking", ""], ["Every step of the beat", "beat"],
    ["… of the phrase", "phrase"]],
  stages: [["Feet, then hands, then all", ""], ["Hands, then all", "hands, full"],
    ["All at once", "full"]],
};

const asked = get("api/fields"); // while the lesson is asked for
asked.catch(() => {});

const CHOOSE = "What a field is for stands here, once you are in it.";

/** @param {HTMLElement} place */
async function show(place) {
  const { groups, shelves } = await asked;
  const all = /** @type {import("./fields.js").Group[]} */ (groups).flatMap(({ keys }) => keys);
  const key = (/** @type {string} */ name) =>
    /** @type {import("./fields.js").Key} */ (all.find((one) => one.name === name));
  const field = (/** @type {string} */ name) => {
    const line = fieldOf(key(name), shelves);
    if (OFTEN[name]) line.insertBefore(often(name), line.children[1]);
    return line;
  };
  const cells = make("div", { className: "stickings" });
  /** @type {Row[]} */
  const rows = [];
  const common = ["title", ...HANDS, ...FEET, ...MOVES, ...TIME, ...STAGES];
  const rest = /** @type {import("./fields.js").Group[]} */ (groups).map(({ title, keys }) => ({
    title, keys: keys.filter(({ name }) => !common.includes(name)),
  }));
  const voices = voicingRows(shelves.voices);
  const help = make("p", { className: "help-line" }, CHOOSE);
  help.setAttribute("aria-hidden", "true"); // each field says its own
  const back = button("undo", "Undo", () => undo()), again = button("redo", "Redo", () =>
    undo(true));
  const form = make("form", { className: "form" },
    make("div", { className: "undoing" }, back, again),
    make("div", { className: "part" }, field("title")),
    part("The hands", cells, rudimentChooser(shelves.rudiments),
      ...HANDS.map(field)),
    part("The feet", field("feet"), feetChooser(shelves.ostinatos)),
    part("What moves", ...MOVES.map(field)),
    part("Tempo and time", ...TIME.map(field)),
    part("How it is practised", field("stages"), voices.element, field("voicing")),
    ...rest.filter(({ keys }) => keys.length).map(({ title, keys }) =>
      fold(title, keys, keys.map((one) => fieldOf(one, shelves)))),
    wholeText(), help);
  form.addEventListener("focusin", ({ target }) => {
    const line = target instanceof Element && target.closest(".field");
    help.textContent = (line && line.querySelector(".help")?.textContent) || CHOOSE;
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  const music = make("div", { className: "lesson-music" });
  const said = make("p", { className: "lesson-size" });
  const remarks = make("ul", { className: "remarks" });
  const sheet = make("section", { className: "sheet-side" },
    make("div", { className: "sheet-head" }, said, soundChoice()), remarks, music);
  sheet.setAttribute("aria-label", "The lesson");
  sheet.tabIndex = -1;
  const isAtMusic = () => {
    const { top, left } = sheet.getBoundingClientRect();
    return top < innerHeight / 2 && left < form.getBoundingClientRect().right;
  };
  const turn = make("p", { className: "turn" }, button("to-music", "To the music", () => {
    const to = isAtMusic() ? form : sheet;
    to.scrollIntoView();
    to.focus({ preventScroll: true });
  }));
  form.tabIndex = -1;
  addEventListener("scroll", () => {
    if (turn.firstChild) turn.firstChild.textContent = isAtMusic() ? "To the form" : "To the music";
  }, { passive: true });
  place.append(turn, form, sheet);
  addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    if (event.target instanceof Element && event.target.matches("input[type=text], textarea"))
      return;
    event.preventDefault();
    undo(event.shiftKey);
  });
  look((lesson) => {
    back.disabled = !canUndo();
    again.disabled = !canRedo();
    area().value = lesson.text;
    showValues(lesson.values);
    if (lesson.error) return;
    voices.show(lesson.values.voicing || "");
    for (let i = rows.length; i < lesson.stickings.length; i++) rows.push(new Row(i));
    lesson.stickings.forEach((sticking, i) => rows[i].show(sticking));
    rows.forEach(({ element }, i) => {
      if (i >= lesson.stickings.length) element.remove();
      else if (!element.parentNode) cells.append(element);
    });
    said.textContent = sizeOf(lesson);
    remarks.replaceChildren(...lesson.remarks.map((remark) =>
      make("li", {}, remark.replace(/^([a-z_]+):/, (_, name) => `${titleOf(name)}:`))));
    showMusic(music, lesson);
  }, (troubles) => {
    sheet.classList.toggle("stale", troubles.length > 0);
    back.disabled = !canUndo() && !troubles.length;
    const labels = showTrouble(troubles);
    const them = labels.length > 1 ? "them" : "it";
    tell(labels.length ? `Not right yet: ${labels.join(", ")}. The music is without ${them}.`
      : troubles[0]?.said || "");
  });
}

/** @param {import("./lesson.js").Lesson} lesson */
function sizeOf({ exercises, pieces, unshown }) {
  const many = (/** @type {number} */ n, /** @type {string} */ word) =>
    `${n} ${word}${n === 1 ? "" : "s"}`;
  const all = exercises === pieces ? many(exercises, "exercise")
    : `${many(exercises, "exercise")}, ${pieces} at several tempos`;
  return unshown ? `${all}; the first ${pieces - unshown} are shown` : all;
}

/** @param {string} name */
function often(name) {
  const row = make("span", { className: "often" }, ...OFTEN[name].map(([text, value]) => {
    const choice = button("choice", text, () => type(name, value));
    look(({ values }) =>
      choice.setAttribute("aria-pressed", `${(values?.[name] || "") === value}`));
    return choice;
  }));
  row.setAttribute("role", "group");
  row.setAttribute("aria-label", "Often");
  return row;
}

/** @param {import("./fields.js").Named[]} rudiments */
function rudimentChooser(rudiments) {
  const families = new Map();
  for (const rudiment of rudiments)
    families.set(rudiment.family, [...(families.get(rudiment.family) || []), rudiment]);
  const choice = make("select", { id: "rudiment" },
    make("option", { value: "" }, "choose one …"),
    ...[...families].map(([family, own]) => make("optgroup", { label: family },
      ...own.map((/** @type {import("./fields.js").Named} */ { name, title }) =>
        make("option", { value: name }, title)))));
  choice.addEventListener("change", () => {
    if (choice.value) type("sticking", choice.value);
    choice.value = "";
  });
  return make("div", { className: "field" },
    make("label", { htmlFor: choice.id }, "Take a rudiment"), choice);
}

const area = () => /** @type {HTMLTextAreaElement} */ (document.getElementById("whole-text"));

function wholeText() {
  const text = Object.assign(make("textarea", { id: "whole-text" }), { rows: 18 });
  text.spellcheck = false;
  text.addEventListener("change", () => writeText(text.value));
  return make("details", { className: "whole" },
    make("summary", {}, make("h2", {}, "The drill as text")),
    make("label", { htmlFor: text.id }, "All of the file, as any editor shows it. It is taken "
      + "over when you leave this field."), text);
}

/** @type {import("./main.js").View} */
export const writing = { name: "write", title: "Write", show };
