"""The ostinato file against published timelines and common practice."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from midiforge.errors import MidiforgeError
from midiforge.library import shelf
from midiforge.library.shelf import slug

LIBRARY = Path(__file__).parents[1] / "midiforge" / "library"


def table(name: str) -> list[dict[str, Any]]:
    text = (LIBRARY / f"{name}s.toml").read_text(encoding="utf-8")
    entries: list[dict[str, Any]] = tomllib.loads(text)[name]
    return entries


ENTRIES = table("ostinato")
BY_NAME = {entry["name"]: entry for entry in ENTRIES}
NAMES = list(BY_NAME)


def cells(name: str) -> str:
    """The pattern without what is for the reader only."""
    return "".join(BY_NAME[name]["pattern"].split()).replace("|", "")


def onsets(name: str) -> list[int]:
    return [step for step, cell in enumerate(cells(name)) if cell != "."]


def intervals(name: str) -> list[int]:
    """Steps from each onset to the next, round the cycle."""
    places = onsets(name)
    following = [*places[1:], places[0] + len(cells(name))]
    return [later - sooner for sooner, later in zip(places, following, strict=True)]


def counts(name: str) -> list[str]:
    """The onsets of a pattern of sixteenths or eighths as a player counts them."""
    steps = BY_NAME[name]["steps"]
    syllables = {4: ("", "e", "&", "a"), 2: ("", "&"), 1: ("",)}[steps]
    return [f"{place // steps + 1}{syllables[place % steps]}" for place in onsets(name)]


def pulses(meter: str) -> int:
    """Pulses in a bar; a compound meter's pulse is the dotted note."""
    upper, lower = (int(part) for part in meter.split("/"))
    return upper // 3 if lower == 8 and upper % 3 == 0 else upper


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("shiko", [4, 2, 4, 2, 4]),
        ("son-clave-3-2", [3, 3, 4, 2, 4]),
        ("soukous", [3, 3, 4, 1, 5]),
        ("rumba-clave-3-2", [3, 4, 3, 2, 4]),
        ("bossa-nova-clave", [3, 3, 4, 3, 3]),
        ("gahu", [3, 3, 4, 4, 2]),
    ],
)
def test_the_six_timelines_of_sixteen_have_their_published_intervals(
    name: str, expected: list[int]
) -> None:
    """G. Toussaint, A Mathematical Analysis of African, Brazilian and Cuban Clave Rhythms,
    BRIDGES 2002, and The Geometry of Musical Rhythm (CRC Press 2013), chapter 7."""
    assert len(cells(name)) == 16
    assert onsets(name)[0] == 0
    assert intervals(name) == expected


def test_the_bembe_bell_has_its_published_intervals() -> None:
    """G. Toussaint, The Euclidean Algorithm Generates Traditional Musical Rhythms, BRIDGES 2005:
    the standard bell pattern [2 2 1 2 2 2 1]."""
    assert cells("bembe") == "x.x.xx.x.x.x"
    assert intervals("bembe") == [2, 2, 1, 2, 2, 2, 1]


@pytest.mark.parametrize(
    ("name", "necklace", "first"),
    [
        ("tresillo", "x..x..x.", 0),  # E(3,8), as printed
        ("bembe", "x.xx.x.xx.x.", None),  # E(7,12), begun elsewhere
        ("bossa-nova-clave", "x..x..x..x..x...", 6),  # E(5,16), begun on its third onset
    ],
)
def test_the_euclidean_rhythms_are_turns_of_the_printed_necklaces(
    name: str, necklace: str, first: int | None
) -> None:
    """G. Toussaint, The Euclidean Algorithm Generates Traditional Musical Rhythms, BRIDGES 2005,
    the list of Euclidean rhythms."""
    turns = [necklace[step:] + necklace[:step] for step in range(len(necklace))]
    assert cells(name) in turns
    if first is not None:
        assert cells(name) == turns[first]


@pytest.mark.parametrize("stem", ["son-clave", "rumba-clave", "cascara"])
def test_two_three_is_three_two_with_its_halves_exchanged(stem: str) -> None:
    """Common practice: the same cycle, begun with its second half."""
    three_two = cells(f"{stem}-3-2")
    assert cells(f"{stem}-2-3") == three_two[8:] + three_two[:8]
    assert three_two[:8] != three_two[8:]


@pytest.mark.parametrize("stem", ["son-clave", "rumba-clave"])
def test_three_two_has_three_strokes_and_then_two(stem: str) -> None:
    """Common practice: what the name says."""
    halves = cells(f"{stem}-3-2")[:8], cells(f"{stem}-3-2")[8:]
    assert [half.count("x") for half in halves] == [3, 2]


def test_the_foot_claves_are_the_claves() -> None:
    """Common practice: the left foot plays the timeline unchanged."""
    for turn in ("3-2", "2-3"):
        assert cells(f"son-clave-{turn}-foot") == cells(f"son-clave-{turn}")


def test_the_cascara_is_as_written_out_in_public() -> None:
    """Common practice; from public pattern collections that set it beside the 2-3 son clave."""
    assert cells("cascara-2-3") == "x.x.xx.xx.xx.x.x"
    shared = set(onsets("cascara-2-3")) & set(onsets("son-clave-2-3"))
    assert shared == {2, 4, 8, 11}, "all of the clave but its last stroke"


def test_the_six_eight_claves_are_strokes_of_the_bembe_bell() -> None:
    """Common practice: both six-eight claves leave out two strokes of the standard bell."""
    for name in ("six-eight-son-clave", "six-eight-rumba-clave"):
        assert len(cells(name)) == 12
        assert set(onsets(name)) < set(onsets("bembe"))
        assert len(onsets(name)) == 5
    assert intervals("six-eight-son-clave") == [2, 2, 3, 2, 3]
    assert intervals("six-eight-rumba-clave") == [2, 3, 2, 2, 3]


def test_the_bombo_is_the_second_stroke_of_the_clave() -> None:
    """Common practice: the name of that stroke, on the side of three."""
    assert onsets("bombo") == [onsets("son-clave-3-2")[1]]
    assert len(cells("bombo")) == 16


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("tumbao", "1a 2&"),
        ("samba", "1 1a 2 2a"),
        ("baiao", "1 1a 2&"),
        ("tresillo", "1 1a 2&"),
        ("bossa-nova", "1 2& 3 4&"),
        ("hihat-quarters", "1 2 3 4"),
        ("hihat-off-beats", "1& 2& 3& 4&"),
        ("hihat-two-and-four", "2 4"),
        ("hihat-one-and-three", "1 3"),
        ("hihat-eighths", "1 1& 2 2& 3 3& 4 4&"),
        ("hihat-waltz", "2 3"),
        ("hihat-waltz-two", "2"),
        ("jazz-feathered-quarters", "1 2 3 4"),
        ("jazz-waltz-bass-drum", "1"),
        ("four-on-the-floor", "1 2 3 4"),
        ("one-and-three", "1 3"),
        ("bass-drum-eighths", "1 1& 2 2& 3 3& 4 4&"),
        ("rock-and-of-two", "1 2& 3"),
        ("half-time", "1"),
        ("one-drop", "3"),
        ("backbeat", "2 4"),
        ("half-time-backbeat", "3"),
    ],
)
def test_a_pattern_is_on_its_counts(name: str, expected: str) -> None:
    """Common practice, written as counts ("1 e & a"); that of the baião also from a published
    drum-set lesson ("1, ah, &, 3, ah, &")."""
    assert counts(name) == expected.split()


def test_the_tumbao_leaves_every_downbeat_free() -> None:
    """Common practice: nothing on one or two; partner, the quarters of the hi-hat foot."""
    assert cells("tumbao") == "...x..x."
    assert not {place % 4 for place in onsets("tumbao")} & {0}
    assert BY_NAME["tumbao"]["partner"] == "hihat-quarters"


def test_the_samba_foot_goes_with_the_off_beats() -> None:
    """Common practice."""
    assert BY_NAME["samba"]["limb"] == "RF"
    assert BY_NAME["samba"]["partner"] == "hihat-off-beats"
    assert BY_NAME[BY_NAME["samba"]["partner"]]["limb"] == "LF"


@pytest.mark.parametrize(
    ("name", "bar"),
    [
        ("jazz-ride", ["x..", "x.x", "x..", "x.x"]),
        ("jazz-waltz-ride", ["x..", "x.x", "x.."]),
        ("shuffle", ["x.x", "x.x", "x.x", "x.x"]),
        ("twelve-eight-ride", ["xxx", "xxx", "xxx", "xxx"]),
        ("twelve-eight-bass-drum", ["x..", "...", "x..", "..."]),
        ("hihat-twelve-eight", ["x..", "x..", "x..", "x.."]),
        ("hihat-twelve-eight-two-and-four", ["...", "x..", "...", "x.."]),
    ],
)
def test_a_pattern_in_threes_has_its_triplets(name: str, bar: list[str]) -> None:
    """Common practice: one item a pulse, three steps each."""
    assert BY_NAME[name]["steps"] == 3
    assert cells(name) == "".join(bar)


def test_feathering_is_written_as_ghosts() -> None:
    """Common practice: a feathered bass drum is felt more than heard."""
    assert set(cells("jazz-feathered-quarters")) == {"g"}


def test_there_are_at_least_thirty_and_no_name_twice() -> None:
    """The project's own floor."""
    assert len(ENTRIES) >= 30
    assert len(BY_NAME) == len(ENTRIES)


@pytest.mark.parametrize("name", NAMES)
def test_an_entry_is_well_formed(name: str) -> None:
    """House convention."""
    entry = BY_NAME[name]
    required = {"name", "title", "family", "kind", "meter", "steps", "limb", "pattern", "source"}
    assert required <= entry.keys() <= required | {"voice", "partner", "note", "also", "clave"}
    assert all(entry[key] for key in required - {"limb"})
    limbs = {"foot": {"LF", "RF"}, "hand": {"LH", "RH"}, "timeline": {""}}
    assert entry["limb"] in limbs[entry["kind"]]
    assert set(cells(name)) <= set(".x>g")
    assert onsets(name), "a pattern sounds"


@pytest.mark.parametrize("name", NAMES)
def test_a_pattern_fills_bars_of_its_meter(name: str) -> None:
    """House convention: at home a pattern begins where the bar begins."""
    entry = BY_NAME[name]
    assert len(cells(name)) % (entry["steps"] * pulses(entry["meter"])) == 0


@pytest.mark.parametrize("name", [name for name in NAMES if "partner" in BY_NAME[name]])
def test_a_partner_exists_and_is_another_limb(name: str) -> None:
    """House convention: an ostinato is one limb; the partner is for another."""
    partner = BY_NAME[BY_NAME[name]["partner"]]
    assert partner["limb"]
    assert partner["limb"] != BY_NAME[name]["limb"]


def test_the_voices_are_in_the_voice_file() -> None:
    """House convention; a timeline has no limb to take its voice from, so it names one."""
    known = {voice["name"] for voice in table("voice")}
    for entry in ENTRIES:
        assert entry.get("voice", "snare") in known
        assert entry["limb"] or "voice" in entry


def test_the_cascara_is_not_on_the_hi_hat() -> None:
    """Common practice: it is played on a shell, which a side stick comes near."""
    for name in ("cascara-3-2", "cascara-2-3"):
        assert BY_NAME[name]["voice"] == "side-stick"


def test_names_are_trade_names() -> None:
    """House convention: a pattern without one is typed, not named."""
    assert not {"rock-pushed", "rock-one-three-and", "baiao-two"} & set(NAMES)
    assert "baiao-two" not in (LIBRARY / "ostinatos.toml").read_text(encoding="utf-8")


SHELVES: dict[str, tuple[Any, Any]] = {
    "rudiment": (shelf.rudiments, shelf.rudiment),
    "ostinato": (shelf.ostinatos, shelf.ostinato),
    "voice": (shelf.voices, shelf.voice),
}


@pytest.mark.parametrize(
    ("shelf", "word", "name"),
    [  # common practice: what players say
        ("voice", "kick", "bass-drum"),
        ("voice", "hihat", "hihat-closed"),
        ("voice", "Hi-Hat", "hihat-closed"),
        ("voice", "floor", "floor-tom"),
        ("rudiment", "Paradiddle", "single-paradiddle"),
        ("rudiment", "ratamacue", "single-ratamacue"),
        ("ostinato", "clave", "son-clave-3-2"),
        ("ostinato", "son clave", "son-clave-3-2"),
        ("ostinato", "rumba-clave", "rumba-clave-3-2"),
        ("ostinato", "cascara", "cascara-3-2"),
        ("ostinato", "ride", "jazz-ride"),
        ("ostinato", "swing-ride", "jazz-ride"),
    ],
)
def test_other_names_find_their_entry(shelf: str, word: str, name: str) -> None:
    assert SHELVES[shelf][1](word).name == name


@pytest.mark.parametrize("shelf", SHELVES)
def test_no_name_of_a_shelf_stands_for_two(shelf: str) -> None:
    """House convention; titles are names too."""
    found: dict[str, str] = {}
    for each in SHELVES[shelf][0]().values():
        assert len(set(each.also)) == len(each.also)
        for name in {each.name, *each.also, slug(each.title)}:
            assert name == slug(name)
            assert found.setdefault(name, each.name) == each.name


@pytest.mark.parametrize(
    ("shelf", "slip", "word"),
    [
        ("voice", "kik", "kick"),
        ("rudiment", "ratamaque", "ratamacue"),
        ("ostinato", "clav", "clave"),
    ],
)
def test_other_names_are_suggested(shelf: str, slip: str, word: str) -> None:
    with pytest.raises(MidiforgeError) as caught:
        SHELVES[shelf][1](slip)
    assert f"'{word}'" in caught.value.hint


def test_a_caveat_of_an_ostinato_is_kept() -> None:
    for name, entry in BY_NAME.items():
        assert shelf.ostinatos()[name].note == entry.get("note", "")
    assert "half-time" in shelf.ostinato("one-drop").note
