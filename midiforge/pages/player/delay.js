// How late strokes arrive: eight taps with the click tell.

const TAPS = 8, BEAT = 0.6, BEFORE = 4; // s from click to click; clicks to find it
const UNEVEN = 0.04, FURTHEST = 0.28; // s that taps may differ, and be from the click

/**
 * @typedef {{ from: string, ms: number } | { from: string, tooUneven: true }} Delay
 */

export class Measure {
  /**
   * @param {AudioContext} context
   * @param {AudioNode} out
   * @param {typeof import("./strike.js").strike} strike
   * @param {(delay: Delay) => void} done
   */
  constructor(context, out, strike, done) {
    this.done = done;
    this.start = context.currentTime + 0.2;
    /** @type {number[]} */
    this.offs = [];
    this.from = "";
    this.clicks = Array.from({ length: BEFORE + 2 * TAPS }, (_, i) =>
      strike(context, out, this.start + i * BEAT, { note: i % 4 ? 33 : 34, velocity: 100 }));
  }

  /**
   * @param {number} time as it is heard
   * @param {string} from
   */
  tap(time, from) {
    this.from ||= from;
    const off = time - this.start - Math.round((time - this.start) / BEAT) * BEAT;
    if (from !== this.from || time < this.start - BEAT / 2 || Math.abs(off) > FURTHEST) return;
    this.offs.push(off);
    if (this.offs.length < TAPS) return;
    this.end();
    const inOrder = [...this.offs].sort((a, b) => a - b);
    const middle = (inOrder[TAPS / 2 - 1] + inOrder[TAPS / 2]) / 2;
    const apart = inOrder.map((each) => Math.abs(each - middle)).sort((a, b) => a - b);
    if (apart[TAPS / 2] > UNEVEN) this.done({ from, tooUneven: true });
    else this.done({ from, ms: Math.round(1000 * middle) });
  }

  get left() {
    return TAPS - this.offs.length;
  }

  end() {
    for (const click of this.clicks) click.stop();
  }
}
