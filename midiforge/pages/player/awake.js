// The screen stays awake while something plays, where the browser can see to that.

/** @type {Promise<WakeLockSentinel | null> | null} */
let lock = null;

/** @param {boolean} playing */
export function stayAwake(playing) {
  if (playing) lock = navigator.wakeLock?.request("screen").catch(() => null) || null;
  else {
    lock?.then((held) => held?.release());
    lock = null;
  }
}
