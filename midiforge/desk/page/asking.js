// What a view asks for before it does something: fields with what is wrong beside them.

import { make } from "../../pages/player/element.js";
import { Wrong } from "./api.js";
import { tell } from "./news.js";

/** @typedef {HTMLInputElement | HTMLSelectElement} Control */

/** The fields of a form, by the name that the server has for each. */
export class Asking {
  /** @param {string} view what its fields' ids begin with */
  constructor(view) {
    this.view = view;
    /** @type {Map<string, { control: HTMLElement, wrong: HTMLElement }>} */
    this.fields = new Map();
  }

  /**
   * A field with its title before it, or behind it where it is ticked.
   * @template {Control} C
   * @param {string} name
   * @param {string} title
   * @param {C} control
   * @param {string} [help]
   */
  field(name, title, control, help = "") {
    control.id = `${this.view}-${name}`;
    const isTicked = control instanceof HTMLInputElement && control.type === "checkbox";
    const line = make("div", { className: `field${isTicked ? " yes-no" : ""}` },
      make("label", { htmlFor: control.id }, title), control, this.#wrong(name, control));
    if (help) {
      const said = make("span", { className: "help", id: `${control.id}-help` }, help);
      control.setAttribute("aria-describedby", `${control.id}-wrong ${said.id}`);
      line.append(said);
    }
    return line;
  }

  /**
   * Several things of which some are ticked.
   * @param {string} name
   * @param {string} title
   * @param {{ value: string, title: string, isTicked: boolean }[]} choices
   */
  choice(name, title, choices) {
    const group = make("fieldset", { id: `${this.view}-${name}` },
      make("legend", {}, title), ...choices.map(({ value, title: said, isTicked }) => {
        const box = make("input", { type: "checkbox", value });
        box.checked = isTicked;
        return make("label", { className: "ticked" }, box, said);
      }));
    group.append(this.#wrong(name, group));
    return group;
  }

  /**
   * @param {string} name
   * @param {HTMLElement} control
   */
  #wrong(name, control) {
    const wrong = make("span", { className: "wrong", id: `${this.view}-${name}-wrong` });
    wrong.setAttribute("role", "alert");
    control.setAttribute("aria-describedby", wrong.id);
    this.fields.set(name, { control, wrong });
    return wrong;
  }

  /** @param {string} name */
  text(name) {
    const control = /** @type {Control | undefined} */ (this.fields.get(name)?.control);
    return control?.value || "";
  }

  /** @param {string} name */
  clear(name) {
    const control = this.fields.get(name)?.control;
    if (control instanceof HTMLInputElement) control.value = "";
  }

  /** @param {string} name */
  isTicked(name) {
    const control = this.fields.get(name)?.control;
    return control instanceof HTMLInputElement && control.checked;
  }

  /** @param {string} name */
  ticked(name) {
    const boxes = this.fields.get(name)?.control.querySelectorAll("input") || [];
    return [...boxes].filter((box) => box.checked).map((box) => box.value);
  }

  /**
   * Does something with what was asked for; what is wrong is said beside its field, or as news.
   * @template T
   * @param {() => Promise<T>} act
   * @returns {Promise<T | undefined>}
   */
  async with(act) {
    this.#say("", "");
    try {
      return await act();
    } catch (error) {
      if (!(error instanceof Wrong)) throw error;
      const { key, said } = error.trouble;
      if (this.fields.has(key)) this.#say(key, said.replace(`${key}: `, ""));
      else tell(said);
      return undefined;
    }
  }

  /**
   * @param {string} key
   * @param {string} said
   */
  #say(key, said) {
    for (const [name, { control, wrong }] of this.fields) {
      const isIt = name === key && !!said;
      wrong.textContent = isIt ? said : "";
      control.setAttribute("aria-invalid", `${isIt}`);
      if (!isIt) continue;
      control.closest("details")?.setAttribute("open", "");
      (control.querySelector("input") || control).focus();
    }
  }
}

/**
 * A field to type into.
 * @param {string} placeholder
 */
export function typing(placeholder) {
  return make("input", { type: "text", placeholder, autocomplete: "off" });
}

/** A box to tick. */
export const box = () => make("input", { type: "checkbox" });

/**
 * @param {[value: string, title: string][]} options
 */
export function choosing(options) {
  return make("select", {}, ...options.map(([value, title]) =>
    make("option", { value }, title)));
}

/**
 * A part of a view under its title.
 * @param {string} title
 * @param {...Node} content
 */
export function part(title, ...content) {
  const section = make("section", { className: "part" }, make("h2", {}, title), ...content);
  section.setAttribute("aria-label", title);
  return section;
}

/**
 * Does something; what goes wrong is told as news.
 * @param {() => Promise<unknown>} act
 */
export async function trying(act) {
  try {
    await act();
  } catch (error) {
    if (!(error instanceof Wrong)) throw error;
    tell(error.message);
  }
}
