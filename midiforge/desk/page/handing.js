// Handing a lesson out: what is to be made of it, how far that is, and what there is.

import { make } from "../../pages/player/element.js";
import { get, post } from "./api.js";
import { Asking, box, choosing, part, typing } from "./asking.js";
import { Jobs } from "./jobs.js";
import { look, open } from "./lesson.js";

/**
 * @typedef {{ kind: string, title: string, is_page: boolean }} Kind
 * @typedef {{ name: string, title: string, files: number, size: number, when: number,
 *   older: boolean }} Made
 * @typedef {{ jobs: import("./jobs.js").Job[], folder: string, made: Made[] }} State
 */

const asking = new Asking("hand");
const made = make("ul", { className: "made" });
const where = make("p", { className: "small" });
/** Whether the view is in sight. */
let isSeen = false;

const jobs = new Jobs("Nothing is under way.", {
  ask: async () => (isSeen ? shown(await get("api/made", { drill: open.drill })) : null),
  stop: (number) => post("api/made/stop", { drill: open.drill, number }),
  forget: (number) => post("api/made/forget", { drill: open.drill, number }),
});

/**
 * @param {State} state
 */
function shown(state) {
  where.textContent = state.made.length ? `All of it is in the folder “${state.folder}”, beside `
    + "the lesson. A file of the same name is replaced, unless somebody changed it."
    : "Nothing yet.";
  made.replaceChildren(...state.made.map(line));
  return state.jobs;
}

/** @param {Made} one */
function line(one) {
  const address = (/** @type {string} */ name, more = {}) =>
    `api/made/file?${new URLSearchParams({ drill: open.drill, name, ...more })}`;
  const called = one.files ? one.title : one.name;
  const link = (/** @type {string} */ text, /** @type {string} */ href, isKept = true) => {
    const made = make("a", { className: "act", href }, text);
    made.setAttribute("aria-label", `${text}: ${called}`);
    if (isKept) made.download = "";
    else [made.target, made.rel] = ["_blank", "noopener"];
    return made;
  };
  const looks = /\.(pdf|html)$/.test(one.name);
  const when = new Date(one.when * 1000).toLocaleString([], { dateStyle: "medium",
    timeStyle: "short" });
  const many = one.files ? `${one.files} files, ` : "";
  const said = make("p", { className: "small" }, `${one.files ? "" : `${one.title}, `}${many}`
    + `${sized(one.size)}, ${when}`);
  const older = one.older ? [make("p", { className: "older" },
    "The lesson was changed after this was made.")] : [];
  return make("li", {}, make("p", { className: "made-name" }, called), said, ...older,
    ...(looks ? [link("Open", address(one.name, { open: "1" }), false)] : []),
    link("Save", address(one.name)),
    ...(one.name === "midi" ? [link("Save the lesson as one MIDI file",
      address("midi/lesson.mid"))] : []));
}

/** @param {number} bytes */
function sized(bytes) {
  if (bytes < 1000) return `${bytes} bytes`;
  return bytes < 1e6 ? `${Math.round(bytes / 1000)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

/** @param {HTMLElement} place */
async function show(place) {
  isSeen = true;
  const choices = await get("api/hand-out");
  const kinds = /** @type {Kind[]} */ (choices.kinds);
  const spoken = (/** @type {string} */ kind) => kind.replaceAll("-", " ");
  const pages = part("On the pages",
    asking.field("paper", "Paper", choosing(choices.papers.map((/** @type {string} */ name) =>
      [name, name === "a4" ? "A4" : `${name[0].toUpperCase()}${name.slice(1)}`]))),
    asking.field("large", "Large print, for the music stand", box()),
    asking.field("counts", "Counts below the notes", box()),
    asking.field("student", "Student", typing("who it is for"),
      "At the head of a booklet; else there is room to write it."),
    asking.field("teacher", "Teacher", typing("who it is from")),
    asking.field("date", "Date", typing("when it was given"), "Likewise."));
  const loops = part("The loops",
    asking.field("audio", "Sound", choosing([["", "none, MIDI files alone"],
      ...choices.audio.map((/** @type {string} */ name) =>
        [name, `${name.toUpperCase()} files too`])])),
    asking.field("minutes", "Minutes that each lasts at least", typing("once round")),
    asking.field("count_in", "Begin with the count-in", box()),
    asking.choice("loop_kinds", "Which loops", choices.loops.map((/** @type {string} */ value) =>
      ({ value, title: spoken(value), isTicked: true }))));
  const form = make("form", { className: "form" },
    part("What is made of the lesson",
      asking.choice("kinds", "Tick one or more", kinds.map(({ kind, title }) =>
        ({ value: kind, title, isTicked: kind === ".pdf" }))),
      asking.field("only", "Which exercises", typing("all, or such as 3,5-8,9b"),
        "By number. MIDI files are always of the whole lesson.")),
    pages, loops,
    make("p", { className: "do" }, make("button", { type: "submit", className: "main-act" },
      "Make it")));
  const fit = () => {
    const ticked = asking.ticked("kinds");
    pages.hidden = !kinds.some(({ kind, is_page }) => is_page && ticked.includes(kind));
    loops.hidden = !ticked.includes("loops");
  };
  form.addEventListener("change", fit);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    asking.with(begin);
  });
  fit();
  const list = make("section", { className: "results" },
    part("Under way", jobs.element), part("Made", where, made));
  place.append(form, list);
  let drill = open.drill;
  look(() => {
    if (open.drill !== drill) asking.clear("only"); // numbers are a lesson's own
    drill = open.drill;
    jobs.look();
  });
}

async function begin() {
  const state = await post("api/made", {
    drill: open.drill,
    kinds: asking.ticked("kinds"),
    loop_kinds: asking.ticked("loop_kinds").join(","),
    ...Object.fromEntries(["only", "paper", "student", "teacher", "date", "audio", "minutes"]
      .map((name) => [name, asking.text(name)])),
    ...Object.fromEntries(["large", "counts", "count_in"].map((name) =>
      [name, asking.isTicked(name)])),
  });
  jobs.show(shown(state));
  await jobs.look();
  jobs.element.scrollIntoView({ block: "nearest" });
}

/** @type {import("./main.js").View} */
export const handing = {
  name: "hand-out", title: "Hand out", show,
  back: () => { isSeen = true; jobs.look(); },
  leave: () => { isSeen = false; },
};
