"""The kits and the voice file against the General MIDI percussion maps and reference libraries."""

import tomllib
from pathlib import Path
from typing import Any

import pretty_midi
import pytest
from music21.midi.percussion import PercussionMapper

ROOT = Path(__file__).parents[1]
KITS = ["general-midi-1", "general-midi-2", "electronic"]

# Our voice for every name in pretty_midi.constants.DRUM_MAP, in the order of that table.
NAMES = {
    "Acoustic Bass Drum": "bass-drum-2",
    "Bass Drum 1": "bass-drum",
    "Side Stick": "side-stick",
    "Acoustic Snare": "snare",
    "Hand Clap": "hand-clap",
    "Electric Snare": "snare-electric",
    "Low Floor Tom": "floor-tom-low",
    "Closed Hi Hat": "hihat-closed",
    "High Floor Tom": "floor-tom",
    "Pedal Hi Hat": "hihat-pedal",
    "Low Tom": "tom-low",
    "Open Hi Hat": "hihat-open",
    "Low-Mid Tom": "tom-low-mid",
    "Hi-Mid Tom": "tom-mid",
    "Crash Cymbal 1": "crash",
    "High Tom": "tom-high",
    "Ride Cymbal 1": "ride",
    "Chinese Cymbal": "china",
    "Ride Bell": "ride-bell",
    "Tambourine": "tambourine",
    "Splash Cymbal": "splash",
    "Cowbell": "cowbell",
    "Crash Cymbal 2": "crash-2",
    "Vibraslap": "vibraslap",
    "Ride Cymbal 2": "ride-2",
    "Hi Bongo": "bongo-high",
    "Low Bongo": "bongo-low",
    "Mute Hi Conga": "conga-high-mute",
    "Open Hi Conga": "conga-high",
    "Low Conga": "conga-low",
    "High Timbale": "timbale-high",
    "Low Timbale": "timbale-low",
    "High Agogo": "agogo-high",
    "Low Agogo": "agogo-low",
    "Cabasa": "cabasa",
    "Maracas": "maracas",
    "Short Whistle": "whistle-short",
    "Long Whistle": "whistle-long",
    "Short Guiro": "guiro-short",
    "Long Guiro": "guiro-long",
    "Claves": "claves",
    "Hi Wood Block": "woodblock-high",
    "Low Wood Block": "woodblock-low",
    "Mute Cuica": "cuica-mute",
    "Open Cuica": "cuica-open",
    "Mute Triangle": "triangle-mute",
    "Open Triangle": "triangle",
}

# Our voices for every instrument class in music21's percussion map.
CLASSES = {
    "BassDrum": {"bass-drum", "bass-drum-2"},
    "SnareDrum": {"snare", "snare-electric", "side-stick"},
    "TomTom": {
        "tom-high",
        "tom-mid",
        "tom-low-mid",
        "tom-low",
        "floor-tom",
        "floor-tom-low",
    },
    "HiHatCymbal": {"hihat-closed", "hihat-open", "hihat-pedal"},
    "CrashCymbals": {"crash", "crash-2"},
    "Tambourine": {"tambourine"},
    "Cowbell": {"cowbell"},
    "Vibraslap": {"vibraslap"},
    "BongoDrums": {"bongo-high", "bongo-low"},
    "CongaDrum": {"conga-high", "conga-high-mute", "conga-low"},
    "Timbales": {"timbale-high", "timbale-low"},
    "Agogo": {"agogo-high", "agogo-low"},
    "Maracas": {"maracas"},
    "Whistle": {"whistle-short", "whistle-long"},
    "Woodblock": {"woodblock-high", "woodblock-low"},
    "Triangle": {"triangle", "triangle-mute"},
}

# General MIDI 2 (RP-024), standard set: the notes it adds to level 1, in the words of the
# standard, and our voice for each.
LEVEL_TWO = {
    27: ("High Q", "high-q"),
    28: ("Slap", "slap"),
    29: ("Scratch Push", "scratch-push"),
    30: ("Scratch Pull", "scratch-pull"),
    31: ("Sticks", "sticks"),
    32: ("Square Click", "square-click"),
    33: ("Metronome Click", "metronome-click"),
    34: ("Metronome Bell", "metronome-bell"),
    82: ("Shaker", "shaker"),
    83: ("Jingle Bell", "jingle-bell"),
    84: ("Belltree", "bell-tree"),
    85: ("Castanets", "castanets"),
    86: ("Mute Surdo", "surdo-mute"),
    87: ("Open Surdo", "surdo"),
}

# The notes of the Groove MIDI Dataset and the zones its table gives them, in our voices.
ZONES = {
    22: "hihat-closed",
    26: "hihat-open",
    36: "bass-drum",
    37: "side-stick",
    38: "snare",
    40: "snare-rim",
    42: "hihat-closed",
    43: "floor-tom",
    44: "hihat-pedal",
    45: "tom-mid",
    46: "hihat-open",
    47: "tom-mid-rim",
    48: "tom-high",
    49: "crash",
    50: "tom-high-rim",
    51: "ride",
    52: "crash-2",
    53: "ride-bell",
    55: "crash",
    57: "crash-2",
    58: "floor-tom-rim",
    59: "ride-edge",
}

FIXED = """
bass-drum snare snare-rim side-stick hihat-closed hihat-open hihat-half hihat-pedal hihat-splash
ride ride-bell ride-edge crash crash-2 china splash tom-high tom-mid tom-low floor-tom claves
cowbell woodblock-high woodblock-low tambourine shaker triangle metronome-click metronome-bell
"""


def load(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def kit(name: str) -> dict[str, Any]:
    """A kit's tables, laid over those of the kit it starts from."""
    content = load(ROOT / "kits" / f"{name}.toml")
    base = kit(content["starts_from"]) if "starts_from" in content else {}
    tables = ("notes", "velocities", "heard", "hihat")
    return {
        **base,
        **content,
        **{key: {**base.get(key, {}), **content.get(key, {})} for key in tables},
    }


def hears(name: str) -> dict[int, str]:
    """Note -> voice, as the kit hears it."""
    content = kit(name)
    found = {note: voice for voice, note in content["notes"].items()}
    return found | {int(note): voice for note, voice in content["heard"].items()}


ENTRIES = load(ROOT / "midiforge" / "library" / "voices.toml")["voice"]
FALLBACKS: dict[str, str] = {entry["name"]: entry["fallback"] for entry in ENTRIES}


def chain(voice: str) -> list[str]:
    """A voice and its fallbacks, to the end or to the first that comes again."""
    found = [voice]
    while (following := FALLBACKS[found[-1]]) and following not in found:
        found.append(following)
    return found


def test_the_level_one_kit_sends_the_notes_pretty_midi_names() -> None:
    """pretty_midi.constants.DRUM_MAP, after the General MIDI level 1 percussion map."""
    assert list(NAMES) == list(pretty_midi.constants.DRUM_MAP)
    expected = {voice: pretty_midi.drum_name_to_note_number(name) for name, voice in NAMES.items()}
    assert kit("general-midi-1")["notes"] == expected


def test_the_level_one_kit_covers_notes_35_to_81_once_each() -> None:
    """General MIDI System Level 1 (MMA0007 / RP-003): 47 sounds, notes 35-81."""
    assert sorted(kit("general-midi-1")["notes"].values()) == list(range(35, 82))


def test_the_level_one_kit_agrees_with_the_instruments_of_music21() -> None:
    """music21.midi.percussion.PercussionMapper, which knows 35 of the 47 sounds."""
    voices = {note: voice for voice, note in kit("general-midi-1")["notes"].items()}
    mapping = PercussionMapper().reverseInstrumentMapping
    assert len(mapping) >= 35
    for note, instrument in mapping.items():
        assert voices[note] in CLASSES[instrument.__name__], f"note {note}"


def test_the_level_two_kit_adds_its_fourteen_notes() -> None:
    """General MIDI 2 (RP-024), standard set, notes 27-34 and 82-87; numbers from memory."""
    added = {voice: note for note, (_, voice) in LEVEL_TWO.items()}
    assert kit("general-midi-2")["notes"] == kit("general-midi-1")["notes"] | added
    assert sorted(kit("general-midi-2")["notes"].values()) == list(range(27, 88))


# General MIDI numbers of what a module sounds for clicks, time layers and percussion beside the
# player; no pad sends them.
PERCUSSION_BESIDE_THE_PADS = (39, 54, 56, *range(60, 71), *range(73, 78), 80, 81)


def test_the_electronic_kit_hears_the_22_notes_of_the_data_set() -> None:
    """Groove MIDI Dataset (2019, CC BY 4.0), the table of its pads; its 446,000 hits have 22
    different notes."""
    assert len(ZONES) == 22
    assert ZONES.items() <= hears("electronic").items()
    assert not set(hears("electronic")) - set(ZONES) - set(PERCUSSION_BESIDE_THE_PADS)


def test_percussion_beside_the_electronic_kit_has_the_numbers_of_general_midi() -> None:
    """General MIDI level 1, MMA0007 / RP-003, by the kit that is checked against it above."""
    own, level_one = kit("electronic")["notes"], kit("general-midi-1")["notes"]
    beside = {voice: note for voice, note in own.items() if note in PERCUSSION_BESIDE_THE_PADS}
    assert len(beside) == len(PERCUSSION_BESIDE_THE_PADS)
    assert beside.items() <= level_one.items()


def test_the_electronic_kit_tells_three_openings_of_the_hihat() -> None:
    """Foot controller, MIDI 1.0 controller number 4, values 0-127."""
    hihat = kit("electronic")["hihat"]
    assert hihat["controller"] == 4
    assert 0 < hihat["open_below"] <= hihat["closed_above"] < 127


def test_a_general_midi_kit_hears_one_bass_drum_and_one_snare() -> None:
    """Common practice: 35 and 36, 38 and 40 are two sounds of one drum."""
    for name in ("general-midi-1", "general-midi-2"):
        heard = hears(name)
        assert (heard[35], heard[36]) == ("bass-drum", "bass-drum")
        assert (heard[38], heard[40]) == ("snare", "snare")
        rest = {note: voice for note, voice in heard.items() if note not in (35, 40)}
        assert rest.items() <= {n: v for v, n in kit(name)["notes"].items()}.items()


@pytest.mark.parametrize("name", KITS)
def test_a_kit_keeps_to_the_ranges_of_midi(name: str) -> None:
    """MIDI 1.0: notes 0-127, velocities 1-127, channels 1-16; percussion is on channel 10."""
    content = kit(name)
    assert content["name"] == name
    assert content["title"]
    assert content["source"]
    assert content["channel"] == 10
    assert all(0 <= note <= 127 for note in [*content["notes"].values(), *hears(name)])
    assert all(1 <= velocity <= 127 for velocity in content["velocities"].values())
    assert len(set(content["notes"].values())) == len(content["notes"])


@pytest.mark.parametrize("name", KITS)
def test_a_kit_has_a_velocity_for_every_strength_in_rising_order(name: str) -> None:
    """Common practice: a ghost is softer than a tap, a tap than an accent."""
    velocities = kit(name)["velocities"]
    assert set(velocities) == {"accent", "tap", "ghost", "grace", "click", "click-accent"}
    assert velocities["ghost"] < velocities["tap"] < velocities["accent"]
    assert velocities["grace"] < velocities["tap"]
    assert velocities["click"] < velocities["click-accent"]


@pytest.mark.parametrize("name", KITS)
def test_every_voice_of_a_kit_is_in_the_voice_file(name: str) -> None:
    """House convention."""
    assert set(kit(name)["notes"]) | set(hears(name).values()) <= set(FALLBACKS)


def test_the_voices_the_engine_relies_on_are_there() -> None:
    """House convention."""
    assert set(FIXED.split()) <= set(FALLBACKS)
    assert len(FALLBACKS) == len(ENTRIES), "no name twice"
    assert all(entry["title"] for entry in ENTRIES)


@pytest.mark.parametrize("voice", FALLBACKS)
def test_a_chain_of_fallbacks_ends_at_a_sound_of_general_midi(voice: str) -> None:
    """General MIDI System Level 1 (MMA0007 / RP-003): the sounds every module has."""
    last = chain(voice)[-1]
    assert FALLBACKS[last] == "", f"{voice} falls back in a ring"
    assert last in NAMES.values()


@pytest.mark.parametrize("name", KITS)
def test_every_voice_sounds_on_every_kit(name: str) -> None:
    """House convention: an exercise never loses a part for want of a pad."""
    notes = kit(name)["notes"]
    for voice in FALLBACKS:
        assert set(chain(voice)) & set(notes), f"{voice} is silent on {name}"


def test_the_named_fallbacks_are_the_ones_a_drummer_would_take() -> None:
    """Common practice."""
    expected = {"hihat-half": "hihat-open", "snare-rim": "snare", "ride-edge": "ride"}
    assert {voice: FALLBACKS[voice] for voice in expected} == expected


def test_the_toms_fall_in_pitch_in_the_order_of_their_names() -> None:
    """General MIDI level 1: the six toms rise in pitch with their notes 41, 43, 45, 47, 48, 50."""
    falling = ["tom-high", "tom-mid", "tom-low-mid", "tom-low", "floor-tom", "floor-tom-low"]
    notes = kit("general-midi-1")["notes"]
    assert [notes[voice] for voice in falling] == [50, 48, 47, 45, 43, 41]
