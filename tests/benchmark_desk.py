"""How soon the page of `midiforge open` answers: from the command to what is seen, and from a key
that is pressed to the music of it, in a real browser.

    python tests/benchmark_desk.py [KIND ...]

A key has been answered when the first exercise in sight for the hands has the letters of the new
sticking and has been painted. The command's clock and the browser's are both the system's; how far
they differ is measured and taken off. The browser runs already, and is sent to the page by its
driver as soon as the command says its address: how long a desktop takes to do that is not in it.

Peer: the same lesson written by `midiforge sheet` as one HTML file, in the same run.
"""

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from itertools import count, islice
from pathlib import Path
from typing import Any

from browser import chromium, sized
from desk import server

_STARTS, _KEYS = 5, 16
_STRIDE = 7  # steps from one that is changed to the next
_WAITED = 60.0  # seconds for music, before it is given up


def _lesson(sticking: str, *keys: str) -> str:
    own = "\n".join(keys)
    return f'title = "Quick"\nsticking = "{sticking}"\nstages = "hands, full"\n{own}\n'


_LONG = "RLRRLRLLRRLRLLRLRLLRLRRLLLRLRRLR" * 2 + "RRLLRLRLLRRLRLRRLLRLRLLRRLRLLRRL" * 2
_MOVED, _SAMBA = 'placements = "phrase"', 'feet = "samba"'
KINDS = {
    "30 exercises": _lesson(
        "R>LRR LRL>L", _MOVED, _SAMBA, 'tempos = "70"', 'lead = "both"', 'running = "1-30"'
    ),
    "feet first": f'title = "Quick"\nsticking = "RLRRLRLL"\n{_SAMBA}\ntempos = "60, 80"\n',
    "triplets": _lesson("RLLRLL", "steps = 3", _MOVED, 'feet = "jazz-waltz"'),
    "nine steps": _lesson("RLRRLRLLR", _MOVED, _SAMBA),
    "a band": _lesson(
        "RLRRLRLL", _MOVED, _SAMBA, 'style = "bossa-nova"', 'chords = "Dm7 | G7 | Cmaj7 | A7"'
    ),
    "300 exercises": _lesson(
        _LONG[:32], _MOVED, _SAMBA, 'lead = "both"', 'accents = "own, beats, none"'
    ),
    "every sticking": _lesson("RLRRLRLL", _SAMBA, "[every]", "strokes = 8"),
    "128 steps": _lesson(_LONG, _MOVED, _SAMBA),
    "128 steps, both moved": _lesson(
        _LONG, _MOVED, _SAMBA, 'accents = ">..>..>."', 'accent_placements = "phrase"'
    ),
}
_WATCH = """
addEventListener("DOMContentLoaded", () => {
  const seen = new MutationObserver(() => {
    if (!document.querySelector(".slot .system")) return;
    seen.disconnect();
    requestAnimationFrame(() => setTimeout(() => window.musicSeen = performance.now()));
  });
  seen.observe(document.body, { childList: true, subtree: true });
});
"""
_STARTED = """
if (!window.musicSeen) return null;
const painted = performance.getEntriesByName("first-contentful-paint")[0].startTime;
return [painted, window.musicSeen].map((ms) => (performance.timeOrigin + ms) / 1000);
"""
_PRESS = """
const [text, longest, done] = arguments;
const field = document.getElementById("field-sticking");
const music = document.querySelector(".lesson-music");
const wanted = text.replace(/[^RL]/g, "");
const isThere = () => {
  const sections = [...music.querySelectorAll("section.exercise")];
  const first = sections.find((section) => section.getBoundingClientRect().bottom > 0
    && section.querySelector("text.hand"));
  const letters = [...first?.querySelectorAll("text.hand") || []].map((each) => each.textContent);
  return letters.join("").startsWith(wanted);
};
if (isThere()) return done("it was there before");
const pressed = performance.now();
const over = setTimeout(() => done("nothing came"), longest);
const seen = new MutationObserver(() => {
  if (!isThere()) return;
  seen.disconnect();
  clearTimeout(over);
  requestAnimationFrame(() => setTimeout(() => done(performance.now() - pressed)));
});
seen.observe(music, { childList: true, subtree: true });
field.value = text;
field.dispatchEvent(new Event("input", { bubbles: true }));
"""


def ahead(browser: Any) -> float:
    """Seconds by which the browser's clock is ahead of this process's, of the quickest answer."""
    compared = []
    for _ in range(20):
        before = time.time()
        there = browser.execute_script("return performance.timeOrigin + performance.now()") / 1000
        after = time.time()
        compared.append((after - before, there - (before + after) / 2))
    return min(compared)[1]


def started(browser: Any, folder: Path) -> tuple[float, float, float]:
    """Seconds from the command to its address, to the first paint, and to music in sight."""
    browser.get("about:blank")
    off = ahead(browser)
    begin = time.time()
    with server(folder) as (address, _):
        said = time.time() - begin
        browser.execute_cdp_cmd("Page.navigate", {"url": address})
        while not (seen := browser.execute_script(_STARTED)):
            if time.time() - begin > _WAITED:
                raise SystemExit("no music came")
            time.sleep(0.01)
        return said, *(moment - off - begin for moment in seen)


def typed(sticking: str) -> Iterator[str]:
    """Stickings of which each has another step changed than the one before, and none comes twice
    before each step was changed: what is known from before is no help."""
    steps = [at for at, letter in enumerate(sticking) if letter in "RL"]
    for key in count(1):
        at = steps[_STRIDE * key % len(steps)]
        other = "L" if sticking[at] == "R" else "R"
        sticking = f"{sticking[:at]}{other}{sticking[at + 1 :]}"
        yield sticking


def pressed(browser: Any, folder: Path) -> list[float]:
    """Milliseconds from each key to its music in sight."""
    taken = []
    with server(folder) as (address, _):
        browser.get("about:blank")
        browser.get(address)
        while not browser.execute_script(_STARTED):
            time.sleep(0.05)
        before = browser.execute_script("return document.getElementById('field-sticking').value")
        for text in islice(typed(before), _KEYS):
            time.sleep(0.5)
            took = browser.execute_async_script(_PRESS, text, _WAITED * 1000)
            if isinstance(took, str):
                raise SystemExit(f"{text}: {took}")
            taken.append(took)
            if sum(taken) > _WAITED * 1000:
                break
    return taken


def main(kinds: Sequence[str]) -> None:
    with tempfile.TemporaryDirectory() as made:
        folder, drill = Path(made), Path(made) / "quick.toml"
        for browser in chromium(folder / "profile"):
            sized(browser, 1280, 800)
            browser.set_script_timeout(2 * _WAITED)
            browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": _WATCH})
            if not kinds:
                drill.write_text(KINDS["30 exercises"])
                command = [sys.executable, "-m", "midiforge", "sheet", str(drill)]
                begin = time.perf_counter()
                subprocess.run([*command, "--out", str(folder / "t.html")], check=True)
                sheet = time.perf_counter() - begin
                names = ("its address", "the first paint", "music")
                many = [started(browser, folder) for _ in range(_STARTS)]
                for name, times in zip(names, zip(*many, strict=True), strict=True):
                    of = f"median of {_STARTS}, the slowest {max(times):.2f} s"
                    print(f"command to {name:16} {statistics.median(times):6.2f} s  ({of})")
                ratio = statistics.median(music for *_, music in many) / sheet
                print(f"sheet --out t.html         {sheet:6.2f} s  (peer: ratio {ratio:.2f})")
            for kind in kinds or KINDS:
                drill.write_text(KINDS[kind])
                cuts = statistics.quantiles(taken := pressed(browser, folder), n=20)
                said = f"p50 {cuts[9]:6.0f} ms, p95 {cuts[18]:6.0f} ms"
                print(f"{kind:24} key to music {said}  ({len(taken)} keys)", flush=True)
        shutil.rmtree(folder / "profile", ignore_errors=True)


if __name__ == "__main__":
    main(sys.argv[1:])
