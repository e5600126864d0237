"""What a person has in the folder stays theirs, and nothing that is asked makes the page fail."""

import json
import os
import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from desk import served, server
from test_desk_gate import ask

from midiforge.files.swap import held

DRILL = 'title = "Kept"\nsticking = "RLRR LRLL"\nfeet = "samba"\n'
HALF_A_LETTER = b"\\ud800"
# A file of one track that has nothing in it (Standard MIDI Files 1.0).
EMPTY_TAKE = b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk\0\0\0\4\0\xff\x2f\0"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("kept")) as address:
        yield address


@pytest.fixture
def folder(page: str) -> Path:
    folder = Path(json.loads(ask(page, "api/drills")[1])["folder"])
    (folder / "kept.toml").write_text(DRILL)
    return folder


def post(page: str, path: str, **asked: Any) -> tuple[int, Any]:
    status, answer, _ = ask(page, path, "POST", json.dumps(asked).encode())
    return status, json.loads(answer)


def digest(page: str, drill: str = "kept.toml") -> str:
    told = json.loads(ask(page, f"api/lesson?drill={quote(drill)}")[1])
    return str(told["digest"])


def change(page: str, base: str, drill: str = "kept.toml", **changes: str) -> tuple[int, Any]:
    return post(page, "api/lesson", drill=drill, base=base, changes=changes)


def test_of_two_edits_at_once_neither_is_lost_unsaid(page: str, folder: Path) -> None:
    with ThreadPoolExecutor(2) as tabs:
        for number in range(5):
            (folder / "kept.toml").write_text(DRILL)
            base = digest(page)
            edits = ({"title": f"First {number}"}, {"text": f"Second {number}"})
            asked = [tabs.submit(change, page, base, **edit) for edit in edits]
            answers = [each.result() for each in asked]
            assert sorted(status for status, _ in answers) == [200, 409]
            text = (folder / "kept.toml").read_text()
            assert {told["text"] for _, told in answers} == {text}


def test_of_two_servers_on_one_folder_the_second_to_write_is_told_what_is_there(
    page: str, folder: Path
) -> None:
    with served(folder) as other, ThreadPoolExecutor(2) as tabs:
        for number in range(8):
            (folder / "kept.toml").write_text(DRILL)
            base = digest(page)
            edits = ((page, {"title": f"First {number}"}), (other, {"text": f"Second {number}"}))
            asked = [tabs.submit(change, each, base, **edit) for each, edit in edits]
            answers = [each.result() for each in asked]
            assert sorted(status for status, _ in answers) == [200, 409]
            text = (folder / "kept.toml").read_text()
            assert {told["text"] for _, told in answers} == {text}


def test_an_edit_waits_for_another_process_that_writes_and_is_not_made_over_its_work(
    page: str, folder: Path
) -> None:
    base = digest(page)
    with ThreadPoolExecutor(1) as tab:
        with held(folder):
            asked = tab.submit(change, page, base, title="Mine")
            time.sleep(0.7)
            assert not asked.done()
            (folder / "kept.toml").write_text(DRILL.replace("Kept", "Theirs"))
        status, told = asked.result()
    assert status == 409
    assert told["title"] == "Theirs"
    assert "Theirs" in (folder / "kept.toml").read_text()


def test_lessons_begun_at_once_by_two_servers_have_files_of_their_own(
    page: str, folder: Path
) -> None:
    with served(folder) as other, ThreadPoolExecutor(6) as tabs:
        begun = [tabs.submit(post, each, "api/drills", title="Two") for each in [page, other] * 3]
        names = {each.result()[1]["drill"] for each in begun}
    assert len(names) == 6


def test_lessons_begun_at_once_with_one_title_have_files_of_their_own(page: str) -> None:
    with ThreadPoolExecutor(6) as tabs:
        begun = [tabs.submit(post, page, "api/drills", title="Same") for _ in range(6)]
        names = {each.result()[1]["drill"] for each in begun}
    assert len(names) == 6


def test_a_drill_that_is_a_link_stays_one(page: str, folder: Path) -> None:
    (folder / "link.toml").symlink_to("kept.toml")
    status, _ = change(page, digest(page, "link.toml"), "link.toml", title="Through the link")
    assert status == 200
    assert (folder / "link.toml").is_symlink()
    assert "Through the link" in (folder / "kept.toml").read_text()
    (folder / "link.toml").unlink()


def test_a_link_that_leads_nowhere_is_not_written_over(page: str, folder: Path) -> None:
    (folder / "Nowhere.toml").symlink_to("not there.toml")
    assert post(page, "api/drills", title="Nowhere")[1]["drill"] != "Nowhere.toml"
    assert (folder / "Nowhere.toml").is_symlink()
    (folder / "Nowhere.toml").unlink()


def test_a_file_that_is_read_only_is_not_written(page: str, folder: Path) -> None:
    file = folder / "kept.toml"
    file.chmod(0o444)
    status, told = change(page, digest(page), title="Changed")
    file.chmod(0o644)
    assert status == 422
    assert "read-only" in told["error"]["said"]
    assert file.read_text() == DRILL


def test_a_link_in_the_folder_of_a_lesson_gives_nothing_from_elsewhere(
    page: str, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "secret").write_text("from elsewhere")
    made = folder / "kept lesson"
    (made / "takes").mkdir(parents=True)
    for name in ("page.pdf", "page.html", "takes/take.mid"):
        (made / name).symlink_to(tmp_path / "secret")
    assert json.loads(ask(page, "api/made?drill=kept.toml")[1])["made"] == []
    for name in ("page.pdf", "page.html", "takes/take.mid"):
        status, answer, _ = ask(page, f"api/made/file?drill=kept.toml&name={quote(name)}")
        assert status == 422
        assert b"from elsewhere" not in answer
    assert json.loads(ask(page, "api/way?drill=kept.toml")[1])["takes"] == []


def test_a_file_whose_name_is_no_text_does_not_keep_the_page_from_opening(
    page: str, folder: Path
) -> None:
    made = folder / "kept lesson"
    (made / "takes").mkdir(parents=True, exist_ok=True)
    odd = [os.fsencode(folder) + b"/\xff.toml", os.fsencode(made) + b"/\xff.pdf"]
    odd.append(os.fsencode(made / "takes") + b"/\xff.mid")
    try:
        for path in odd:
            Path(os.fsdecode(path)).write_text(DRILL)
    except OSError:
        pytest.skip("this system has no such names")
    statuses = []
    for asked in ("api/drills", "api/made?drill=kept.toml", "api/way?drill=kept.toml"):
        statuses.append(ask(page, asked)[0])
    for path in odd:
        Path(os.fsdecode(path)).unlink()
    assert statuses == [200, 200, 200]


@pytest.mark.parametrize("name", ["x" * 300, "x" * 250, "loop"])
def test_a_name_that_no_system_takes_is_refused_in_a_sentence(
    page: str, folder: Path, name: str
) -> None:
    if not os.path.lexists(folder / "loop.toml"):
        (folder / "loop.toml").symlink_to("loop.toml")
    for asked in ("lesson", "made", "reviews", "way", "made/file", "practise"):
        status, answer, _ = ask(page, f"api/{asked}?drill={name}.toml&name=midi")
        assert status in (200, 422), asked
        assert b"went wrong inside" not in answer
    assert ask(page, f"desk/page/{name}.js")[0] == 404


@pytest.mark.parametrize(
    "words",
    [
        *(b'{"drill": "%s.toml"}', b'{"title": "%s"}'),
        b'{"drill": "kept.toml", "base": "BASE", "changes": {"title": "%s"}}',
        b'{"drill": "kept.toml", "base": "BASE", "changes": {"%s": ""}}',
        b'{"drill": "kept.toml", "base": "BASE", "text": "%s"}',
        b'{"drill": "kept.toml", "base": "BASE", "sticking": NaN, "steps": ["%s"]}',
    ],
)
def test_half_a_letter_is_no_text(page: str, folder: Path, words: bytes) -> None:
    body = words.replace(b"%s", HALF_A_LETTER).replace(b"BASE", digest(page).encode())
    for path in ("api/lesson", "api/lesson/text", "api/lesson/steps", "api/drills", "api/made"):
        assert ask(page, path, "POST", body)[0] == 422, path
    assert (folder / "kept.toml").read_text() == DRILL


def test_a_field_of_a_file_that_is_no_toml_is_refused_and_the_file_stays(
    page: str, folder: Path
) -> None:
    (folder / "kept.toml").write_text('title = "Not closed\n')
    status, told = change(page, digest(page), title="Closed")
    assert status == 422
    assert "not TOML" in told["error"]["said"]
    assert (folder / "kept.toml").read_text() == 'title = "Not closed\n'


@pytest.mark.parametrize("letter", ["x", "\N{DEVANAGARI LETTER NA}", "\U00020000"])
def test_a_take_and_a_student_of_any_script_may_have_long_names(
    page: str, folder: Path, letter: str
) -> None:
    name = quote(letter * 200 + ".mid")
    status, answer, _ = ask(page, f"api/takes?drill=kept.toml&name={name}", "POST", EMPTY_TAKE)
    assert status == 200, answer
    (folder / "kept lesson" / "takes" / json.loads(answer)["take"]).unlink()
    kept = folder / f"{(letter * 60).encode()[:180].decode(errors='ignore')}.toml"
    kept.write_text(DRILL)
    asked = {"kinds": [".csv"], "student": letter * 60, "large": True}
    _, told = post(page, "api/made", drill=kept.name, **asked)
    assert len(told["jobs"][0]["title"].encode()) <= 255
    post(page, "api/made/stop", drill=kept.name, number=told["jobs"][0]["number"])


@pytest.mark.parametrize("letter", ["x", "\U00020000"])
def test_what_is_next_and_a_plan_have_names_that_fit_whatever_their_lesson_is_called(
    page: str, folder: Path, letter: str
) -> None:
    kept = folder / f"{(letter * 248).encode()[:248].decode(errors='ignore')}.toml"
    kept.write_text(DRILL)
    who = {"drill": kept.name, "player": letter * 60}
    way = json.loads(ask(page, f"api/way?drill={quote(kept.name)}&player={quote(letter * 60)}")[1])
    key = next(key for key in way["taken_up"] if key)
    for path, asked in (("api/next", {"key": key}), ("api/plan", {"minutes": 10})):
        status, told = post(page, path, **who, **asked)
        assert status == 200, told
        assert (folder / told["drill"]).is_file()
        (folder / told["drill"]).unlink()
    kept.unlink()


def test_a_page_that_goes_while_it_sends_and_work_stopped_at_once_print_nothing(
    tmp_path: Path,
) -> None:
    (tmp_path / "kept.toml").write_text(DRILL)
    with server(tmp_path) as (page, process):
        parts = urlsplit(page)
        for path in ("api/lesson", "api/takes?drill=kept.toml&name=a.mid"):
            head = f"POST {parts.path}{path} HTTP/1.1\r\nHost: {parts.netloc}\r\n"
            with socket.create_connection((parts.hostname or "", parts.port or 0)) as gone:
                gone.sendall(f"{head}Content-Length: 1000\r\n\r\nabc".encode())
                time.sleep(0.1)
        for _ in range(8):
            told = post(page, "api/made", drill="kept.toml", kinds=[".html"])[1]
            number = told["jobs"][-1]["number"]
            post(page, "api/made/stop", drill="kept.toml", number=number)
        process.terminate()
        process.wait(20)
        assert process.stderr is not None
        assert process.stderr.read() == ""
