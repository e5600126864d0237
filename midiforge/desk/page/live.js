// The line to what is live: one socket for the page, and the clock that is kept at its other end.

import { socket } from "./api.js";

/** @typedef {Record<string, any>} Said */

const AGAIN_MS = 1500; // until a line that broke is tried again
const SETTLING_MS = 40, SETTLING = 8; // how soon, and how often, clocks are compared at first
const COMPARED_MS = 5000; // and from then on
const REMEMBERED = 24; // comparisons

/** @type {WebSocket | null} */
let line = null;
/** @type {Set<(said: Said) => void>} */
const ears = new Set();
/** What was said while the line was not open.
 * @type {Said[]} */
let waiting = [];
/** @type {{ took: number, ahead: number }[]} */
let compared = [];
let names = 0;

/**
 * Is told of all that comes.
 * @param {(said: Said) => void} ear
 */
export function hear(ear) {
  ears.add(ear);
  open();
}

/** @param {Said} said */
export function say(said) {
  open();
  if (line?.readyState === WebSocket.OPEN) line.send(JSON.stringify(said));
  else waiting.push(said);
}

/** A name for something that is begun, by which what is told of it is known. */
export function newName() {
  return ++names;
}

/**
 * The clock at the other end, in ms: that of whoever had the shortest way there and back, as the
 * others waited for something.
 * @param {number} [stamp] the moment, as the page has it
 */
export function clock(stamp = performance.now()) {
  let best = compared[0];
  for (const one of compared) if (one.took < best.took) best = one;
  return stamp + (best?.ahead || 0);
}

function compare() {
  if (line?.readyState === WebSocket.OPEN)
    line.send(JSON.stringify({ do: "clock", asked: performance.now() }));
}

/** @param {Said} said */
function compareWith({ clock: there, asked }) {
  const now = performance.now();
  compared.push({ took: now - asked, ahead: there - (asked + now) / 2 });
  compared = compared.slice(-REMEMBERED);
}

function open() {
  if (line) return;
  const own = (line = socket("api/live"));
  own.addEventListener("open", () => {
    for (const said of waiting) own.send(JSON.stringify(said));
    waiting = [];
    for (let i = 0; i < SETTLING; i++) setTimeout(compare, i * SETTLING_MS);
    tell({ opened: true });
  });
  own.addEventListener("message", ({ data }) => {
    const said = JSON.parse(data);
    if ("clock" in said) compareWith(said);
    else tell(said);
  });
  own.addEventListener("close", () => {
    line = null;
    waiting = [];
    compared = [];
    tell({ closed: true });
    setTimeout(open, AGAIN_MS);
  });
}

setInterval(compare, COMPARED_MS);

/** @param {Said} said */
function tell(said) {
  for (const ear of [...ears]) ear(said);
}
