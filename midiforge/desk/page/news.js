// What the page has to say in one line.

/** @param {string} sentence */
export function tell(sentence) {
  const news = document.getElementById("news");
  if (news && news.textContent !== sentence) news.textContent = sentence;
}
