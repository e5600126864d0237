// What the percussion of General MIDI sounds like, note by note.

/**
 * One layer of a sound: a source at `f` Hz (metal: times its pitch) which glides `to` another
 * within `glide` s, maybe through a filter (`pass`, `cut` Hz `cutTo` Hz, `q`), with a level `g`
 * that rises in `rise` s, is held for `hold` s and falls by 60 dB in `d` s; `n` times, one `every`
 * so many s, each `step` times as high and `fade` times as loud. `snap`: how much more than the
 * rest it grows with velocity.
 * @typedef {{
 *   wave: OscillatorType | "noise" | "metal", d: number, g: number, f?: number, to?: number,
 *   glide?: number, pass?: BiquadFilterType, cut?: number, cutTo?: number, q?: number,
 *   rise?: number, hold?: number, n?: number, every?: number, step?: number, fade?: number,
 *   snap?: number,
 * }} Layer
 * @typedef {(...values: number[]) => Layer[]} Family
 */

/** @type {(f: number, d: number, g: number, more?: Partial<Layer>) => Layer} */
const tone = (f, d, g, more) => ({ wave: "sine", f, d, g, ...more });
/**
 * @type {(
 *   pass: BiquadFilterType, cut: number, d: number, g: number, more?: Partial<Layer>,
 * ) => Layer}
 */
const hiss = (pass, cut, d, g, more) => ({ wave: "noise", pass, cut, d, g, ...more });
/** @type {(cut: number, d: number, g: number, more?: Partial<Layer>) => Layer} */
const metal = (cut, d, g, more) => ({ wave: "metal", pass: "highpass", cut, d, g, ...more });

/** @type {Family} */
const skin = (f, d, bend = 1.5) => [
  tone(f * bend, d, 0.6, { to: f, glide: 0.07 }),
  hiss("lowpass", f * 14, 0.04, 0.25, { snap: 0.5 }),
];
/** @type {Family} */
const bass = (f) => [
  tone(f * 3, 0.38, 0.8, { to: f, glide: 0.05 }),
  hiss("lowpass", 1800, 0.025, 0.3, { snap: 1 }),
];
/** @type {Family} */
const snare = (f, d) => [
  tone(f * 1.3, 0.14, 0.35, { wave: "triangle", to: f, glide: 0.03 }),
  hiss("bandpass", 3800, d, 0.5, { q: 0.6, snap: 0.5 }),
];
/** @type {Family} */
const stick = (f) => [
  tone(f, 0.05, 0.45, { wave: "triangle" }),
  hiss("bandpass", f * 2.5, 0.03, 0.5, { q: 2 }),
];
/** @type {Family} */
const wood = (f, d) => [tone(f, d, 0.6), hiss("bandpass", f * 2, 0.015, 0.3, { q: 2 })];
/** @type {Family} */
const bell = (f, d, ...ratios) =>
  [1, ...ratios].map((ratio, i) => tone(f * ratio, d / (1 + i / 2), 0.4 / (1 + i)));
/** @type {Family} */
const ride = (pitch) => [
  metal(5200, 1.5, 0.45, { f: pitch }),
  tone(3100 * pitch, 0.08, 0.2, { wave: "triangle" }),
  metal(3000, 0.09, 0.8, { f: pitch, snap: 0.5 }),
];
/** @type {Family} */
const crash = (pitch, d, cut) => [
  metal(cut, d, 0.45, { f: pitch, rise: 0.004 }),
  hiss("highpass", cut * 1.4, d * 0.6, 0.25, { snap: 0.5 }),
];
/** @type {Family} */
const timbale = (f) => [
  tone(f * 1.1, 0.35, 0.4, { wave: "triangle", to: f, glide: 0.02 }),
  tone(f * 2.3, 0.2, 0.2),
  hiss("bandpass", 4000, 0.05, 0.4, { snap: 0.5 }),
];
/** @type {Family} */
const seeds = (cut, d, rise) => [hiss("bandpass", cut, d, 0.8, { q: 1, rise })];
/** @type {Family} */
const rasp = (n, every) => [hiss("bandpass", 3200, 0.03, 1.1, { q: 2.5, n, every })];
/** @type {Family} */
const whistle = (hold) => [
  tone(2350, 0.05, 0.25, { rise: 0.01, hold, wave: "triangle" }),
  tone(2381, 0.05, 0.25, { rise: 0.01, hold }),
];
/** @type {Family} */
const rub = (f, to, d) => [tone(f, d, 0.45, { wave: "triangle", to, glide: 0.12, rise: 0.02 })];
/** @type {Family} */
const scratch = (cut, cutTo) => [hiss("bandpass", cut, 0.14, 1.2, { q: 3, cutTo, rise: 0.01 })];

// The numbers of General MIDI level 1 are 35 to 81; the rest are those of level 2.
/** @type {Record<number, Layer[]>} */
export const PERCUSSION = {
  27: [tone(1700, 0.09, 0.5, { to: 240, glide: 0.05 })],
  28: [hiss("bandpass", 1100, 0.09, 1.4, { q: 1 })],
  29: scratch(900, 3600),
  30: scratch(3600, 900),
  31: stick(2300),
  32: [tone(1300, 0.03, 0.3, { wave: "square" })],
  33: wood(1350, 0.05),
  34: bell(2030, 0.16, 1.5),
  35: bass(46),
  36: bass(54),
  37: stick(840),
  38: snare(185, 0.24),
  39: [hiss("bandpass", 1250, 0.16, 1.4, { q: 1.2, n: 4, every: 0.011 })],
  40: [...snare(235, 0.2), tone(520, 0.07, 0.1, { wave: "triangle" })],
  41: skin(76, 0.65),
  42: [metal(6800, 0.09, 1.1), hiss("highpass", 8500, 0.05, 0.3, { snap: 0.5 })],
  43: skin(92, 0.6),
  44: [metal(5200, 0.1, 1.1, { rise: 0.004 }), hiss("bandpass", 900, 0.03, 0.3)],
  45: skin(112, 0.52),
  46: [metal(6200, 1.1, 0.8), hiss("highpass", 8000, 0.5, 0.18, { snap: 0.5 })],
  47: skin(136, 0.46),
  48: skin(164, 0.4),
  49: crash(0.9, 2, 2600),
  50: skin(198, 0.36),
  51: ride(1),
  52: [
    metal(1500, 1.2, 0.4, { f: 0.62, rise: 0.006 }),
    hiss("bandpass", 3400, 0.7, 0.45, { q: 0.8 }),
  ],
  53: [tone(1080, 1.1, 0.22), tone(1640, 0.8, 0.14), tone(2930, 0.5, 0.12), metal(5200, 0.8, 0.4)],
  54: [metal(7200, 0.2, 1.3, { f: 1.3, n: 2, every: 0.03 })],
  55: crash(1.4, 0.75, 4400),
  56: [
    tone(555, 0.32, 0.2, { wave: "square", pass: "bandpass", cut: 900, q: 0.7 }),
    tone(832, 0.26, 0.25, { wave: "square", pass: "bandpass", cut: 1300, q: 0.7 }),
  ],
  57: crash(1.08, 1.7, 3200),
  58: [hiss("bandpass", 2300, 0.05, 1.8, { q: 4, n: 22, every: 0.024, fade: 0.88 })],
  59: ride(1.17),
  60: skin(430, 0.14, 1.1),
  61: skin(310, 0.18, 1.1),
  62: skin(340, 0.08, 1.05),
  63: skin(265, 0.34, 1.08),
  64: skin(190, 0.4, 1.08),
  65: timbale(330),
  66: timbale(240),
  67: bell(1240, 0.4, 1.52, 2.6),
  68: bell(905, 0.45, 1.52, 2.6),
  69: seeds(6000, 0.08, 0.012),
  70: seeds(8200, 0.05, 0.004),
  71: whistle(0.1),
  72: whistle(0.38),
  73: rasp(7, 0.012),
  74: rasp(24, 0.016),
  75: wood(2500, 0.1),
  76: wood(1060, 0.1),
  77: wood(730, 0.12),
  78: rub(560, 420, 0.12),
  79: rub(330, 590, 0.3),
  80: bell(4900, 0.12, 1.37, 1.9),
  81: bell(4900, 1.6, 1.37, 1.9),
  82: seeds(7000, 0.07, 0.03),
  83: [metal(8000, 0.16, 1.4, { f: 1.5, n: 4, every: 0.035, fade: 0.85 })],
  84: [tone(1900, 0.6, 0.35, { n: 16, every: 0.055, step: 1.06, fade: 0.95 })],
  85: [hiss("bandpass", 1900, 0.03, 0.9, { q: 5, n: 2, every: 0.028 }), ...wood(1500, 0.05)],
  86: skin(68, 0.2, 1.2),
  87: skin(68, 0.75, 1.2),
};
export const OTHER = [hiss("bandpass", 1500, 0.1, 0.9, { q: 2 })];

// Of each set only one sounds at a time: what comes later ends what came before.
/** @type {Record<number, number>} */
export const CHOKES = {};
[[42, 44, 46], [29, 30], [71, 72], [73, 74], [78, 79], [80, 81], [86, 87]].forEach((set, i) => {
  for (const note of set) CHOKES[note] = i + 1;
});
