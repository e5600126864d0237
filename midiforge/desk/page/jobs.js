// What the server works on for a while: how far it is, and what came of it.

import { button, make } from "../../pages/player/element.js";
import { Wrong } from "./api.js";
import { trying } from "./asking.js";
import { tell } from "./news.js";

/**
 * @typedef {{
 *   number: number, title: string, counts: string,
 *   state: "waits" | "works" | "done" | "wrong" | "stopped",
 *   done: number, of: number, trouble: import("./api.js").Trouble | null, given: any,
 * }} Job
 * @typedef {{ line: HTMLElement, said: HTMLElement, bar: HTMLElement, stop: HTMLButtonElement,
 *   away: HTMLButtonElement, more: HTMLElement, forget: () => void, state: string }} Line
 */

const OFTEN = 300, SELDOM = 3000; // ms from one question to the next

/** A list of them that keeps itself up to date while there is something to see. */
export class Jobs {
  /**
   * @param {string} none what stands there where there is none
   * @param {{
   *   ask: () => Promise<Job[] | null>, stop: (job: number) => Promise<unknown>,
   *   forget: (job: number) => Promise<unknown>, over?: (job: Job) => void,
   *   came?: (job: Job) => Node[],
   * }} does ask: the jobs there are, or null where nobody looks. over: told of each that ends.
   * came: shows what came of one; else what is to be known of it, and where there is nothing, it
   * is taken off the list.
   */
  constructor(none, does) {
    this.does = does;
    this.element = make("ul", { className: "jobs" });
    this.element.tabIndex = -1;
    this.element.dataset.empty = none;
    this.element.setAttribute("aria-label", "Under way");
    /** @type {Map<number, Line>} */
    this.lines = new Map();
    this.timer = 0;
  }

  /** Looks at once, and again for as long as something is under way. */
  async look() {
    clearTimeout(this.timer);
    let often = OFTEN;
    try {
      const jobs = await this.does.ask();
      if (!jobs || !this.show(jobs)) return;
    } catch (error) {
      if (!(error instanceof Wrong)) throw error;
      if (error.status) return tell(error.message);
      often = SELDOM; // the server is away, or the computer was asleep
    }
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.look(), often);
  }

  /**
   * Shows jobs; says whether one is under way.
   * @param {Job[]} jobs
   */
  show(jobs) {
    for (const [number, { line }] of this.lines) {
      if (jobs.some((job) => job.number === number)) continue;
      line.remove();
      this.lines.delete(number);
    }
    for (const job of jobs)
      if (!this.#isPlain(job) || this.lines.has(job.number)) this.#show(job);
    return jobs.some(({ state }) => state === "waits" || state === "works");
  }

  /** @param {Job} job */
  #show(job) {
    const isNew = !this.lines.has(job.number);
    const line = this.lines.get(job.number) || this.#line(job);
    const { said, bar, stop, away, more } = line;
    const isOver = job.state !== "waits" && job.state !== "works";
    const counted = job.of ? `${job.done} of ${job.of} ${job.counts}` : "";
    said.textContent = {
      waits: "waits for its turn", done: "done", stopped: "stopped, nothing was changed",
      works: counted || "under way", wrong: job.trouble?.said || "",
    }[job.state];
    said.classList.toggle("wrong", job.state === "wrong");
    bar.hidden = job.state !== "works";
    bar.setAttribute("aria-valuetext", said.textContent);
    bar.setAttribute("aria-valuemax", `${job.of || 1}`);
    if (job.of) bar.setAttribute("aria-valuenow", `${job.done}`);
    /** @type {HTMLElement} */ (bar.firstChild).style.width =
      `${job.of ? Math.min(100, 100 * job.done / job.of) : 0}%`;
    if (isOver && document.activeElement === stop) away.focus();
    stop.hidden = isOver;
    away.hidden = !isOver;
    if (line.state === job.state) return;
    line.state = job.state;
    if (!isOver) return;
    more.replaceChildren(...(this.does.came && job.given ? this.does.came(job)
      : remarks(job.given)));
    if (isNew) return; // it was over when the page came
    this.does.over?.(job);
    tell(`${job.title}: ${said.textContent}`);
    if (this.#isPlain(job)) line.forget();
  }

  /**
   * Whether something is done and there is nothing more to be said of it.
   * @param {Job} job
   */
  #isPlain({ state, given }) {
    return state === "done" && !this.does.came && !given?.mind?.length && !given?.left_out?.length;
  }

  /**
   * @param {Job} job
   * @returns {Line}
   */
  #line({ number, title }) {
    const said = make("span", { className: "job-said" });
    const bar = make("div", { className: "progress" }, make("span", {}));
    bar.setAttribute("role", "progressbar");
    bar.setAttribute("aria-label", title);
    bar.setAttribute("aria-valuemin", "0");
    const act = (/** @type {(job: number) => Promise<unknown>} */ does) => async () => {
      await trying(() => does(number));
      this.look();
    };
    const stop = button("stop", "Stop", act(this.does.stop));
    const forget = () => {
      if (line.contains(document.activeElement)) this.element.focus();
      return act(this.does.forget)();
    };
    const away = button("away", "Take off the list", forget);
    stop.setAttribute("aria-label", `Stop: ${title}`);
    away.setAttribute("aria-label", `Take off the list: ${title}`);
    const more = make("div", {});
    const line = make("li", {}, make("span", { className: "job-title" }, title), said, stop, away,
      bar, more);
    this.element.append(line);
    const made = { line, said, bar, stop, away, more, forget, state: "" };
    this.lines.set(number, made);
    return made;
  }
}

/** @param {{ left_out?: string[], mind?: string[] } | null} given */
function remarks(given) {
  const lists = [["Mind", given?.mind || []], ["Left out", given?.left_out || []]];
  return lists.filter(([, sentences]) => sentences.length).map(([title, sentences]) =>
    make("details", {}, make("summary", {}, `${title}: ${sentences.length}`),
      make("ul", {}, ...[...sentences].map((sentence) => make("li", {}, sentence)))));
}
