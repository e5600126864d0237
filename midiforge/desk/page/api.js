// How the page asks its server. Addresses are below the page's own, which has the run's secret.

/** @typedef {{ what: string, hint: string, key: string, said: string }} Trouble */

/** What the server could not do, in its own words. */
export class Wrong extends Error {
  /**
   * @param {number} status
   * @param {any} answer
   */
  constructor(status, answer) {
    super(answer?.error?.said || "midiforge does not answer as it should");
    this.status = status;
    this.answer = answer;
    /** @type {Trouble} */
    this.trouble = answer?.error || { what: this.message, hint: "", key: "", said: this.message };
  }
}

/** @type {(isThere: boolean) => void} */
let heard = () => {};

/**
 * Who is told whether the server is there.
 * @param {(isThere: boolean) => void} listener
 */
export function onServer(listener) {
  heard = listener;
}

/**
 * @param {string} path
 * @param {RequestInit} init
 */
async function ask(path, init) {
  let response;
  try {
    response = await fetch(path, init);
  } catch (error) {
    if (init.signal?.aborted) throw error;
    heard(false);
    const said = "midiforge has been ended; start it again in the terminal, "
      + "and open the page that it names. What was saved is there.";
    throw new Wrong(0, { error: { what: said, hint: "", key: "", said } });
  }
  heard(true);
  const answer = await response.json().catch(() => null);
  if (!response.ok) throw new Wrong(response.status, answer);
  return answer;
}

/**
 * Asks for something.
 * @param {string} path such as "api/drills"
 * @param {Record<string, string | number>} [parameters]
 * @param {AbortSignal} [signal]
 * @returns {Promise<any>}
 */
export function get(path, parameters = {}, signal) {
  const texts = Object.entries(parameters).map(([name, value]) => [name, `${value}`]);
  return ask(texts.length ? `${path}?${new URLSearchParams(texts)}` : path, { signal });
}

/**
 * Has something done.
 * @param {string} path
 * @param {Record<string, unknown> | Blob} content what with, by name; or a file
 * @returns {Promise<any>}
 */
export function post(path, content) {
  if (content instanceof Blob) return ask(path, { method: "POST", body: content });
  return ask(path, { method: "POST", body: JSON.stringify(content),
    headers: { "Content-Type": "application/json" } });
}

/**
 * A socket of the server, for what is live.
 * @param {string} path such as "api/live"
 */
export function socket(path) {
  const address = new URL(path, document.baseURI);
  address.protocol = "ws:";
  return new WebSocket(address);
}
