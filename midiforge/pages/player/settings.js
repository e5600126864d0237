// What the listener has set, for all exercises of a page at once.

/** @type {Record<string, boolean | number>} */
export const settings = {
  loop: true, countIn: true, volume: 50, hands: true, feet: true, band: true, click: true,
  strokes: false,
};
