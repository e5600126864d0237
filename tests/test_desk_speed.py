"""The page of `open` waits for nothing that it need not wait for.

Times are of a busy machine's best of many, and hold it to what is wrong by ten times as much.
"""

import http.client
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import Request, urlopen

import pytest
from browser import chromium
from desk import served

from midiforge.drill.read import drill_in
from midiforge.lesson.outline import turned

DRILL = 'title = "Quick"\nsticking = "RLRR LRLL"\nfeet = "samba"\n'


def test_an_answer_is_not_held_back_until_the_browser_has_acknowledged_its_beginning(
    tmp_path: Path,
) -> None:
    # Linux acknowledges after 40 ms (RFC 9293 allows 500); the first packets of a connection at
    # once, so that only a connection that is kept shows it.
    (tmp_path / "quick.toml").write_text(DRILL)
    with served(tmp_path) as page:
        parts = urlsplit(page)
        connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=20)
        taken = []
        for _ in range(60):
            begin = time.perf_counter()
            connection.request("GET", f"{parts.path}desk/page/news.js")
            assert connection.getresponse().read()
            taken.append(time.perf_counter() - begin)
    assert min(taken[20:]) < 0.02


def test_the_page_answers_though_its_browser_lets_nobody_go_on_until_it_is_closed(
    tmp_path: Path,
) -> None:
    for package in ("starlette", "uvicorn", "websockets", "tomlkit"):
        pytest.importorskip(package, reason=f"the page of `open` needs {package}")
    (tmp_path / "quick.toml").write_text(DRILL)
    closed = tmp_path / "closed"
    browser = tmp_path / "browser.py"
    browser.write_text(f"import time; time.sleep(8); open({str(closed)!r}, 'w')")
    command = [sys.executable, "-m", "midiforge", "open", str(tmp_path), "--log", "log.sqlite"]
    environment = {**os.environ, "BROWSER": f"{sys.executable} {browser} %s"}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=tmp_path, env=environment
    ) as process:
        try:
            assert process.stdout is not None
            process.stdout.readline()
            with urlopen(process.stdout.readline().strip(), timeout=20) as answer:
                assert answer.status == 200
            assert not closed.exists()
        finally:
            process.terminate()


def test_accents_that_come_round_within_a_long_phrase_are_written_once_for_each_placement() -> None:
    text = (
        'title = "Long"\nplacements = "phrase"\naccents = ">..>..>."\n'
        f'accent_placements = "phrase"\nsticking = "{"RLRRLRLLRRLRLLRL" * 3}RLLRLRRLLLRLRRLR"\n'
    )
    materials = [*turned(drill_in(text, Path("long.toml")))]
    assert len(materials) == 64 * 64
    assert len({id(material.phrase) for material in materials}) == 64 * 8


# 200 steps, both moved: some seconds of work, in each of which it can be given up.
LONG = (
    'title = "Long"\nplacements = "phrase"\naccents = ">..>..>."\naccent_placements = "phrase"\n'
    f'stages = "hands"\nsticking = "{"RLRRL" * 20}{"RLLRR" * 20}"\n'
)


def told(page: str, path: str, **content: object) -> dict[str, Any]:
    body = json.dumps(content).encode() if content else None
    with urlopen(Request(page + path, body), timeout=60) as answer:
        return json.loads(answer.read())  # type: ignore[no-any-return]


def test_a_lesson_that_a_newer_one_has_overtaken_is_given_up_and_its_file_stays(
    tmp_path: Path,
) -> None:
    drill = tmp_path / "quick.toml"
    drill.write_text(DRILL)
    with served(tmp_path) as page, ThreadPoolExecutor() as aside:
        base = told(page, "api/lesson?drill=quick.toml")["digest"]
        text = {"drill": drill.name, "base": base, "text": LONG}
        answer = aside.submit(told, page, "api/lesson/text", **text)
        while not answer.done():  # it may not have begun at first
            time.sleep(0.3)
            told(page, "api/lesson/overtaken", drill=drill.name)
        assert answer.result() == {"overtaken": True}
    assert drill.read_text() == DRILL


MANY = (
    'title = "Many"\nfeet = "samba"\nstages = "hands, full"\ntempos = "70"\n[every]\nstrokes = 8\n'
)


def test_every_piece_of_a_large_family_stands_once_and_few_under_one_heading() -> None:
    from midiforge.desk.drill_file import DrillFile
    from midiforge.desk.lesson_sheet import LessonSheet

    told = LessonSheet(DrillFile(Path("many.toml"), MANY)).told()
    assert told["pieces"] == 512
    assert told["unshown"] == 0
    families = [family["pieces"] for family in told["families"]]
    assert sorted(number for family in families for number in family) == [*range(1, 513)]
    assert max(map(len, families)) <= 24


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


def until(browser: Any, script: str, *values: Any) -> Any:
    end = time.monotonic() + 40
    while not (so := browser.execute_script(script, *values)):
        assert time.monotonic() < end, script
        time.sleep(0.05)
    return so


_TYPE = """
const field = document.getElementById("field-sticking");
field.value = arguments[0];
field.dispatchEvent(new Event("input", { bubbles: true }));
"""
_LETTERS = """
const letters = [...document.querySelectorAll(".slot:first-child section.exercise text.hand")];
return letters.map((each) => each.textContent).join("").startsWith(arguments[0]);
"""


def test_what_is_typed_while_a_long_lesson_is_made_is_answered_in_its_place(
    tmp_path: Path, browser: Any
) -> None:
    drill = tmp_path / "quick.toml"
    drill.write_text(LONG.replace("RLLRR" * 20, "").replace("RLRRL" * 20, "RLRRLR"))
    with served(tmp_path) as page:
        browser.get(page)
        until(browser, "return document.querySelector('.slot .system')")
        browser.execute_script(_TYPE, "RRLLR" * 40)
        time.sleep(1)
        browser.execute_script(_TYPE, "LLRLRR")
        until(browser, _LETTERS, "LLRLRR")
        assert 'sticking = "LLRLRR"' in drill.read_text()
        asked = "return performance.getEntriesByType('resource').map(({ name }) => name)"
        assert sum("overtaken" in name for name in browser.execute_script(asked)) == 1
        browser.execute_script("document.querySelector('.undo').click()")
        until(browser, _LETTERS, "RLRRLR")  # the long one never was the lesson
        assert 'sticking = "RLRRLR"' in drill.read_text()


def test_all_of_several_hundred_exercises_are_on_the_page_and_engraved_once_they_are_near(
    tmp_path: Path, browser: Any
) -> None:
    (tmp_path / "many.toml").write_text(MANY)
    with served(tmp_path) as page:
        browser.get(page)
        until(browser, "return document.querySelector('.slot .system')")
        said = browser.execute_script("return document.querySelector('.lesson-size').textContent")
        assert said == "512 exercises"
        assert len(browser.find_elements("css selector", ".slot")) == 512 / 2
        assert not browser.find_elements("id", "n512")
        last = "document.querySelector('.slot:last-child')"  # which moves on as others come
        until(browser, f"{last}.scrollIntoView(); return document.querySelector('#n512 .system')")
        assert len(browser.find_elements("css selector", "section.exercise")) < 100
