// The page: which lesson is open, and what is done with it.

import { button, make } from "../../pages/player/element.js";
import { stop } from "../../pages/player/transport.js";
import { get, onServer, post, Wrong } from "./api.js";
import { handing } from "./handing.js";
import { kit } from "./kit.js";
import { look, lookAgain, open, openDrill } from "./lesson.js";
import { looking } from "./looking.js";
import { tell } from "./news.js";
import { practising } from "./practise.js";
import { writing } from "./writing.js";

/**
 * Something to do with a lesson. `show` puts it into its place when it is first looked at; `back`,
 * each further time; `leave`, when another is.
 * @typedef {{
 *   name: string, title: string, show: (place: HTMLElement) => void | Promise<void>,
 *   back?: () => void, leave?: () => void,
 * }} View
 */

/** @type {View[]} */
const views = [writing, handing, practising, looking, kit];

const $ = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
const main = $("view"), nav = $("views");
const chooser = /** @type {HTMLSelectElement} */ ($("drill"));
/** @type {Map<string, HTMLElement>} */
const places = new Map();
/** @type {View | null} */
let current = null;
/** How many lessons are on their way here; the last of them is shown. */
let opening = 0;

/** @param {unknown} error */
function failed(error) {
  if (!(error instanceof Wrong)) throw error;
  tell(error.message);
}

/** @param {View} view */
async function turnTo(view) {
  if (view === current) return;
  stop();
  tell("");
  current?.leave?.();
  current = view;
  for (const link of nav.querySelectorAll("a"))
    if (link.dataset.view === view.name) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  let place = places.get(view.name);
  for (const other of places.values()) other.hidden = other !== place;
  if (place) return view.back?.();
  place = make("div", { className: `view ${view.name}` });
  if (!places.size) main.replaceChildren();
  places.set(view.name, place);
  main.append(place);
  await Promise.resolve(view.show(place)).catch(failed);
}

/** What the address says is to be shown: "#view=write&drill=bossa.toml". */
function asked() {
  return new URLSearchParams(location.hash.slice(1));
}

async function follow() {
  const words = asked();
  const drill = words.get("drill");
  if (drill && (opening || drill !== open.drill)) {
    opening += 1;
    await openDrill(drill).catch(failed);
    opening -= 1;
    if (![...chooser.options].some(({ value }) => value === drill)) await listDrills();
    chooser.value = open.drill;
  }
  await turnTo(views.find(({ name }) => name === words.get("view")) || views[0]);
  links();
}

function links() {
  for (const link of nav.querySelectorAll("a"))
    link.href = `#${new URLSearchParams({ view: link.dataset.view || "", drill: open.drill })}`;
}

/**
 * @param {string} drill
 * @param {string} [view]
 */
function go(drill, view = asked().get("view") || views[0].name) {
  location.hash = `${new URLSearchParams({ view, drill })}`;
}

async function listDrills() {
  const { drills, titles, folder, opened } = await get("api/drills");
  document.title = `midiforge: ${folder}`;
  chooser.replaceChildren(...drills.map((/** @type {string} */ name) =>
    make("option", { value: name }, titles[name])));
  chooser.value = open.drill;
  return opened || drills[0];
}

/** Asks what a new lesson is to be called, and begins it. */
function newLesson() {
  const title = make("input", { type: "text", id: "new-title" });
  title.required = true;
  let isBegun = false;
  const wrong = make("p", { className: "wrong" });
  wrong.setAttribute("role", "alert");
  const begins = make("select", { id: "new-like" },
    make("option", { value: "" }, "a short example, to be changed"),
    ...(open.drill ? [make("option", { value: open.drill },
      `a copy of ${chooser.selectedOptions[0]?.text || open.drill}`)] : []));
  const asking = make("dialog", { className: "asking" },
    make("form", {}, make("label", { htmlFor: title.id }, "What is the lesson called?"), title,
      make("label", { htmlFor: begins.id }, "It begins with"), begins, wrong,
      make("div", { className: "often" }, make("button", { type: "submit" }, "Begin"),
        button("leave", "Cancel", () => asking.close()))));
  asking.addEventListener("close", () => asking.remove());
  asking.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (isBegun) return; // struck twice it is one lesson
    isBegun = true;
    try {
      const { drill } = await post("api/drills", { title: title.value, like: begins.value });
      asking.close();
      await openDrill(drill);
      await listDrills();
      go(drill, views[0].name);
    } catch (error) {
      if (!(error instanceof Wrong)) throw error;
      wrong.textContent = error.message;
      isBegun = false;
    }
  });
  document.body.append(asking);
  asking.showModal();
}

async function begin() {
  onServer((isThere) => document.body.classList.toggle("alone", !isThere));
  for (const { name, title } of views) {
    const link = make("a", {}, title);
    link.dataset.view = name;
    nav.append(link);
  }
  chooser.addEventListener("change", () => go(chooser.value));
  $("new-lesson").addEventListener("click", newLesson);
  look(({ title }) => {
    if (title) document.title = `${title} · midiforge`;
    $("heading").textContent = title || "midiforge";
    const own = [...chooser.options].find(({ value }) => value === open.drill);
    if (title && own && !own.text.startsWith(`${title} (`)) own.text = title;
  });
  addEventListener("hashchange", follow);
  addEventListener("focus", lookAgain);
  document.addEventListener("visibilitychange", () => document.hidden || lookAgain());
  try {
    const first = await listDrills();
    if (!asked().get("drill")) {
      await openDrill(first || (await post("api/drills", { title: "First lesson" })).drill);
      if (!first) await listDrills();
    }
  } catch (error) {
    failed(error);
  }
  await follow();
  chooser.value = open.drill;
}

begin();
