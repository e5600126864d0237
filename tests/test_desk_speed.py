"""The page of `open` waits for nothing that it need not wait for.

Times are of a busy machine's best of many, and hold it to what is wrong by ten times as much.
"""

import http.client
import os
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import urlopen

import pytest
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
