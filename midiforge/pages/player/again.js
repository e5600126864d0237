// A chord that goes on is printed again only where it begins a line, and where lines begin the
// screen decides.

function hideAgain() {
  for (const music of document.querySelectorAll(".music")) {
    let above = NaN;
    for (const system of music.querySelectorAll("svg.system")) {
      const { bottom, height } = system.getBoundingClientRect();
      system.classList.toggle("inline", Math.abs(bottom - above) < height / 2);
      above = bottom;
    }
  }
}

addEventListener("resize", hideAgain);
hideAgain();
