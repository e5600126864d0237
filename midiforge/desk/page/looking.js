// Looking back: takes are given and reviewed; the way of each exercise, what is next, and a plan.

import { button, make } from "../../pages/player/element.js";
import { get, post } from "./api.js";
import { Asking, choosing, part, trying, typing } from "./asking.js";
import { look, open } from "./lesson.js";
import { plan, planning } from "./planning.js";
import { giving, jobs, review, reviewed, sitting } from "./reviewing.js";
import { keep, recalled } from "./tab.js";
import { nextSteps, wayOfEach } from "./ways.js";

const NEW = "\n"; // a player that is not in the log yet

const asking = new Asking("back");
const player = choosing([["", "the usual player"]]);
const next = make("div", {}), ways = make("div", {}), kept = make("div", {});
/** Who is looked at; as the server has it where nobody was chosen.
 * @type {string | undefined} */
let chosen = recalled("player") ?? undefined;
/** Of players that are in no log yet. */
const others = new Set();

/** @returns {Record<string, string>} */
const who = () => ({ drill: open.drill, ...(chosen === undefined ? {} : { player: chosen }) });

async function refresh() {
  if (!sitting.isSeen || !open.drill) return;
  const back = /** @type {import("./ways.js").Back} */ (await get("api/way", who()));
  sitting.largest = back.largest;
  chosen ??= back.player;
  const named = new Map(back.players.map(({ name, said }) => [name.toLowerCase(), [name, said]]));
  for (const other of others)
    if (!named.has(other.toLowerCase())) named.set(other.toLowerCase(), [other, other]);
  player.replaceChildren(...[...named.values()].map(([value, said]) =>
    make("option", { value }, said)), make("option", { value: NEW }, "somebody else …"));
  player.value = chosen;
  next.replaceChildren(...nextSteps(back, (key) => asking.with(async () => {
    const { drill } = await post("api/next", { ...who(), key });
    location.hash = `${new URLSearchParams({ view: "write", drill })}`;
  })));
  ways.replaceChildren(...wayOfEach(back, who()));
  kept.replaceChildren(...back.takes.reverse().map(take));
}

/** @param {string} name */
function take(name) {
  const again = button("act", "Review again", () => trying(() => reviewed([name])));
  again.setAttribute("aria-label", `Review again: ${name}`);
  return make("p", { className: "take" }, make("span", {}, name), again);
}

/** @param {string} name */
function choose(name) {
  chosen = name;
  keep("player", name);
  plan.replaceChildren();
  trying(refresh);
}

/** @param {HTMLElement} place */
async function show(place) {
  sitting.isSeen = true;
  const name = typing("as the log is to have it");
  const newcomer = asking.field("newcomer", "Who plays?", name);
  newcomer.hidden = true;
  const form = make("form", { className: "form" },
    part("Takes", asking.field("player", "Player", player), newcomer,
      asking.field("note", "A word on them", typing("tired, pain, new kit")),
      make("details", {}, make("summary", {}, "More"),
        asking.field("date", "The day they were played", typing("as they say, or today"),
          "Such as 2026-03-31."),
        asking.field("number", "The exercise, by number", typing("as found"))),
      giving(place)),
    make("details", {}, make("summary", {}, "Takes that are kept"), kept));
  form.addEventListener("submit", (event) => event.preventDefault());
  player.addEventListener("change", () => {
    newcomer.hidden = player.value !== NEW;
    if (newcomer.hidden) choose(player.value);
    else name.focus();
  });
  name.addEventListener("change", () => {
    const said = name.value.split(/\s+/).filter(Boolean).join(" ");
    if (!said) return;
    others.add(said);
    name.value = "";
    newcomer.hidden = true;
    choose(said);
  });
  sitting.logged = refresh;
  sitting.with = (act) => asking.with(act);
  sitting.said = () => ({ player: chosen ?? "", number: asking.text("number"),
    note: asking.text("note"), date: asking.text("date") });
  const results = make("div", { className: "results" }, part("Reviews", jobs.element), review,
    part("What is next", next), planning(asking, who), part("The way of each exercise", ways));
  place.append(form, results);
  let seen = "";
  look((lesson) => {
    if (!sitting.isSeen) return;
    const now = `${open.drill} ${lesson.digest}`;
    if (now === seen) return;
    if (!seen.startsWith(`${open.drill} `)) {
      review.hidden = true;
      plan.replaceChildren();
    }
    seen = now;
    trying(refresh);
    jobs.look();
  });
}

/** @type {import("./main.js").View} */
export const looking = {
  name: "look-back", title: "Look back", show,
  back: () => {
    sitting.isSeen = true;
    chosen = recalled("player") ?? chosen; // whoever practised last
    trying(refresh);
    jobs.look();
  },
  leave: () => { sitting.isSeen = false; },
};
