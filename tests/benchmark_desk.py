"""How soon the page of `midiforge open` answers: from the command to what is seen, and from a key
that is pressed to new music, in a real browser.

    python tests/benchmark_desk.py

Peer: the same lesson written by `midiforge sheet` as one HTML file, in the same run.
"""

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from browser import chromium, sized
from desk import served

THIRTY = """\
title = "Thirty"
sticking = "R>LRR LRL>L"
placements = "phrase"
feet = "samba"
tempos = "70"
stages = "hands, full"
lead = "both"
running = "1-30"
"""
FORMS = ("R>LRR LRL>L", "RLRR >LRLL", "RRLL RRL>L", "RLLR LRRL", ">RLRL RLRL", "RLR>L RRLL")
_KEYS = 40
_PRESS = """
const [text, done] = arguments;
const field = document.getElementById("field-sticking"), music = document.querySelector(".slot");
const pressed = performance.now();
const seen = new MutationObserver(() => {
  seen.disconnect();
  requestAnimationFrame(() => setTimeout(() => done(performance.now() - pressed)));
});
seen.observe(music, { childList: true, subtree: true });
field.value = text;
field.dispatchEvent(new Event("input", { bubbles: true }));
setTimeout(() => done(-1), 8000);
"""


def opened(browser: Any, address: str) -> float:
    """Seconds until music is on the page."""
    begin = time.perf_counter()
    browser.get("about:blank")
    browser.get(address)
    while not browser.execute_script("return document.querySelectorAll('.slot .system').length"):
        time.sleep(0.01)
    return time.perf_counter() - begin


def pressed(browser: Any, keys: int) -> list[float]:
    """Milliseconds from a key to new music in sight."""
    taken = []
    for number in range(keys):
        time.sleep(0.5)
        taken.append(browser.execute_async_script(_PRESS, FORMS[(number + 1) % len(FORMS)]))
    return taken


def main() -> None:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        (folder / "thirty.toml").write_text(THIRTY)
        for browser in chromium(folder / "profile"):
            sized(browser, 1280, 800)
            begin = time.perf_counter()
            with served(folder) as address:
                begun = time.perf_counter() - begin
                seen = opened(browser, address)
                again = min(opened(browser, address) for _ in range(3))
                taken = pressed(browser, _KEYS)
            cuts = statistics.quantiles(taken, n=20)
            begin = time.perf_counter()
            command = [sys.executable, "-m", "midiforge", "sheet", str(folder / "thirty.toml")]
            subprocess.run([*command, "--out", str(folder / "t.html")], check=True)
            sheet = time.perf_counter() - begin
        ratio = (begun + seen) / sheet
        print(f"command to its address   {begun:6.2f} s")
        print(f"address to music         {seen:6.2f} s  (again {again:.2f} s)")
        print(f"sheet --out t.html       {sheet:6.2f} s  (peer: ratio {ratio:.2f})")
        print(f"key to music, {len(taken)} keys   p50 {cuts[9]:.0f} ms, p95 {cuts[18]:.0f} ms")
        shutil.rmtree(folder / "profile", ignore_errors=True)


if __name__ == "__main__":
    main()
