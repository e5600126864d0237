// What is folded on a screen is open on paper.

/** @type {HTMLDetailsElement[]} */
let unfolded = [];

addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll("details")].filter((fold) => !fold.open);
  for (const fold of unfolded) fold.open = true;
});
addEventListener("afterprint", () => {
  for (const fold of unfolded) fold.open = false;
});
