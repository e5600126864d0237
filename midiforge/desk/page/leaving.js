// A page that is left, or loaded again, asks before what was typed and is in no file goes with it.

import { unsaved } from "./lesson.js";
import { isWriting, sending } from "./sending.js";

addEventListener("beforeunload", (event) => {
  if (sending.is || isWriting() || Object.keys(unsaved).length) event.preventDefault();
});
