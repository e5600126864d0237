"""What a page says of live things that means nothing is answered in a sentence, and leaves nothing
behind: no fault in the terminal, no folder, no process that hears nothing any more."""

import asyncio
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk import server
from test_desk_playing import Page

from midiforge.desk.live import Listener, Live
from midiforge.desk.work import WRONG, Work
from midiforge.errors import MidiforgeError

DRILL = 'title = "Ballast"\nsticking = "RLRR LRLL"\nfeet = "samba"\n'
PRACTISE = {"do": "practise", "drills": ["drill.toml"], "browser": True, "minutes": 5}
PLAY = {"do": "play", "drill": "drill.toml", "port": "nowhere"}
# Numbers that JSON has no words for (RFC 8259, section 6), yet programs write.
NO_NUMBER = float("nan")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str]]:
    folder = tmp_path_factory.mktemp("nonsense")
    (folder / "drill.toml").write_text(DRILL)
    with server(folder, JACK_DEFAULT_SERVER="nobody") as (address, process):
        yield folder, address.partition("#")[0]
        process.terminate()
        assert process.stderr
        assert process.stderr.read() == ""


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (PRACTISE | {"muted": 5}, "muted: are no names"),
        (PRACTISE | {"muted": [["hands"]]}, "muted: are no names"),
        (PRACTISE | {"band": {}}, "band: is not a text"),
        (PRACTISE | {"input": [1]}, "input: is not a text"),
        (PRACTISE | {"minutes": NO_NUMBER}, "minutes: is no whole number"),
        (PRACTISE | {"minutes": 10**30}, "cannot be planned"),
        (PRACTISE | {"later": NO_NUMBER, "input": "no kit"}, "there is no MIDI"),
        (PRACTISE | {"player": "\ud800", "input": "no kit"}, "there is no MIDI"),
        (PLAY | {"port": 7}, "port: is not a text"),
        (PLAY | {"muted": {}}, "muted: are no names"),
    ],
    ids=str,
)
def test_what_something_is_begun_with_is_refused_in_a_sentence_where_it_is_of_a_wrong_kind(
    served: tuple[Path, str], said: dict[str, Any], why: str
) -> None:
    with Page(served[1]) as page:
        page.say(**said)
        assert why in page.until("wrong")["said"]
        assert page.until("over")


def test_a_session_that_cannot_begin_leaves_no_folder(served: tuple[Path, str]) -> None:
    folder, address = served
    with Page(address) as page:
        page.say(**PRACTISE | {"input": "no kit"})
        page.until("wrong")
    assert not [*(folder / "practised").glob("*")]


def test_a_process_that_was_told_nonsense_hears_what_comes_next_and_that_it_is_to_end() -> None:
    hearing = (
        "import time\n"
        "from midiforge.desk.line import Line\n"
        "line = Line.of_process()\n"
        "line.listen(lambda said: line.tell(half=1 / said['of']))\n"
        "time.sleep(60)\n"
    )
    said = [{"do": "begin"}, {"of": 0}, {"of": "two"}, {}, {"of": 2}]
    with subprocess.Popen(
        [sys.executable, "-c", hearing], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin
        assert process.stdout
        process.stdin.write("".join(f"{json.dumps(one)}\n" for one in said))
        process.stdin.flush()
        assert process.stdout.readline() == '{"half":0.5}\n'
        process.stdin.close()
        assert process.wait(20) == -signal.SIGTERM


def _nothing(*_: object) -> None:
    """What would be done."""


def test_where_the_system_starts_no_process_a_sentence_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    async def tell(_: object) -> None:
        """Nobody listens."""

    async def live() -> None:
        page, own = Listener(tell), Live()
        await own.watch_ports(page)
        with pytest.raises(MidiforgeError, match="no process can be started"):
            await own.begin(page, {"do": "play"}, tell)
        own.say(page, {"do": "stop"})
        own.leave(page)

    monkeypatch.setattr(sys, "executable", str(tmp_path / "gone"))
    asyncio.run(live())
    job = Work().begin("a.toml", "A", _nothing, {})
    end = time.monotonic() + 10
    while not job.is_over:
        assert time.monotonic() < end
        time.sleep(0.01)
    assert job.state == WRONG
    assert job.trouble
    assert "no process can be started" in job.trouble["said"]
    assert capfd.readouterr().err == ""
