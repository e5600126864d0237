// What the page has to say in one line.

const READ_MS = 8000; // that a notice stands, whatever else is all right again

let stands = 0;

/** @param {string} sentence */
export function tell(sentence) {
  const news = document.getElementById("news");
  if (!news || news.textContent === sentence || (!sentence && performance.now() < stands)) return;
  news.textContent = sentence;
}

/**
 * Something that happened, which stands until it can have been read.
 * @param {string} sentence
 */
export function notice(sentence) {
  stands = 0;
  tell(sentence);
  stands = performance.now() + READ_MS;
  setTimeout(() => {
    const news = document.getElementById("news");
    if (news?.textContent === sentence) news.textContent = "";
  }, READ_MS);
}
