"""A drill's file as the page changes it: every example opens and is saved as it was, and what a
person wrote around its keys stays."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import midiforge
from midiforge.drill.keys import BY_NAME, KEYS
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError

pytest.importorskip("tomlkit", reason="the page of `open` needs tomlkit")
from midiforge.desk.drill_file import DrillFile, read_drill_file, shown

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("0*.toml"))
WORDS = "stickings moves feet layers meter tempos voicing stages ramp band texts text title"
MUSIC = [*WORDS.split(), "practice", "touch", "swing", "gap", "shape"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_that_is_shown_and_kept_is_the_same_file(path: Path) -> None:
    file = read_drill_file(path)
    assert file.changed(file.shown()).text == file.text == path.read_text()


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_typed_into_an_empty_file_is_the_same_drill(path: Path, tmp_path: Path) -> None:
    for kit in path.parent.glob("rehearsal-room.toml"):
        (tmp_path / kit.name).write_text(kit.read_text())
    typed = DrillFile(tmp_path / path.name, "").changed(read_drill_file(path).shown())
    drill, own = drill_in(typed.text, typed.path), midiforge.read_drill(path)
    assert {name: getattr(drill, name) for name in MUSIC} == {
        name: getattr(own, name) for name in MUSIC
    }


COMMENTED = """\
# Above all of it.

title = "Pier"  # beside it
sticking = "RLRR LRLL"

# Below the hands.
feet = "samba"
tempos = [60, 72]  # two of them

[voicing]  # over the kit
RH = "ride"
"""


def test_what_stands_around_a_key_stays_where_it_is() -> None:
    file = DrillFile(Path("pier.toml"), COMMENTED)
    changed = file.changed({"feet": "baiao", "tempos": "60, 80", "voicing": "RH=crash"}).text
    expected = COMMENTED.replace("samba", "baiao").replace("72", "80").replace("ride", "crash")
    assert changed == expected


def test_a_new_key_stands_before_the_tables_and_one_taken_out_is_gone() -> None:
    file = DrillFile(Path("pier.toml"), COMMENTED)
    changed = file.changed({"placements": "beat", "feet": "", "practice.goal": "120"})
    content = tomllib.loads(changed.text)
    assert content["placements"] == "beat"
    assert content["practice"] == {"goal": 120}
    assert "feet" not in content
    assert changed.text.index("placements") < changed.text.index("[voicing]")
    assert changed.changed({"practice.goal": ""}).content.keys() == content.keys() - {"practice"}


@pytest.mark.parametrize("typed", ["]", "a = ", '[stage]\n"', "= 3"])
def test_a_table_that_is_no_toml_is_refused_by_its_key(typed: str) -> None:
    with pytest.raises(midiforge.MidiforgeError) as raised:
        DrillFile(Path("pier.toml"), COMMENTED).changed({"stage": typed})
    assert raised.value.where[0] == "stage"


def test_a_key_of_a_table_is_refused_where_something_else_has_the_tables_name() -> None:
    file = DrillFile(Path("odd.toml"), 'sticking = "RL"\nevery = "four"\n')
    with pytest.raises(MidiforgeError, match="stands beside every, which is no"):
        file.changed({"every.strokes": "4"})
    assert file.changed({"every.strokes": ""}).text == file.text


def test_a_key_that_there_is_not_is_refused() -> None:
    with pytest.raises(midiforge.MidiforgeError, match="no key"):
        DrillFile(Path("pier.toml"), COMMENTED).changed({"stiking": "R"})


_TYPED = st.dictionaries(
    st.sampled_from([key.name for key in KEYS if key.kind != "table"]),
    st.one_of(
        st.text(max_size=30),
        st.sampled_from(["4", "0.5", "true", "R L R", "own; beats", "1, 2&", "72, 84", "a, 'b'"]),
    ),
    max_size=6,
)


@settings(max_examples=150, deadline=None)
@given(typed=_TYPED)
def test_whatever_is_typed_makes_a_file_that_reads_back_as_it_was_typed(
    typed: dict[str, str],
) -> None:
    try:
        changed = DrillFile(Path("pier.toml"), COMMENTED).changed(typed)
    except midiforge.MidiforgeError:
        return
    content = changed.content  # TOML, whatever was typed
    again = DrillFile(Path("pier.toml"), changed.text).shown()
    for name, text in typed.items():
        if text.strip():
            before = again[name]
            assert changed.changed({name: before}).content == content
        else:
            assert name not in again


def test_every_key_has_a_value_that_can_be_shown() -> None:
    for key in BY_NAME.values():
        assert isinstance(shown(key, key.default), str)
