"""An icon for a folder, and a folder that is open already.

Desktop entries are as freedesktop.org's Desktop Entry Specification 1.5 has them, and are read and
started here by GLib (`gio`, where it is installed).
"""

import json
import os
import shlex
import shutil
import socket
import stat
import subprocess
import sys
import threading
import time
import webbrowser
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from desk import server

from midiforge.command.run import run
from midiforge.desk import icon, running
from midiforge.errors import MidiforgeError

ODD = 'my "best" $lessons 100% `now` \\ é'


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home"
    (home / "Desktop").mkdir(parents=True)
    monkeypatch.setattr(Path, "home", lambda: home)
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
    return home


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "lessons"
    made.mkdir()
    return made


def test_an_icon_stands_on_the_desktop_and_among_the_programs(home: Path, folder: Path) -> None:
    placed = icon.place_icon(folder)
    assert {path.parent for path in placed} == {
        home / "Desktop",
        home / ".local" / "share" / "applications",
    }
    assert all(os.access(path, os.X_OK) for path in placed)
    assert len({path.read_bytes() for path in placed}) == 1


def test_the_desktop_is_where_the_user_has_it(home: Path, folder: Path) -> None:
    (home / ".config").mkdir()
    (home / ".config" / "user-dirs.dirs").write_text('XDG_DESKTOP_DIR="$HOME/Schreibtisch"\n')
    (home / "Schreibtisch").mkdir()
    assert home / "Schreibtisch" in {path.parent for path in icon.place_icon(folder)}


def test_placed_again_it_is_the_same_and_of_another_folder_of_the_same_name_another(
    folder: Path, tmp_path: Path
) -> None:
    other = tmp_path / "elsewhere" / "lessons"
    other.mkdir(parents=True)
    first = icon.place_icon(folder)
    assert icon.place_icon(folder) == first
    second = icon.place_icon(other)
    assert not {*first} & {*second}
    assert icon.place_icon(folder) == first


def test_what_somebody_changed_in_it_is_kept(folder: Path) -> None:
    path = icon.place_icon(folder)[0]
    path.write_text(path.read_text().replace("Terminal=true", "Terminal=false"))
    with pytest.raises(MidiforgeError, match="changed since"):
        icon.place_icon(folder)
    assert "Terminal=false" in path.read_text()


def test_a_folder_that_no_icon_can_name_is_refused_and_nothing_is_placed(
    home: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "two\nlines"
    folder.mkdir()
    with pytest.raises(MidiforgeError, match="no icon"):
        icon.place_icon(folder)
    assert not [*home.rglob("*.desktop")]


def test_where_there_is_no_desktop_one_line_says_so(
    home: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    (home / "Desktop").rmdir()
    with pytest.raises(MidiforgeError, match="Desktop: is no folder"):
        icon.place_icon(folder)


@pytest.mark.skipif(os.name != "posix", reason="runs a script of a POSIX shell")
def test_the_script_of_macos_opens_the_folder_whatever_it_is_called(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(sys, "executable", _echoing(tmp_path))
    folder = tmp_path / ODD
    folder.mkdir()
    (path,) = icon.place_icon(folder)
    assert path.name.endswith(".command")
    done = subprocess.run([path], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == str(["-m", "midiforge", "open", str(folder)])


@pytest.mark.skipif(shutil.which("gio") is None, reason="GLib's gio is not installed")
def test_glib_starts_an_entry_with_the_folder_whatever_it_is_called(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = tmp_path / "told"
    monkeypatch.setattr(sys, "executable", _echoing(tmp_path, told))
    folder = tmp_path / ODD
    folder.mkdir()
    path = icon.place_icon(folder)[0]
    alone = tmp_path / "alone.desktop"  # without a terminal: there may be none
    alone.write_text(path.read_text("utf-8").replace("Terminal=true", "Terminal=false"), "utf-8")
    subprocess.run(["gio", "launch", alone], check=True, timeout=20)
    end = time.monotonic() + 10
    while not told.exists() or not told.read_text().endswith("\n"):
        assert time.monotonic() < end
        time.sleep(0.02)
    assert told.read_text() == f"{['-m', 'midiforge', 'open', str(folder)]}\n"


def _echoing(place: Path, told: Path | None = None) -> str:
    """A program that says what it was called with, or writes it."""
    path = place / "odd python"
    out = f"open({str(told)!r}, 'w')" if told else "None"
    say = f"import sys; print(sys.argv[1:], file={out}, flush=True)"
    python = shlex.quote(sys.executable)
    path.write_text(f'#!/bin/sh\nexec {python} -c {shlex.quote(say)} "$@"\n')
    path.chmod(0o755)
    return str(path)


def test_on_windows_the_folder_stands_in_quotes_and_its_percents_twice() -> None:
    text = icon._batch(["C:\\py thon.exe", "-m", "midiforge", "open", "D:\\50% slower"])
    assert '"C:\\py thon.exe" "-m" "midiforge" "open" "D:\\50%% slower"\n' in text


# Open already


def test_a_folder_that_is_open_is_shown_again_and_no_second_server_starts(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    data = str(tmp_path / "data")
    monkeypatch.setenv("XDG_DATA_HOME", data)
    shown: list[str] = []
    monkeypatch.setattr(webbrowser, "open", lambda address: shown.append(address) or True)
    with server(folder, XDG_DATA_HOME=data) as (address, process):
        end = time.monotonic() + 10
        while not running.address_of(folder):
            assert time.monotonic() < end
        (note,) = Path(data).rglob("open/*.json")
        assert stat.S_IMODE(note.stat().st_mode) == 0o600
        assert run(["open", str(folder)]) == 0
        assert shown == [address.partition("#")[0]]
        assert "open on" in capsys.readouterr().out
        process.terminate()
        process.wait(20)
    assert not [*Path(data).rglob("open/*.json")]
    assert running.address_of(folder) == ""


@pytest.mark.parametrize(
    "note",
    [
        "",
        "{}",
        "[]",
        '{"address": 3}',
        '{"address": "https://example.org/"}',
        '{"address": "http://127.0.0.1:1@example.org/secret/"}',
        '{"address": "http://127.0.0.1:many/secret/"}',
        '{"address": "http://127.0.0.1:80/two words/"}',
        "\0",
    ],
)
def test_a_note_that_leads_nowhere_opens_the_folder_anew(
    note: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))

    def asked(*_: object, **__: object) -> None:
        raise AssertionError("somebody else was asked")

    monkeypatch.setattr(socket, "create_connection", asked)
    path = running._note_of(folder)
    path.parent.mkdir(parents=True)
    path.write_text(note)
    assert running.address_of(folder) == ""


def test_whoever_listens_on_an_old_address_is_not_taken_for_the_page(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with server(folder) as (address, _):
        path = running._note_of(folder)
        path.parent.mkdir(parents=True, exist_ok=True)
        port = urlsplit(address).port
        path.write_text(json.dumps({"address": f"http://127.0.0.1:{port}/another/"}))
        assert running.address_of(folder) == ""


@pytest.mark.parametrize(
    "answer",
    [
        b"SSH-2.0-else\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 99\r\n\r\n{}",
        b'HTTP/1.1 200 OK\r\nContent-Length: 13\r\n\r\n{"drills":[]}',
        b"HTTP/1.1 200 OK\r\n\r\n" + b"[" * 100_000,
        b"HTTP/1.1 302 Found\r\nLocation: http://example.org/\r\nContent-Length: 0\r\n\r\n",
    ],
    ids=["no web", "breaks off", "another page", "nested", "sends elsewhere"],
)
def test_a_program_that_has_the_port_of_a_server_that_was_killed_is_not_taken_for_it(
    answer: bytes, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def once() -> None:
            asking, _ = listening.accept()
            with asking:
                asking.recv(1 << 16)
                asking.sendall(answer)

        threading.Thread(target=once, daemon=True).start()
        path = running._note_of(folder)
        path.parent.mkdir(parents=True)
        port = listening.getsockname()[1]
        path.write_text(json.dumps({"address": f"http://127.0.0.1:{port}/secret/"}))
        assert running.address_of(folder) == ""


def test_the_page_of_another_folder_is_not_shown_for_this_one(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    other = tmp_path / "other"
    other.mkdir()
    with server(other) as (address, _):
        path = running._note_of(folder)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps({"address": address}))
        assert running.address_of(folder) == ""
