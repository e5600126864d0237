// What is kept for as long as the tab is open, also when the page is loaded again.

/** @param {string} name */
export function recalled(name) {
  try {
    return sessionStorage.getItem(name);
  } catch { // it may not be
    return null;
  }
}

/**
 * @param {string} name
 * @param {string} text
 */
export function keep(name, text) {
  try {
    sessionStorage.setItem(name, text);
  } catch { /* there is no room for it, or it may not be */ }
}
