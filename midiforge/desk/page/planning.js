// A plan of practice, to be printed or kept as a lesson.

import { button, make } from "../../pages/player/element.js";
import { get, post } from "./api.js";
import { part, typing } from "./asking.js";
import { tell } from "./news.js";

/** Where it stands. */
export const plan = make("div", { className: "plan" });

/**
 * @param {import("./asking.js").Asking} asking
 * @param {() => Record<string, string>} who of which drill and player
 */
export function planning(asking, who) {
  const minutes = asking.field("minutes", "Minutes", typing("30"));
  /** @type {HTMLInputElement} */ (minutes.querySelector("input")).value = "30";
  const form = make("form", { className: "form line" }, minutes,
    make("button", { type: "submit" }, "Plan them"));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    asking.with(() => showPlan(asking, who));
  });
  return part("A plan", form, plan);
}

/**
 * @param {import("./asking.js").Asking} asking
 * @param {() => Record<string, string>} who
 */
async function showPlan(asking, who) {
  const made = await get("api/plan", { ...who(), minutes: asking.text("minutes") });
  const lines = /** @type {[string, string, string[]][]} */ (made.lines);
  const heading = make("h3", {}, made.title);
  heading.tabIndex = -1;
  const keeps = make("div", {});
  plan.replaceChildren(heading, make("ol", {}, ...lines.map(([at, said, exercises]) =>
    make("li", {}, make("span", { className: "at" }, at), make("div", {}, said,
      ...(exercises.length ? [make("ul", {}, ...exercises.map((one) =>
        make("li", {}, one)))] : []))))),
  make("p", { className: "small" }, made.caution),
  button("print", "Print it", () => {
    document.body.classList.add("prints-plan");
    addEventListener("afterprint", () => document.body.classList.remove("prints-plan"),
      { once: true });
    print();
  }),
  ...(made.is_playable ? [button("keep", "Keep it as a lesson", () => asking.with(async () => {
    const { drill } = await post("api/plan", { ...who(), minutes: asking.text("minutes") });
    const href = `#${new URLSearchParams({ view: "write", drill })}`;
    const link = make("a", { className: "act", href }, `Open ${drill.replace(/\.toml$/, "")}`);
    keeps.replaceChildren(link);
    link.focus();
    tell("The plan is a lesson of its own now: each exercise as often as it is planned, and the "
      + "rests.");
  }))] : []), keeps);
  heading.focus();
}
