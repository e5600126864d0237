// Elements of the page.

/**
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Record<string, string>} properties
 * @param {...(Node | string)} children
 */
export function make(tag, properties, ...children) {
  const element = document.createElement(tag);
  Object.assign(element, properties);
  element.append(...children);
  return element;
}

/**
 * @param {string} name its class
 * @param {string} text
 * @param {() => void} pressed
 */
export function button(name, text, pressed) {
  const made = make("button", { type: "button", className: name }, text);
  made.addEventListener("click", pressed);
  return made;
}
