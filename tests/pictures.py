"""Makes the README's pictures anew: drawings by the commands that stand beside them there, and
pages as Chromium shows them (where it is installed)."""

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
    from browser import chromium, press_play, sized

    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "lesson.html"
        run(["sheet", drill, "--counts", "--out", str(page), "--quiet"])
        running = chromium(Path(folder) / "profile")
        browser = next(running)
        sized(browser, 390, 620)
        browser.get(page.as_uri())
        browser.execute_script(
            "document.documentElement.style.scrollBehavior = 'auto';"
            "document.getElementById(arguments[0]).scrollIntoView()",
            exercise,
        )
        press_play(browser, exercise)
        time.sleep(4.5)
        browser.save_screenshot(str(picture))
        running.close()


def review(picture: Path) -> None:
    """The page of a made-up take's review, on a desk."""
    from browser import chromium, sized
    from synthetic import KIT, synthetic

    import midiforge
    from midiforge.hear.choice import Reviewed
    from midiforge.hear.known import NOTHING
    from midiforge.hear.review import review as reviewed
    from midiforge.model.hit import Limb

    drill = midiforge.read_drill(ROOT / "examples" / "01-slack-water-bossa.toml")
    exercise = next(each for each in midiforge.exercises(drill) if str(each.number) == "5a")
    habits = {Limb.LEFT_FOOT: 0.022, Limb.LEFT_HAND: 0.008}
    take, _ = synthetic(exercise, 1, 70, jitter=0.012, miss=0.03, extra=0.02, limbs=habits)
    with tempfile.TemporaryDirectory() as folder:
        page, played = Path(folder) / "review.html", Path(folder) / "take.mid"
        played.write_bytes(b"made up")  # what the log would keep: its digest, and when it was
        found = Reviewed(reviewed(take, exercise, KIT), NOTHING)
        midiforge.write_review(found, page, midiforge.next_step(found, drill, played, log=None))
        running = chromium(Path(folder) / "profile")
        browser = next(running)
        sized(browser, 1000, 1080)
        browser.get(page.as_uri())
        browser.save_screenshot(str(picture))
        running.close()


def page(picture: Path) -> None:
    """The page of `midiforge open`, on which a lesson is written."""
    from browser import chromium, sized
    from desk import served

    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for example in (ROOT / "examples").glob("*.toml"):
            (folder / example.name).write_bytes(example.read_bytes())
        running = chromium(folder / "profile")
        browser = next(running)
        sized(browser, 1280, 860)
        with served(folder) as address:
            browser.get(f"{address}#drill=02-lantern-waltz.toml")
            while len(browser.find_elements("css selector", ".slot .system")) < 3:
                time.sleep(0.1)
            browser.execute_script("scrollTo(0, 200)")
            time.sleep(2)
            browser.save_screenshot(str(picture))
        running.close()


if __name__ == "__main__":
    code = max(run(each) for each in commands())
    pictures = ROOT / "examples" / "pictures"
    telephone("examples/02-lantern-waltz.toml", "n3", pictures / "lantern-waltz-telephone.png")
    review(pictures / "review.png")
    page(pictures / "page.png")
    sys.exit(code)
