// The log: the way of each exercise as a picture and as a table, and what is next.

import { button, make } from "../../pages/player/element.js";

/**
 * @typedef {{ day: string, tempo: string, clean: string, steady: string, good: string,
 *   note: string, take: string }} Take
 * @typedef {{ key: string, title: string, goal: number, count: number, takes: Take[] }} Way
 * @typedef {{
 *   player: string, players: { name: string, said: string }[], said: string,
 *   next: [numbers: string, title: string, said: string][], taken_up: string[],
 *   caution: string, ways: Way[],
 *   takes: string[], largest: number,
 * }} Back
 */

const NARROW = "(max-width: 40rem)", NARROW_PX = 320, WIDE_PX = 640;

/**
 * What to do next with each exercise.
 * @param {Back} back its `taken_up`: the key of each that can be, in the order of `next`
 * @param {(key: string) => void} takeUp makes a lesson of one as it is advised
 */
export function nextSteps({ said, next, taken_up: keys, caution }, takeUp) {
  const all = table("What is next with each exercise",
    ["No.", "Exercise", "What to do, and why", "To play"], next.map((row) => [...row, ""]));
  all.querySelectorAll("tbody tr").forEach((row, i) => {
    if (!keys[i]) return;
    const made = button("act", "As a lesson", () => takeUp(keys[i]));
    made.setAttribute("aria-label", `Exercise ${next[i][0]} as a lesson of its own, as advised`);
    row.lastElementChild?.append(made);
  });
  return [make("p", { className: "small" }, said), all,
    make("p", { className: "small" }, caution)];
}

/**
 * The way of each exercise that has takes.
 * @param {Back} back
 * @param {Record<string, string>} who of which drill and player it is
 */
export function wayOfEach({ ways }, who) {
  if (!ways.length) return [make("p", {}, "No take of this lesson is in the log yet.")];
  return [make("p", { className: "small" },
    "Each take at its tempo: filled, a good one; hollow, any other; dotted, the goal. Below, in "
    + "bars, how steady it was, in per cent of a grid step; dashed, what is wanted."),
  ...ways.map((one) => way(one, who))];
}

/**
 * @param {Way} one
 * @param {Record<string, string>} who
 */
function way({ key, title, goal, count, takes }, who) {
  const address = (/** @type {number} */ wide) =>
    `api/way/picture?${new URLSearchParams({ ...who, key, wide: `${wide}`, of: `${count}` })}`;
  const last = takes[0];
  const picture = make("picture", {},
    make("source", { media: NARROW, srcset: address(NARROW_PX) }),
    make("img", { src: address(WIDE_PX), loading: "lazy", alt: `${title}: ${count} takes, the last `
      + `on ${last.day} at ${last.tempo}, ${last.good}; the goal is ${goal}.` }));
  const rows = takes.map((one) =>
    [one.day, one.tempo, one.clean, one.steady, one.good, one.note, one.take]);
  const few = takes.length < count ? `, the last ${takes.length}` : "";
  return make("section", { className: "way" }, make("h3", {}, title), picture,
    make("details", {}, make("summary", {}, `As a table${few}`),
      table(title, ["day", "tempo", "clean", "steady to", "good", "note", "file"], rows)));
}

/**
 * @param {string} title
 * @param {string[]} heads
 * @param {string[][]} rows
 */
function table(title, heads, rows) {
  // On a narrow screen rows are blocks; with their roles they stay rows of a table.
  const row = (/** @type {HTMLElement[]} */ cells) => inRole("row", make("tr", {}, ...cells));
  const head = heads.map((text) =>
    Object.assign(inRole("columnheader", make("th", {}, text)), { scope: "col" }));
  const cells = (/** @type {string[]} */ texts) => texts.map((text, i) => {
    const cell = inRole("cell", make("td", {}, text));
    cell.dataset.head = heads[i];
    return cell;
  });
  return inRole("table", make("table", {}, make("caption", {}, title),
    inRole("rowgroup", make("thead", {}, row(head))),
    inRole("rowgroup", make("tbody", {}, ...rows.map((texts) => row(cells(texts)))))));
}

/**
 * @template {HTMLElement} T
 * @param {string} role
 * @param {T} element
 */
function inRole(role, element) {
  element.setAttribute("role", role);
  return element;
}
