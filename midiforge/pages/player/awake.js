// The screen stays awake while something plays, where the browser can see to that.

/** @type {Promise<WakeLockSentinel | null> | null} */
let lock = null;

/** @param {boolean} playing */
export function stayAwake(playing) {
  lock?.then((held) => held?.release());
  lock = playing && navigator.wakeLock?.request("screen").catch(() => null) || null;
}

// A page out of sight loses it.
document.addEventListener("visibilitychange", () => {
  if (lock && !document.hidden) stayAwake(true);
});
