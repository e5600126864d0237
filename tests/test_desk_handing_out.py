"""Handing a lesson out from the page of `open`: what is made is what the command makes, it is kept
beside its drill, and what is stopped or killed leaves nothing."""

import io
import os
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from browser import chromium
from desk import served, server
from desk_asked import ask, do, until

DRILL = """title = "Quay"
sticking = "RLRR LRLL"
feet = "samba"
placements = "beat"
tempos = [60, 80]
"""
# A lesson that takes seconds to engrave, so that there is time to stop it.
LONG = """title = "Long pier"
feet = "bossa-nova"
tempos = [60, 61, 62, 63, 64, 65, 66, 67, 68, 69]
every = { strokes = 8 }
"""
_ENTER = "\ue007"  # as WebDriver has it
_PATIENCE = 60.0  # seconds, on a busy machine


def make(address: str, drill: Path, *kinds: str, **wishes: Any) -> Any:
    return do(address, "api/made", {"drill": drill.name, "kinds": [*kinds], **wishes})


def state_of(address: str, drill: Path) -> Any:
    return ask(address, "api/made", drill=drill.name)


def taken(address: str, drill: Path, name: str, **more: str) -> Any:
    return ask(address, "api/made/file", drill=drill.name, name=name, **more)


def made(address: str, drill: Path) -> Any:
    """What is there once nothing is under way any more."""

    def over() -> Any:
        state = state_of(address, drill)
        busy = [job for job in state["jobs"] if job["state"] in ("waits", "works")]
        return None if busy else state

    return until(over, "it is made at some time")


def command(*arguments: str) -> None:
    subprocess.run([sys.executable, "-m", "midiforge", *arguments], check=True, timeout=_PATIENCE)


def folder_of(drill: Path) -> Path:
    return drill.with_name(f"{drill.stem} lesson")


def left_behind(drill: Path) -> list[str]:
    """The folder of what is made of a drill, and those in it, if there are any."""
    return [folder for folder, _, _ in os.walk(folder_of(drill))]  # which may go meanwhile


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lessons")


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    with served(folder) as page:
        yield page


_numbers = count(1)


@pytest.fixture
def drill(folder: Path) -> Path:
    """A drill that nothing was made of yet."""
    path = folder / f"quay{next(_numbers)}.toml"
    path.write_text(DRILL)
    return path


@pytest.fixture
def long(drill: Path) -> Path:
    drill.write_text(LONG)
    return drill


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("profile"))


def test_pages_are_byte_for_byte_those_of_the_command(
    drill: Path, address: str, tmp_path: Path
) -> None:
    wishes = {"only": "2-3", "counts": True, "student": "Ida", "teacher": "Ole", "date": "May 1"}
    make(address, drill, ".html", ".musicxml", ".csv", **wishes)
    assert [job["trouble"] for job in made(address, drill)["jobs"]] == [None] * 3
    for ending in ("html", "musicxml", "csv"):
        ours = tmp_path / f"lesson.{ending}"
        flags = ("--counts", "--student", "Ida", "--teacher", "Ole", "--date", "May 1", "-q")
        command("sheet", str(drill), "--out", str(ours), "--only", "2-3", *flags)
        name = f"{drill.stem} 2-3 Ida.{ending}"
        assert (folder_of(drill) / name).read_bytes() == ours.read_bytes()
        assert taken(address, drill, name) == ours.read_bytes()


def test_the_zip_holds_the_folder_that_build_writes(
    drill: Path, address: str, tmp_path: Path
) -> None:
    make(address, drill, "midi")
    made(address, drill)
    command("build", str(drill), "--out", str(tmp_path / "ours"), "-q")
    ours = {p.name: p.read_bytes() for p in (tmp_path / "ours").iterdir() if p.name[0] != "."}
    with zipfile.ZipFile(io.BytesIO(taken(address, drill, "midi"))) as archive:
        zipped = {Path(name).name: archive.read(name) for name in archive.namelist()}
        assert {Path(name).parent.name for name in archive.namelist()} == {f"{drill.stem} midi"}
    assert zipped == ours
    assert taken(address, drill, "midi/lesson.mid") == ours["lesson.mid"]


def test_loops_are_those_of_the_command(drill: Path, address: str, tmp_path: Path) -> None:
    kinds = "without-hands,gaps"
    make(address, drill, "loops", only="1", loop_kinds=kinds, minutes="0.5", count_in=True)
    made(address, drill)
    flags = ("--kinds", kinds, "--minutes", "0.5", "--with-count-in", "--only", "1", "-q")
    command("loop", str(drill), "--out", str(tmp_path / "ours"), *flags)
    ours = {p.name: p.read_bytes() for p in (tmp_path / "ours").iterdir()}
    assert {p.name: p.read_bytes() for p in (folder_of(drill) / "loops").iterdir()} == ours


@pytest.mark.parametrize(
    ("field", "kind", "typed"),
    [
        ("only", ".pdf", "3-"),
        ("only", ".pdf", "77"),
        ("paper", ".pdf", "a5"),
        ("minutes", "loops", "long"),
        ("minutes", "loops", "900"),
        ("minutes", "loops", "nan"),
        ("loop_kinds", "loops", "without-cymbals"),
        ("kinds", ".exe", ""),
    ],
)
def test_what_is_wrong_is_said_of_its_field_before_anything_is_made(
    drill: Path, address: str, field: str, kind: str, typed: str
) -> None:
    answer = make(address, drill, kind, **({} if field == "kinds" else {field: typed}))
    assert answer["error"]["what"]
    assert answer["error"]["key"] == field
    assert state_of(address, drill)["jobs"] == []
    assert left_behind(drill) == []


def test_how_far_it_is_is_told_and_the_next_waits(long: Path, address: str) -> None:
    make(address, long, ".csv", ".pdf")

    def halfway() -> Any:
        first, second = state_of(address, long)["jobs"]
        assert first["state"] in ("waits", "works"), "there is time to see it under way"
        return first["of"] and 0 < first["done"] < first["of"] and second

    second = until(halfway, "how far it is")
    assert second["state"] == "waits"
    stop = {"drill": long.name, "number": second["number"]}
    stopped = do(address, "api/made/stop", stop)
    first, second = stopped["jobs"]
    assert (first["state"], second["state"]) == ("works", "stopped")
    do(address, "api/made/stop", {**stop, "number": first["number"]})
    made(address, long)


@pytest.mark.parametrize("kind", [".csv", "midi"])
def test_what_is_stopped_leaves_nothing(long: Path, address: str, kind: str) -> None:
    [job] = make(address, long, kind)["jobs"]

    def has_begun() -> bool:
        [own] = state_of(address, long)["jobs"]
        assert own["state"] in ("waits", "works")
        return bool(own["done"])

    until(has_begun, "it has begun")
    do(address, "api/made/stop", {"drill": long.name, "number": job["number"]})
    state = made(address, long)
    assert [job["state"] for job in state["jobs"]] == ["stopped"]
    assert state["made"] == []
    until(lambda: left_behind(long) == [], "nothing is left")


@pytest.mark.parametrize("how", ["SIGTERM", "SIGKILL"])
def test_a_server_that_ends_takes_its_work_along(long: Path, how: str) -> None:
    if not hasattr(signal, how):
        pytest.skip("this system has no such signal")
    with server(long.parent) as (address, process):
        make(address, long, "midi")
        until(lambda: state_of(address, long)["jobs"][0]["done"], "it has begun")
        os.kill(process.pid, getattr(signal, how))
        process.wait(_PATIENCE)
    until(lambda: left_behind(long) == [], "nothing is left")


def test_what_was_made_is_there_after_a_restart(drill: Path, address: str) -> None:
    make(address, drill, ".html", "midi")
    before = made(address, drill)["made"]
    assert {one["name"] for one in before} == {f"{drill.stem}.html", "midi"}
    assert not any(one["older"] for one in before)
    with served(drill.parent) as again:
        state = state_of(again, drill)
        assert (state["made"], state["jobs"]) == (before, [])


def test_what_was_made_before_the_lesson_was_changed_is_said_to_be_older(
    drill: Path, address: str
) -> None:
    make(address, drill, ".csv")
    made(address, drill)
    later = time.time() + 10
    os.utime(drill, (later, later))
    assert [one["older"] for one in state_of(address, drill)["made"]] == [True]


def test_a_file_of_somebody_else_is_neither_replaced_nor_opened(drill: Path, address: str) -> None:
    own = folder_of(drill) / f"{drill.stem}.html"
    own.parent.mkdir()
    own.write_text("<script>mine()</script>")
    make(address, drill, ".html")
    [job] = made(address, drill)["jobs"]
    assert job["state"] == "wrong"
    assert "not written by midiforge" in job["trouble"]["said"]
    assert own.read_text() == "<script>mine()</script>"
    said = taken(address, drill, own.name, open="1")["error"]["said"]
    assert "not written by midiforge" in said
    assert taken(address, drill, own.name) == own.read_bytes()  # it may be kept


def test_nothing_else_is_given(drill: Path, address: str) -> None:
    make(address, drill, "midi")
    made(address, drill)
    for name in (f"../{drill.name}", "..", "", f"midi/../../{drill.name}", "midi/", "/etc/passwd"):
        assert "error" in taken(address, drill, name)


def test_a_folder_that_leads_elsewhere_is_not_written_to(
    drill: Path, address: str, tmp_path: Path
) -> None:
    folder_of(drill).symlink_to(tmp_path)
    assert "not in the folder" in make(address, drill, ".pdf")["error"]["said"]
    assert [*tmp_path.iterdir()] == []
    folder_of(drill).unlink()
    folder_of(drill).mkdir()
    (folder_of(drill) / "midi").symlink_to(tmp_path)
    assert "not in the folder" in make(address, drill, "midi")["error"]["said"]
    assert [*tmp_path.iterdir()] == []


@pytest.mark.parametrize("name", ["Zoë Ünal", "张伟", "a/b\\c:d*?", "..", "x" * 500, "\x07\n"])
def test_any_name_of_a_student_makes_a_name_of_a_file(drill: Path, address: str, name: str) -> None:
    make(address, drill, ".csv", student=name)
    [one] = made(address, drill)["made"]
    assert one["name"].endswith(".csv")
    assert (folder_of(drill) / Path(one["name"]).name).is_file()
    assert taken(address, drill, one["name"])


def test_a_page_is_looked_at_as_a_stranger_to_the_server(
    drill: Path, address: str, browser: Any
) -> None:
    make(address, drill, ".html")
    made(address, drill)
    asked = urlencode({"drill": drill.name, "name": f"{drill.stem}.html", "open": "1"})
    browser.get(f"{address}api/made/file?{asked}")
    assert browser.find_elements("css selector", ".player-play"), "its own script runs"
    reached = browser.execute_async_script(
        "const done = arguments[0];"
        "fetch(new URL('../drills', location.href)).then(() => done('let in'), () => done('not'))"
    )
    assert reached == "not"
    assert browser.execute_script("return self.origin") == "null"


def view(browser: Any, address: str, drill: Path) -> None:
    browser.get("about:blank")
    browser.get(f"{address}#view=hand-out&drill={drill.name}")


def seen(browser: Any, css: str) -> Any:
    """The first of what is to be seen."""
    return until(lambda: browser.find_elements("css selector", css), css)[0]


def test_a_person_chooses_makes_and_has_it(
    drill: Path, address: str, browser: Any, tmp_path: Path
) -> None:
    view(browser, address, drill)
    assert seen(browser, "#hand-kinds input[value='.pdf']").is_selected()
    for kind in (".html", "midi"):
        seen(browser, f"#hand-kinds input[value='{kind}']").send_keys(" ")
    only = seen(browser, "#hand-only")
    only.send_keys("9-", _ENTER)
    assert "9-" in seen(browser, "#hand-only-wrong:not(:empty)").text
    assert browser.switch_to.active_element == only
    only.clear()
    only.send_keys("1,3")
    seen(browser, "#hand-student").send_keys("Ida")
    seen(browser, ".main-act").send_keys(_ENTER)
    until(lambda: len(browser.find_elements("css selector", ".made li")) == 3, "three are made")
    assert seen(browser, "#news[role=status]").text.endswith(": done")
    assert browser.find_elements("css selector", "#hand-only-wrong:empty")
    ours = tmp_path / "lesson.html"
    command("sheet", str(drill), "--out", str(ours), "--only", "1,3", "--student", "Ida", "-q")
    folder, name = folder_of(drill), f"{drill.stem} 1,3 Ida"
    assert (folder / f"{name}.html").read_bytes() == ours.read_bytes()
    assert (folder / f"{name}.pdf").read_bytes().startswith(b"%PDF")
    assert (folder / "midi" / "lesson.mid").is_file()
    browser.refresh()
    until(lambda: len(browser.find_elements("css selector", ".made li")) == 3, "still there")


def test_a_person_sees_how_far_it_is_and_stops_it(long: Path, address: str, browser: Any) -> None:
    view(browser, address, long)
    for kind in (".pdf", ".csv"):  # of which the first is ticked
        seen(browser, f"#hand-kinds input[value='{kind}']").send_keys(" ")
    seen(browser, ".main-act").send_keys(_ENTER)
    bar = seen(browser, "[role=progressbar][aria-valuenow]")
    assert bar.accessible_name == f"{long.stem}.csv"
    assert int(bar.get_attribute("aria-valuemax")) > 0
    assert bar.get_attribute("aria-valuetext").endswith(" exercises")
    seen(browser, ".jobs .stop").send_keys(_ENTER)
    until(lambda: "stopped" in seen(browser, ".job-said").text, "it is stopped")
    assert "Take off the list" in browser.switch_to.active_element.text
    until(lambda: left_behind(long) == [], "nothing is left")
