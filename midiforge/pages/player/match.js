// Which played stroke is which expected one, as hear/match.py has it: of all ways to pair them one
// to one, none further apart than a window, one with the most pairs, and of those the nearest.

const TAKEN = 1, PASSED = 2; // paired; the played stroke is nobody's; else the expected one

/**
 * Pairs of indexes, rising.
 * @param {number[]} expected
 * @param {number[]} played
 * @param {number} within
 */
export function match(expected, played, within) {
  /** @type {[number, number][]} */
  const pairs = [];
  let i = 0, j = 0;
  while (i < expected.length && j < played.length) {
    const apart = played[j] - expected[i];
    if (apart > within) i++;
    else if (apart < -within) j++;
    else {
      const { low, high } = rivals(expected, played, i, j, within);
      pairs.push(...best(expected, played, i, low, high, within));
      i += low.length;
      j = Math.max(...high);
    }
  }
  return pairs;
}

/**
 * Of expected strokes that compete for the same played ones, from the first on: each one's first
 * played one in its window, and the first after it.
 * @param {number[]} expected
 * @param {number[]} played
 * @param {number} first
 * @param {number} start
 * @param {number} within
 */
function rivals(expected, played, first, start, within) {
  const low = [], high = [];
  let end = start, most = start;
  for (const time of expected.slice(first)) {
    while (start < played.length && time - played[start] > within) start++;
    if (low.length && start >= most) break;
    end = Math.max(end, start);
    while (end < played.length && played[end] - time <= within) end++;
    low.push(start);
    high.push(end);
    most = Math.max(most, end);
  }
  return { low, high };
}

/**
 * The best pairs among such rivals: for each in turn what it and those before it are worth at most
 * with the played ones before each place; then followed back from the end.
 * @param {number[]} expected
 * @param {number[]} played
 * @param {number} first
 * @param {number[]} low
 * @param {number[]} high
 * @param {number} within
 */
function best(expected, played, first, low, high, within) {
  // A pair is worth 1 less a share of its distance so small that it never outweighs a pair.
  const share = 1 / ((within || 1) * (low.length + 1));
  let before = [0], beforeStart = low[0];
  const steps = low.map((start, n) => {
    const last = before.length - 1;
    let worth = before[Math.min(start - beforeStart, last)];
    const now = [worth], step = [0];
    for (let j = start; j < high[n]; j++) {
      const without = before[Math.min(j + 1 - beforeStart, last)];
      const apart = Math.abs(played[j] - expected[first + n]);
      const taken = before[Math.min(j - beforeStart, last)] + 1 - apart * share;
      step.push(taken > without && taken > worth ? TAKEN : worth > without ? PASSED : 0);
      worth = Math.max(taken, without, worth);
      now.push(worth);
    }
    before = now;
    beforeStart = start;
    return step;
  });
  /** @type {[number, number][]} */
  const pairs = [];
  let j = Math.max(...high);
  for (let n = low.length - 1; n >= 0; ) {
    j = Math.min(j, high[n]);
    const step = j > low[n] ? steps[n][j - low[n]] : 0;
    if (step) j--;
    if (step === TAKEN) pairs.push([first + n, j]);
    if (step !== PASSED) n--;
  }
  return pairs.reverse();
}
