"""What the page says is for somebody who presses buttons: no flag and no command is in it."""

import json
import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from desk import served
from desk_asked import ask
from test_desk_looking_back import DRILL, given, reviewed, take_of

import midiforge
from midiforge.at_the_kit.ending import told as ending
from midiforge.command.app import COMMANDS
from midiforge.command.run import run
from midiforge.desk.answers import told
from midiforge.desk.spoken import TYPED, all_said, said, spoken
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError
from midiforge.practice.teacher import Teacher
from midiforge.report.day import page as day_page
from midiforge.session import Session


def read(html: str) -> str:
    """What a person reads of a page."""
    return re.sub(r"<(style|script)\b.*?</\1>|<[^>]*>", " ", html, flags=re.DOTALL)


def test_every_command_is_known_as_one() -> None:
    for name in COMMANDS:
        assert TYPED.search(f"see midiforge {name}."), name


@pytest.mark.parametrize(
    ("text", "left"),
    [
        (
            "switch on the module, or start a synthesiser; midiforge ports lists what is there",
            "switch on the module, or start a synthesiser",
        ),
        ("give a SoundFont, or name a file with --soundfont or HERE", "give a SoundFont"),
        ("--band-port sends it to another output", ""),
        ("may be 3 or 4: say which (--exercise 3 or --exercise 4).", "may be 3 or 4: say which."),
        (
            "move it away, or build into another folder",
            "move it away, or build into another folder",
        ),
        ("was not written by midiforge, or changed", "was not written by midiforge, or changed"),
    ],
)
def test_a_sentence_is_said_without_what_has_to_be_typed(text: str, left: str) -> None:
    assert said(text) == left


def test_an_error_is_told_without_flags_and_a_page_keeps_its_looks() -> None:
    error = MidiforgeError("is the other output too", "--band-port", hint="--band-port, leave it")
    assert told(error)["said"] == "is the other output too"
    style = '<style>a{width:calc(var(--w)*2);color:rgb(1 2 3)}</style><p style="--w:1">(at 3)'
    assert spoken(style) == style
    assert all_said({"why": ["x; midiforge ports lists"], "n": 1}) == {"why": ["x"], "n": 1}


def test_no_text_of_the_page_speaks_of_flags_or_commands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drill, log = tmp_path / "harbour.toml", tmp_path / "log.sqlite"
    drill.write_text(DRILL)
    texts: list[Any] = []
    with served(tmp_path) as address:
        today = date.today()
        for ago in range(6, 0, -1):
            name = f"{(today - timedelta(ago)).isoformat()}.mid"
            take = given(address, drill, name, take_of(miss=0.25))["take"]
            texts.append(reviewed(address, drill, take))
        takes = ask(address, "api/way", drill=drill.name)["takes"]
        texts.append(reviewed(address, drill, *takes))
        assert run(["next", str(drill), "--log", str(log)]) == 0
        assert "(play with --" in capsys.readouterr().out  # which is said to whoever types
        for path in (
            "drills",
            "fields",
            "lesson",
            "hand-out",
            "made",
            "way",
            "practise",
            "reviews",
        ):
            texts.append(ask(address, f"api/{path}", drill=drill.name))
        texts.append(ask(address, "api/plan", drill=drill.name, minutes="20"))
    for text in texts:
        plain = read(json.dumps(text).replace('\\"', '"').replace("\\n", " "))
        assert not TYPED.search(plain), TYPED.search(plain)


def test_a_session_of_the_page_ends_without_flags(tmp_path: Path) -> None:
    path, log = tmp_path / "harbour.toml", tmp_path / "log.sqlite"
    path.write_text(DRILL)
    takes = []
    for ago in range(6, 0, -1):
        takes.append(tmp_path / f"{(date.today() - timedelta(ago)).isoformat()}.mid")
        takes[-1].write_bytes(take_of(miss=0.25))
    for flags in (True, False):
        session = Session(drill_in(DRILL, path), log, flags=flags)
        heard = [*session.review_all(takes)]
        for take in heard:
            session.keep_heard(take)
        teacher = Teacher([session.lesson], session.entries(), date.today(), 20, True)
        lines = " ".join(text for _, text in ending(teacher, [(session, heard)], 60, flags))
        page = read(day_page(session.page_of(heard)))
        assert bool(TYPED.search(lines)) is flags
        assert bool(TYPED.search(page)) is flags


def test_the_page_s_own_words_name_no_flag_and_no_command() -> None:
    page = Path(midiforge.__file__).parent / "desk" / "page"
    for script in page.glob("*.js"):
        found = TYPED.search(re.sub(r"//.*|/\*.*?\*/", "", script.read_text(), flags=re.DOTALL))
        assert not found, (script.name, found)
