"""From a TOML file or a mapping to a checked drill."""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from midiforge.band.band import Band
from midiforge.drill import values
from midiforge.drill.click import click_voices
from midiforge.drill.drill import Chosen, Drill, Practice, Stage, Voicing
from midiforge.drill.feet import foot_patterns, partners
from midiforge.drill.keys import BY_NAME, GROUPS, KEYS
from midiforge.drill.slowest import fast_enough
from midiforge.drill.stages import Common, grooves, own_stage, usual_stages
from midiforge.drill.typed import retitled
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.files.disk import parsed_toml, read_toml_text
from midiforge.keys.kinds import joined
from midiforge.keys.reader import KeyReader
from midiforge.kits.kit import Kit, read_kit
from midiforge.library import shelf
from midiforge.model.hit import Limb
from midiforge.model.meter import NOTE_VALUES, Meter, note_value
from midiforge.model.piece import Touch
from midiforge.model.swing import read_ratio
from midiforge.moves import MOVES
from midiforge.moves.grid import own_steps
from midiforge.phrase.cycle import MOST_BARS
from midiforge.phrase.every import LONGEST_STICKING, Every
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Sticking
from midiforge.phrase.sticking import parse_sticking

DEFAULT_VOICING: Voicing = {
    (Limb.RIGHT_HAND, ""): ("hihat-closed",),
    (Limb.LEFT_HAND, ""): ("snare",),
    (Limb.RIGHT_FOOT, ""): ("bass-drum",),
    (Limb.LEFT_FOOT, ""): ("hihat-pedal",),
}


def read_drill(path: Path | str, changes: Mapping[str, Any] | None = None) -> Drill:
    """The drill in a TOML file; keys of `changes` take the place of the file's."""
    path = Path(path)
    text = read_toml_text(path)
    content = parsed_toml(text, path)
    for name, value in (changes or {}).items():
        own = content.get(name)
        both_tables = isinstance(own, dict) and isinstance(value, Mapping)
        content[name] = {**own, **value} if both_tables and own else value
    try:
        drill = _Reader(_flat(content), path.parent, BY_NAME).drill(path.stem, str(path))
        if len(drill.tempos) > 1 and drill.running and _is_old_plan(text):
            raise MidiforgeError(
                "is a plan of an older midiforge, whose numbers may be of other exercises now",
                "running",
                hint=f"make it anew: midiforge plan DRILL.toml --out {path.name}",
            )
        return drill
    except MidiforgeError as error:
        raise error.within(str(path)) from None


_OLD_PLAN = ("# A plan of practice:", "# Numbers are those of play and build.")


def _is_old_plan(text: str) -> bool:
    """Whether a plan may be of when each tempo of an exercise had a number of its own: the same
    entries choose other exercises since."""
    first, second = [*text.splitlines()[:2], "", ""][:2]
    return first.startswith(_OLD_PLAN[0]) and second == _OLD_PLAN[1]


def check_drill(content: Mapping[str, Any], folder: Path | None = None) -> Drill:
    """A drill from keys and values, as a file has them.

    folder: where the relative path of a kit begins; the current folder if not given.
    Raises MidiforgeError that names the key and the nearest right value.
    """
    return _Reader(_flat(content), folder or Path(), BY_NAME).drill()


_BAND_KEYS = {key.name for key in GROUPS["Play-along"]}
_ONLY_IN_KITS = ("starts_from", "notes", "velocities", "controls", "hears")


def _flat(content: Mapping[str, Any]) -> dict[str, Any]:
    """The content with the keys of tables as "table.key", every key known."""
    tables = {key.name.partition(".")[0] for key in KEYS if "." in key.name}
    flat: dict[str, Any] = {}
    for name, value in content.items():
        if name in tables:
            if not isinstance(value, Mapping):
                raise MidiforgeError("a table was expected", name, hint=f"[{name}]")
            flat |= {f"{name}.{inner}": each for inner, each in value.items()}
        else:
            flat[str(name)] = value
    if not flat.keys().isdisjoint(_ONLY_IN_KITS) and "sticking" not in flat:
        raise MidiforgeError("is a kit, not a drill", hint="a drill names it: kit = 'NAME.toml'")
    for name in flat:
        if name not in BY_NAME:
            outer, dot, inner = name.rpartition(".")
            known = [k.removeprefix(outer + dot) for k in BY_NAME if k.startswith(outer + dot)]
            raise MidiforgeError(f"unknown key {quoted(inner)}", outer, hint=nearest(inner, known))
    return flat


class _Material(NamedTuple):
    """What is turned over; step: of the grid, in quarter notes."""

    meter: Meter
    stickings: tuple[Sticking, ...]
    every: Every | None
    moves: Mapping[str, Any]
    step: Fraction


class _Parts(NamedTuple):
    """What sounds under and beside the hands."""

    feet: tuple[Line, ...]
    layers: tuple[Line, ...]
    band: Band
    kit: Kit


class _Staging(NamedTuple):
    """What is played on what, and in which stages."""

    voicing: Voicing
    stages: tuple[Stage, ...]


def _is_count(found: Sequence[str]) -> str:
    return "is a count" if len(found) == 1 else "are counts"


def _sounds(parts: _Parts, staging: _Staging) -> set[str]:
    """Every voice that the drill plays."""
    stages = staging.stages
    lines = (
        *parts.feet,
        *parts.layers,
        *(each for stage in stages for each in stage.groove),
        *parts.band.lines,
    )
    sounds = {voice for stage in stages for rule in stage.voicing.values() for voice in rule}
    return sounds | {line.voice for line in lines if line.voice}


class _Reader(KeyReader):
    """Reads keys in the order they need each other."""

    def drill(self, name: str = "", source: str = "") -> Drill:
        material = self.material()
        meter = material.meter
        parts = self.parts(material)
        if not (material.stickings or material.every or parts.feet or parts.layers):
            raise MidiforgeError("the drill has nothing to play", hint="give it a sticking")
        staging = self.staging(material, parts.layers)
        sounds = _sounds(parts, staging)
        for sound in sounds:
            parts.kit.note(sound)
        tempos = self.read("tempos", lambda items: fast_enough(values.tempos(items), meter))
        ramp = self.read("ramp", values.ramp) if self.text("ramp") else None
        self.read("ramp", lambda _: fast_enough(ramp.tempos if ramp else (), meter))
        return Drill(
            source=source,
            title=self.text("title")
            or name
            or default_title(material.stickings, material.every, parts.feet),
            text=self.text("text"),
            stickings=material.stickings,
            every=material.every,
            moves=material.moves,
            feet=parts.feet,
            layers=parts.layers,
            band=parts.band,
            meter=meter,
            swing=self.read("swing", read_ratio),
            swing_pair=self.swing_pair(meter),
            tempos=tempos,
            ramp=ramp,
            count_in=self.count_in(),
            click=self.text("click"),
            click_voices=self.read(
                "click_voice", lambda text: click_voices(text, parts.kit, sounds)
            ),
            gap=self.gap(),
            repeats=self.whole("repeats", 1, MOST_BARS),
            shape=self.read("dynamics", values.shape),
            voicing=staging.voicing,
            stages=staging.stages,
            drop_swapped=self.flag("drop_swapped"),
            easiest_first=self.text("order") == "easiest",
            kit=parts.kit,
            file_format=self.whole("format", 0, 1),
            touch=self.touch(),
            running=self.running(meter, ramp is not None),
            practice=self.practice(meter),
            given=self.content,
            notes=(*self.notes(meter), *self.without_band(parts)),
        )

    def notes(self, meter: Meter) -> Iterator[str]:
        """How what could be read in two ways, or once was, is read."""
        for key in (each.name for each in KEYS if each.places):
            found = [str(each).strip() for each in self.items(key)]
            beats = {str(beat) for beat in range(1, len(meter.groups) + 1)}
            if found and beats.issuperset(found):
                steps = ", ".join(f"'+{each}'" for each in found)
                yield f"{key}: {', '.join(found)} {_is_count(found)}; grid steps later are {steps}"
        for key in ("accents", "feet", "layers"):
            pattern = joined(self.raw(key))
            if pattern:
                yield f"{key}: '{pattern}' is one pattern; a semicolon parts patterns"

    def without_band(self, parts: "_Parts") -> Iterator[str]:
        """That nobody plays the chords, where no style goes with the feet."""
        if self.text("chords") and parts.band.style is None:
            feet = ", ".join(line.title for line in parts.feet if not line.partner)
            yield f"chords: no style goes with {feet}, so nobody plays them; 'style' chooses one"

    # What belongs together

    def material(self) -> _Material:
        """The stickings and the grid they are written on."""
        meter = self.meter()
        stickings = self.read("sticking", self.stickings)
        every = self.every()
        moves = {move.name: move.read(self, meter) for move in MOVES}
        grids = moves["grid"] or tuple(own_steps(meter, each.steps) for each in stickings)
        step = meter.beat / (grids[0] if grids else own_steps(meter, 0))
        return _Material(meter, stickings, every, moves, step)

    def parts(self, material: _Material) -> _Parts:
        """What sounds under and beside the hands, and on which kit."""
        meter, step = material.meter, material.step
        feet = self.read("feet", lambda items: foot_patterns(items, meter, step))
        feet += self.read("partner", lambda wish: partners(wish, feet, meter, step))
        feet = tuple(retitled(feet, self.read("voicing", values.voicing), meter, step))
        layers = self.read("layers", lambda items: self.layers(items, meter, step))
        kit = self.read("kit", lambda text: read_kit(text, self.folder))
        band = Band()
        if not _BAND_KEYS.isdisjoint(self.content):
            from midiforge.drill.band import read_band  # most drills have none

            band = read_band(self, meter, step, feet, layers, kit.channel)
        return _Parts(feet, layers, band, kit)

    def staging(self, material: _Material, layers: tuple[Line, ...]) -> _Staging:
        """What is played on what, stage by stage."""
        meter, step = material.meter, material.step
        voicing = {**DEFAULT_VOICING, **self.read("voicing", values.voicing)}
        surface = self.read("surface", lambda text: shelf.voice(text).name)
        common = Common(
            meter=meter,
            step=step,
            voicing=voicing,
            surface=surface,
            form=self.read("form", values.form),
            groove=self.read("groove", lambda items: grooves(items, meter, step)),
            apart=any(
                line.voice not in ("", surface)
                for line in layers
                if line.limb and line.limb.is_hand
            ),
        )
        hands = bool(material.stickings or material.every)
        return _Staging(voicing, self.stages(common, hands))

    def touch(self) -> Touch:
        return Touch(
            flam_ms=self.number("flam_ms", 1, 200),
            drag_ms=self.number("drag_ms", 1, 200),
            timing_ms=self.number("humanise.timing", 0, 50),
            velocity=self.number("humanise.velocity", 0, 40),
            seed=self.whole("humanise.seed", 0, 2**31),
        )

    # Reading what takes more than one key

    def meter(self) -> Meter:
        pulse = self.read("pulse", lambda text: note_value(text) if text else None)
        return self.read("meter", lambda text: Meter.parse(text, pulse))

    def stickings(self, items: list[Any]) -> tuple[Sticking, ...]:
        found = []
        for number, item in enumerate(items, start=1):
            try:
                found.append(read_sticking(str(item)))
            except MidiforgeError as error:
                raise error.within(f"sticking {number}" if len(items) > 1 else "") from None
        return tuple(found)

    def every(self) -> Every | None:
        if not any(name.startswith("every.") for name in self.content):
            return None
        if "every.strokes" not in self.content:
            raise MidiforgeError("how many strokes?", "every", hint="strokes = 8")
        longest = "every.longest_run"
        up_to = self.items("every.up_to")
        found = Every(
            strokes=self.whole("every.strokes", 1, LONGEST_STICKING),
            longest_run=self.whole(longest, 1, LONGEST_STICKING) if longest in self.content else 0,
            looped=self.flag("every.looped"),
            starts=self.text("every.starts"),
            balanced=self.flag("every.balanced"),
            up_to_rotation="rotation" in up_to,
            up_to_swap="swap" in up_to,
        )
        if next(found.words(), None) is None:
            raise MidiforgeError("no sticking is within these limits", "every")
        return found

    def swing_pair(self, meter: Meter) -> Fraction:
        """The length of the two notes that swing: eighths, in compound meters sixteenths."""
        name = self.text("swing_pair") or ("sixteenth" if meter.is_compound else "eighth")
        return 2 * NOTE_VALUES[name]

    def count_in(self) -> int:
        """Bars of count-in; without a click none, unless the drill asks for silent ones."""
        if self.text("click") == "off" and "count_in" not in self.content:
            return 0
        return self.whole("count_in", 0, 16)

    def gap(self) -> tuple[int, int] | None:
        found = self.read("gap", values.gap)
        if found and self.text("click") != "throughout":
            raise MidiforgeError(
                "there is no click to leave gaps in", "gap", hint="click = 'throughout'"
            )
        return found

    def running(self, meter: Meter, ramp: bool) -> tuple[Chosen, ...]:
        found = self.read("running", values.running)
        tempos = tuple(each.tempo for each in found if each.tempo)
        if tempos and ramp:
            raise MidiforgeError("a drill with a ramp has no other tempos", "running")
        self.read("running", lambda _: fast_enough(tempos, meter))
        return found

    def practice(self, meter: Meter) -> Practice:
        goal = None
        if self.raw("practice.goal") != "":
            goal = self.read(
                "practice.goal", lambda value: fast_enough((values.tempo(value),), meter)
            )
        return Practice(
            clean=self.number("practice.clean", 0.5, 1),
            steady=self.number("practice.steady", 1, 50),
            takes=self.whole("practice.takes", 1, 20),
            up=self.read("practice.up", values.rise),
            days=self.whole("practice.days", 1, 365),
            goal=goal[0] if goal else None,
            first=self.text("practice.first"),
            mix=self.text("practice.mix"),
        )

    def layers(self, items: list[Any], meter: Meter, step: Fraction) -> tuple[Line, ...]:
        return tuple(values.line(str(item), meter, step, ()) for item in items)

    def stages(self, common: Common, hands: bool) -> tuple[Stage, ...]:
        known = usual_stages(common)
        for name, content in (self.raw("stage") or {}).items():
            known[name] = own_stage(name, content, known, common)
        chosen = []
        for name in dict.fromkeys(self.items("stages") or known):
            if name not in known:
                hint = nearest(str(name), known)
                raise MidiforgeError(f"no stage is called {quoted(name)}", "stages", hint=hint)
            chosen.append(known[name])
        for stage in chosen:
            if any(span.kind == "time" for span in stage.form) and not stage.groove and hands:
                raise MidiforgeError(
                    "bars of time need a groove for the hands", "form", hint="groove = 'jazz-ride'"
                )
        return tuple(chosen)


def read_sticking(text: str) -> Sticking:
    """A sticking by rudiment name, or as typed."""
    try:
        phrase = parse_sticking(text)
    except MidiforgeError:
        # Letters that no sticking has: a name was meant.
        if len(set(shelf.slug(text)) - set("rlbkhz-0123456789")) >= 2:
            found = shelf.rudiment(text)
            return Sticking(found.phrase, found.title, found.steps)
        raise
    return Sticking(phrase, phrase.name)


def default_title(
    stickings: tuple[Sticking, ...], every: Every | None, feet: tuple[Line, ...]
) -> str:
    """What a drill without a title is called: its first stickings, over what the feet play."""
    hands = ", ".join(sticking.title for sticking in stickings[:3])
    if every and not hands:
        hands = f"Every sticking of {every.strokes}"
    below = " and ".join(line.title for line in feet if not line.partner)
    return " over ".join(filter(None, (hands, below))) or "Drill"
