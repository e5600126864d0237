"""Ports found by name or number, lost and found again, and what is said where there are none.

No published source: the rules are the project's own. The library's part is played by a stand-in
with the methods of python-rtmidi; test_live_jack.py has the real one.
"""

import os
import sys
import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from midiforge.errors import MidiforgeError
from midiforge.live.ports import rtmidi_system
from midiforge.live.ports.ports import RtInput, RtOutput, choose, ports

NAMES = ["Harbour Module:in 1", "Harbour Module:in 2", "Lantern:in", "Lantern", "Buoy:808"]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        ("1", 0),
        ("5", 4),
        ("module:in 2", 1),
        ("HARBOUR MODULE:IN 1", 0),
        ("buoy", 4),
        ("lantern", 3),  # the whole name goes before a part of another
        ("lantern:", 2),
        (":808", 4),
    ],
)
def test_a_port_is_chosen_by_number_name_or_part_of_it(wanted: str, index: int) -> None:
    assert choose(NAMES, wanted, "output") == index


@pytest.mark.parametrize("wanted", ["0", "6", "99999999999999999999", "-1", "module", "tuba", " "])
def test_what_is_not_one_port_is_one_line_that_lists_them(wanted: str) -> None:
    with pytest.raises(MidiforgeError) as caught:
        choose(NAMES, wanted, "output")
    line = str(caught.value)
    assert "\n" not in line
    assert "there are: 1 Harbour Module:in 1, 2 Harbour Module:in 2" in line
    assert wanted.strip("-") in line
    assert "output" in line


def test_a_number_of_many_digits_is_no_port() -> None:
    with pytest.raises(MidiforgeError):
        choose(NAMES, "000001234", "output")


def test_an_ambiguous_name_lists_only_those_it_may_mean() -> None:
    with pytest.raises(MidiforgeError) as caught:
        choose(NAMES, "harbour", "input")
    line = str(caught.value)
    assert "is part of 2 inputs" in line
    assert "Lantern" not in line


def test_the_only_port_needs_no_name() -> None:
    assert choose(["Lantern"], "", "output") == 0
    # Our own ports, as another midiforge's, are not meant.
    assert choose(["midiforge:in", "Lantern"], "", "output") == 1


def test_several_ports_need_one() -> None:
    with pytest.raises(MidiforgeError, match=r"there are 2 MIDI outputs.*1 A, 2 B"):
        choose(["A", "B"], "", "output")


@pytest.mark.parametrize("wanted", ["", "1", "lantern"])
@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_no_port_at_all_says_what_to_do_on_this_system(
    wanted: str, platform: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    with pytest.raises(MidiforgeError, match="there is no MIDI output") as caught:
        choose([], wanted, "output")
    words = {"linux": "synthesiser", "darwin": "Audio MIDI Setup", "win32": "driver"}
    assert words[platform] in caught.value.hint


# The library


class Error(Exception):
    """RtMidi's."""


class Library:
    """As python-rtmidi looks from outside.

    names: the system's ports now. out: what got out to each. `queue` holds what was sent and is
    not out yet: a driver takes it some time later, as JACK's does once a period.
    """

    API_UNIX_JACK, API_LINUX_ALSA, API_RTMIDI_DUMMY = 3, 2, 5
    RtMidiError = Error

    def __init__(self, *names: str, apis: tuple[int, ...] = (2, 3, 5)) -> None:
        self.names = list(names)
        self.apis = apis
        self.running = {2, 3}
        self.tried: list[int] = []
        self.out: list[bytes] = []
        self.on_delete: Callable[[], None] = lambda: None
        self.on_open: Callable[[], None] = lambda: None
        self.clients = 0
        library = self

        class Client:
            def __init__(self, api: int, name: str) -> None:
                library.tried.append(api)
                if api not in library.running:
                    raise Error("cannot connect\nto the server")
                assert name
                library.clients += 1
                self.queue: list[bytes] = []
                self.deleted = False
                self.callback: Any = None

            def get_current_api(self) -> int:
                return 0  # none that has servers

            def get_ports(self) -> list[str]:
                assert not self.deleted, "a deleted client was used: a crash"
                return list(library.names)

            def open_port(self, port: int, name: str) -> None:
                assert port < len(library.names) and name
                library.on_open()

            def open_virtual_port(self, name: str) -> None:
                assert name
                library.on_open()

            def send_message(self, message: bytes) -> None:
                assert not self.deleted, "a deleted client was used: a crash"
                self.queue.append(message)

            def set_callback(self, callback: Any) -> None:
                self.callback = callback

            def cancel_callback(self) -> None: ...

            def ignore_types(self, **_: bool) -> None: ...

            def drain(self) -> None:
                library.out += self.queue
                self.queue.clear()

            def close_port(self) -> None:
                self.queue.clear()

            def delete(self) -> None:
                if not self.deleted:
                    self.deleted = True
                    library.clients -= 1
                    library.on_delete()

        self.MidiOut = self.MidiIn = Client

    def get_compiled_api(self) -> list[int]:
        return list(self.apis)


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Library:
    found = Library("Lantern:in 128:0")
    monkeypatch.setitem(sys.modules, "rtmidi", found)
    return found


def test_without_the_library_one_line_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rtmidi", None)  # importing it raises ImportError
    for attempt in (ports, lambda: RtOutput(""), lambda: RtInput("", lambda *_: None)):
        with pytest.raises(MidiforgeError, match="python-rtmidi, which is not installed") as caught:
            attempt()
        assert "pip install" in caught.value.hint
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("version", "word"), [((3, 12, 1), "python-rtmidi"), ((3, 13, 0), "3.12")])
def test_how_to_install_it_depends_on_the_python(
    version: tuple[int, int, int], word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "rtmidi", None)
    monkeypatch.setattr(
        rtmidi_system, "sys", SimpleNamespace(version_info=version, platform="linux")
    )
    with pytest.raises(MidiforgeError) as caught:
        ports()
    assert word in caught.value.hint


@pytest.mark.parametrize(
    ("platform", "word"),
    [("linux", "jackd"), ("darwin", "Audio MIDI"), ("win32", "Device Manager")],
)
def test_no_system_that_runs_says_what_to_start(
    library: Library, platform: str, word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    library.running = set()
    monkeypatch.setattr(sys, "platform", platform)
    with pytest.raises(MidiforgeError, match="there is no MIDI system here") as caught:
        RtOutput("lantern")
    assert word in caught.value.hint
    assert "\n" not in str(caught.value)


def test_a_system_that_does_not_run_is_passed_over(library: Library) -> None:
    library.running = {3}
    assert RtOutput("lantern").alive()


def test_jack_goes_first_where_a_server_was_named(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "harbour")
    RtOutput("lantern")
    assert library.tried == [Library.API_UNIX_JACK]


def test_the_dummy_that_plays_to_nobody_is_never_taken(library: Library) -> None:
    library.apis, library.running = (5,), {5}
    with pytest.raises(MidiforgeError, match="no MIDI system"):
        RtOutput("lantern")
    assert library.tried == []


def test_standard_error_is_put_back_when_two_ports_are_opened_at_once(library: Library) -> None:
    # The first is opened when the second comes; the first is done before the second.
    begun = [threading.Event(), threading.Event()]
    ended = [threading.Event(), threading.Event()]
    number = iter(range(2))

    def slow(api: int, name: str) -> object:
        mine = next(number)
        begun[mine].set()
        assert ended[mine].wait(10)
        return Client(api, name)

    Client, library.MidiOut = library.MidiOut, slow
    before = os.fstat(2)
    threads = [threading.Thread(target=RtOutput, args=("lantern",)) for _ in range(2)]
    threads[0].start()
    assert begun[0].wait(10)
    threads[1].start()
    begun[1].wait(0.2)
    for thread, end in zip(threads, ended, strict=True):
        end.set()
        thread.join(10)
    after = os.fstat(2)
    assert (after.st_dev, after.st_ino) == (before.st_dev, before.st_ino)


def test_a_port_in_use_is_one_line_and_leaves_no_client_behind(library: Library) -> None:
    def busy() -> None:
        raise Error("error creating port: device busy")

    library.on_open = busy
    for attempt in (lambda: RtOutput("lantern"), lambda: RtInput("lantern", lambda *_: None)):
        with pytest.raises(MidiforgeError, match=r"cannot be opened.*device busy") as caught:
            attempt()
        assert "another program" in caught.value.hint
    assert library.clients == 0


def test_a_system_without_virtual_ports_says_so(library: Library) -> None:
    def never() -> None:
        raise NotImplementedError

    library.on_open = never
    with pytest.raises(MidiforgeError, match="no virtual ports"):
        RtOutput("", virtual=True)
    assert library.clients == 0


def test_ports_are_counted_from_one_outputs_first(library: Library) -> None:
    library.names = ["A", "B"]
    found = [(port.direction, port.number, port.name) for port in ports()]
    assert found == [("output", 1, "A"), ("output", 2, "B"), ("input", 1, "A"), ("input", 2, "B")]
    assert library.clients == 0


def test_a_port_that_went_is_not_alive_and_opens_again_when_it_is_back(library: Library) -> None:
    output = RtOutput("lantern")
    assert output.alive()
    library.names = []
    assert not output.alive()
    assert not output.reopen()
    assert not output.alive()
    output.send(b"\x99\x26\x50")  # nothing happens
    library.running = set()
    assert not output.reopen()
    library.running, library.names = {2, 3}, ["Buoy", "Lantern:in 128:0"]
    assert output.reopen()
    assert output.alive()
    assert library.clients == 1


def test_a_port_that_comes_back_under_another_number_is_found(library: Library) -> None:
    # ALSA's names end in the client's number, which is a new one for a program started again.
    output = RtOutput("lantern")
    library.names = []
    assert not output.alive()
    library.names = ["Lantern:in 131:0"]
    assert output.reopen()


def test_another_port_is_not_taken_for_the_one_that_went(library: Library) -> None:
    output = RtOutput("")
    library.names = ["Buoy:in 20:0"]
    assert not output.alive()
    assert not output.reopen()


def test_what_was_sent_last_gets_out_before_the_port_is_closed(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    import time

    output = RtOutput("lantern")
    client = output._midi
    # The driver takes what is there while somebody waits.
    monkeypatch.setattr(time, "sleep", lambda _: client.drain())
    output.send(b"\xb9\x7b\x00")
    output.close()
    assert library.out == [b"\xb9\x7b\x00"]


def test_an_interrupt_while_a_port_is_closed_leaves_no_dead_client_in_use(library: Library) -> None:
    def interrupted() -> None:
        library.on_delete = lambda: None
        raise KeyboardInterrupt

    output = RtOutput("lantern")
    library.on_delete = interrupted
    with pytest.raises(KeyboardInterrupt):
        output.reopen()
    output.send(b"\xb9\x7b\x00")  # as the player does at its end
    output.close()


def test_what_comes_in_is_given_on_as_bytes_with_its_time(library: Library) -> None:
    import time

    heard: list[tuple[bytes, int]] = []
    given = RtInput("lantern", lambda message, at: heard.append((message, at)))
    before = time.monotonic_ns()
    given._midi.callback(([0x99, 38, 100], 0.25), None)
    assert heard[0][0] == b"\x99\x26\x64"
    assert before <= heard[0][1] <= time.monotonic_ns()
    given.close()
    assert library.clients == 0
