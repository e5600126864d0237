// Files that the page makes, saved by the browser.

import { make } from "./element.js";

const FILE_CANNOT = /[^\p{L}\p{N} .-]+/gu;

/**
 * @param {BlobPart} content
 * @param {string} type
 * @param {string} what behind the page's title
 */
export function download(content, type, what) {
  const link = make("a", {
    href: URL.createObjectURL(new Blob([content], { type })),
    download: `${document.title.replace(FILE_CANNOT, " ").trim()}, ${what}`,
  });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}
