"""Makes the README's pictures anew: drawings by the commands that stand beside them there, and
the lesson's page on a telephone as Chromium shows it (where it is installed)."""

import re
import shlex
import sys
import tempfile
import time
from pathlib import Path

from midiforge.command.run import run

ROOT = Path(__file__).parent.parent


def commands() -> list[list[str]]:
    """The commands in the README that draw a picture."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.findall(
        r"^midiforge (show .*--picture \S+|sheet .*--out examples/\S+)$", text, re.MULTILINE
    )
    return [shlex.split(each) for each in found]


def telephone(drill: str, exercise: str, picture: Path) -> None:
    """The page of a drill on a telephone, while one of its exercises plays."""
    from browser import chromium, sized

    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "lesson.html"
        run(["sheet", drill, "--counts", "--out", str(page), "--quiet"])
        running = chromium(Path(folder) / "profile")
        browser = next(running)
        sized(browser, 390, 620)
        browser.get(page.as_uri())
        browser.execute_script(
            "document.documentElement.style.scrollBehavior = 'auto';"
            "const section = document.getElementById(arguments[0]); section.scrollIntoView();"
            "section.querySelector('.player-play').click()",
            exercise,
        )
        time.sleep(4.5)
        browser.save_screenshot(str(picture))
        running.close()


if __name__ == "__main__":
    code = max(run(each) for each in commands())
    pictures = ROOT / "examples" / "pictures"
    telephone("examples/02-lantern-waltz.toml", "n7", pictures / "lantern-waltz-telephone.png")
    sys.exit(code)
