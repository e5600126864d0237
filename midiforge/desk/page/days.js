// The days on which somebody practised here, each with its page.

import { make } from "../../pages/player/element.js";

export const days = make("ul", { className: "practise-days" });

/** @param {string[]} names */
export function showDays(names) {
  days.replaceChildren(...names.map((day) => make("li", {}, dayLink(day))));
  if (!names.length) days.append(make("li", {}, "None yet."));
}

/** @param {string} day */
export function dayLink(day) {
  const [, date, hour, minute] = /^(.*)-(\d\d)(\d\d)\d\d$/.exec(day) || [day, day, "", ""];
  const link = make("a", { target: "_blank", rel: "noopener" },
    `${date}${hour && `, ${hour}:${minute}`}`);
  link.href = `api/practise/day?${new URLSearchParams({ of: day })}`;
  return link;
}
