// Takes: given to the page, kept beside their drill, reviewed, and the review shown.

import { button, make } from "../../pages/player/element.js";
import { get, post, Wrong } from "./api.js";
import { trying } from "./asking.js";
import { Jobs } from "./jobs.js";
import { open } from "./lesson.js";
import { tell } from "./news.js";

/** Where the review is shown. */
export const review = make("section", { className: "part review" });
review.hidden = true;
review.setAttribute("aria-label", "The review");

/** What is said with takes, where to tell that the log has more, and how large a take may be. */
export const sitting = {
  isSeen: false,
  largest: Infinity,
  /** @type {() => Record<string, string>} */
  said: () => ({}),
  /** @type {(act: () => Promise<any>) => Promise<any>} */
  with: (act) => act(),
  /** @type {() => Promise<unknown>} */
  logged: async () => {},
};

export const jobs = new Jobs("What you drop here is reviewed, and kept in the log.", {
  ask: async () =>
    (sitting.isSeen ? (await get("api/reviews", { drill: open.drill })).jobs : null),
  stop: (number) => post("api/reviews/stop", { drill: open.drill, number }),
  forget: (number) => post("api/reviews/forget", { drill: open.drill, number }),
  came: ({ number, title, given }) => {
    const shows = button("act", "Show the review", () => trying(() => showReview(number)));
    shows.setAttribute("aria-label", `Show the review: ${title}`);
    return [make("p", { className: "small" }, given.said), shows];
  },
  over: ({ number, state }) => {
    if (state === "done") trying(() => showReview(number));
    trying(sitting.logged);
  },
});

/**
 * A place to drop takes on, which is all of the view.
 * @param {HTMLElement} view
 */
export function giving(view) {
  const files = make("input", { type: "file", accept: ".mid,.midi,audio/midi", id: "back-files" });
  files.multiple = true;
  files.addEventListener("change", async () => {
    await given([...(files.files || [])]);
    files.value = "";
  });
  const place = make("div", { className: "drop" },
    make("label", { htmlFor: files.id }, "Drop takes here, MIDI files, or choose them:"), files);
  const over = (/** @type {DragEvent} */ event, /** @type {boolean} */ isOver) => {
    event.preventDefault();
    place.classList.toggle("over", isOver);
  };
  view.addEventListener("dragover", (event) => over(event, true));
  view.addEventListener("dragleave", (event) => over(event, false));
  view.addEventListener("drop", (event) => {
    over(event, false);
    given([...(event.dataTransfer?.files || [])]);
  });
  return place;
}

/** @param {File[]} files */
async function given(files) {
  /** @type {string[]} */
  const takes = [], wrong = [];
  for (const file of files) {
    tell(files.length > 1 ? `${takes.length + wrong.length + 1} of ${files.length}: ${file.name}`
      : file.name);
    if (file.size > sitting.largest) {
      wrong.push(`${file.name}: the file is too large for a take`);
      continue;
    }
    try {
      takes.push((await give(file)).take);
    } catch (error) {
      if (!(error instanceof Wrong)) throw error;
      wrong.push(error.message);
    }
  }
  tell(wrong.join(" · "));
  if (takes.length) await reviewed([...new Set(takes)], !wrong.length);
}

/** @param {File} file */
async function give(file) {
  const address = `api/takes?${new URLSearchParams({ drill: open.drill, name: file.name })}`;
  return post(address, file);
}

/**
 * @param {string[]} takes
 * @param {boolean} [isQuiet] whether nothing else is to be said
 */
export async function reviewed(takes, isQuiet = true) {
  const state = await sitting.with(() => post("api/reviews", {
    drill: open.drill, takes, ...sitting.said(),
  }));
  if (!state) return;
  jobs.show(state.jobs);
  if (isQuiet) tell("");
  await jobs.look();
}

/** @param {number} number */
async function showReview(number) {
  const { title, said, logged, page } = await get("api/review", { drill: open.drill, number });
  const frame = make("iframe", { title: `The review of ${title}`, srcdoc: page });
  frame.setAttribute("sandbox", "allow-same-origin"); // to be measured; it runs no script
  const fit = () => {
    const inside = frame.contentDocument?.documentElement;
    if (inside) frame.style.height = `${inside.scrollHeight + 2}px`;
  };
  frame.addEventListener("load", () => {
    fit();
    new ResizeObserver(fit).observe(frame);
  });
  const heading = make("h2", {}, `The review of ${title}`);
  heading.tabIndex = -1;
  review.replaceChildren(heading, make("p", {}, logged),
    button("close", "Put it away", () => {
      review.hidden = true;
      jobs.element.focus();
    }), frame);
  review.hidden = false;
  const { top } = heading.getBoundingClientRect();
  heading.focus({ preventScroll: true });
  if (top < 0 || top > innerHeight / 2) review.scrollIntoView(); // on a telephone it is far below
  tell(said);
}
