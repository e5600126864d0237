"""From a TOML file or a mapping to a checked drill."""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from midiforge.band.band import Band
from midiforge.drill import values
from midiforge.drill.click import click_voices
from midiforge.drill.drill import Chosen, Drill, Practice, Stage, Voicing
from midiforge.drill.keys import BY_NAME, GROUPS, KEYS
from midiforge.drill.lines import foot_patterns, partners, read_lines, retitled
from midiforge.drill.stages import USUAL_VOICING, Common, chosen_stages, grooves
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.files.disk import parsed_toml, read_toml_text
from midiforge.keys.reader import KeyReader
from midiforge.keys.values import joined
from midiforge.kits.kit import Kit, read_kit
from midiforge.library import shelf
from midiforge.model.hit import FEET
from midiforge.model.meter import NOTE_VALUES, Meter, note_value
from midiforge.model.piece import Touch, Writing
from midiforge.model.swing import read_ratio
from midiforge.moves import MOVES
from midiforge.moves.grid import own_steps
from midiforge.phrase.cycle import MOST_BARS
from midiforge.phrase.every import LONGEST_STICKING, Every
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Sticking
from midiforge.phrase.sticking import parse_sticking


def read_drill(path: Path | str, changes: Mapping[str, Any] | None = None) -> Drill:
    """The drill in a TOML file; keys of `changes` take the place of the file's."""
    path = Path(path)
    return drill_in(read_toml_text(path), path, changes)


def drill_in(text: str, path: Path, changes: Mapping[str, Any] | None = None) -> Drill:
    """The drill in a text that stands, or is to stand, in the file at `path`; as `read_drill`."""
    content = changed_keys(parsed_toml(text, path), changes or {})
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


def changed_drill(drill: Drill, changes: Mapping[str, Any]) -> Drill:
    """A drill with keys of `changes` in the place of its own."""
    home = Path(drill.source).parent if drill.source else Path()
    return _Reader(_flat(changed_keys(drill.given, changes)), home, BY_NAME).drill()


def changed_keys(content: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of a drill with others in their place; in a table, key by key."""
    changed = dict(content)
    for name, value in changes.items():
        own = content.get(name)
        both_tables = isinstance(own, Mapping) and isinstance(value, Mapping)
        changed[name] = {**own, **value} if both_tables and own else value
    return changed


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


def _sounds(parts: _Parts, stages: Iterable[Stage]) -> set[str]:
    """Every voice that the drill plays."""
    grooves = (line for stage in stages for line in stage.groove)
    lines = (*parts.feet, *parts.layers, *grooves, *parts.band.lines)
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
        voicing, stages = self.staging(material, parts.layers)
        sounds = _sounds(parts, stages)
        for sound in sounds:
            parts.kit.note(sound)
        tempos = self.read("tempos", lambda items: values.fast_enough(values.tempos(items), meter))
        ramp = self.read("ramp", values.ramp)
        self.read("ramp", lambda _: values.fast_enough(ramp.tempos if ramp else (), meter))
        return Drill(
            source=source,
            title=self.text("title") or name or _default_title(material, parts.feet),
            text=self.text("text"),
            texts=self.read("texts", lambda content: values.texts(content or {})),
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
            voicing=voicing,
            stages=stages,
            drop_swapped=self.flag("drop_swapped"),
            easiest_first=self.text("order") == "easiest",
            kit=parts.kit,
            file_format=self.whole("format", 0, 1),
            touch=self.touch(),
            writing=Writing(self.text("writing.voices"), self.text("writing.rolls")),
            running=self.running(meter, ramp is not None),
            practice=self.practice(meter),
            given=self.content,
            notes=(*self.notes(meter), *self.without_band(parts)),
        )

    def notes(self, meter: Meter) -> Iterator[str]:
        """How what could be read in two ways, or once was, is read."""
        beats = {str(beat) for beat in range(1, len(meter.groups) + 1)}
        for key in (key.name for key in KEYS if key.places):
            places = [str(place).strip() for place in self.items(key)]
            if places and beats.issuperset(places):
                said = f"{', '.join(places)} {'is a count' if len(places) == 1 else 'are counts'}"
                steps = ", ".join(f"'+{place}'" for place in places)
                yield f"{key}: {said}; grid steps later are {steps}"
        for key in ("accents", "feet", "layers"):
            pattern = joined(self.raw(key))
            if pattern:
                yield f"{key}: '{pattern}' is one pattern; a semicolon parts patterns"

    def without_band(self, parts: _Parts) -> Iterator[str]:
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
        grids = moves["grid"] or tuple(own_steps(meter, sticking.steps) for sticking in stickings)
        step = meter.beat / (grids[0] if grids else own_steps(meter, 0))
        return _Material(meter, stickings, every, moves, step)

    def parts(self, material: _Material) -> _Parts:
        """What sounds under and beside the hands, and on which kit."""
        meter, step = material.meter, material.step
        feet = self.read("feet", lambda items: foot_patterns(items, meter, step))
        feet += self.read("partner", lambda wish: partners(wish, feet, meter, step))
        feet = tuple(retitled(feet, self.read("voicing", values.voicing), meter, step))
        layers = self.read("layers", lambda items: read_lines(items, meter, step, ()))
        own = self.road_map(meter)
        feet += tuple(line for line in own if line.limb in FEET)
        layers += tuple(line for line in own if line.limb not in FEET)
        kit = self.read("kit", lambda text: read_kit(text, self.folder))
        band = Band()
        if not _BAND_KEYS.isdisjoint(self.content):
            from midiforge.drill.band import read_band  # most drills have none

            band = read_band(self, meter, step, feet, layers, kit.channel)
        return _Parts(feet, layers, band, kit)

    def road_map(self, meter: Meter) -> tuple[Line, ...]:
        """What is played by the road map."""
        if "bars" not in self.content and not self.text("road_map"):
            return ()
        from midiforge.drill.road_map import lines_of, read_bars, read_road_map  # few have one

        bars = self.read("bars", lambda content: read_bars(content or {}, meter))
        order = self.read("road_map", lambda text: read_road_map(text, bars))
        return lines_of(order, meter)

    def staging(
        self, material: _Material, layers: tuple[Line, ...]
    ) -> tuple[Voicing, tuple[Stage, ...]]:
        """What is played on what, stage by stage."""
        meter, step = material.meter, material.step
        voicing = {**USUAL_VOICING, **self.read("voicing", values.voicing)}
        surface = self.read("surface", lambda text: shelf.voice(text).name)
        common = Common(
            meter=meter,
            step=step,
            voicing=voicing,
            surface=surface,
            form=self.read("form", values.form),
            groove=self.read("groove", lambda items: grooves(items, meter, step)),
            apart=any(
                line.limb and line.limb.is_hand and line.voice not in ("", surface)
                for line in layers
            ),
        )
        hands = bool(material.stickings or material.every)
        own = self.raw("stage") or {}
        return voicing, chosen_stages(self.items("stages"), own, common, hands)

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
        stickings = []
        for number, item in enumerate(items, start=1):
            try:
                stickings.append(_read_sticking(str(item)))
            except MidiforgeError as error:
                raise error.within(f"sticking {number}" if len(items) > 1 else "") from None
        return tuple(stickings)

    def every(self) -> Every | None:
        if not any(name.startswith("every.") for name in self.content):
            return None
        if "every.strokes" not in self.content:
            raise MidiforgeError("how many strokes?", "every", hint="strokes = 8")
        longest = "every.longest_run"
        up_to = self.items("every.up_to")
        every = Every(
            strokes=self.whole("every.strokes", 1, LONGEST_STICKING),
            longest_run=self.whole(longest, 1, LONGEST_STICKING) if longest in self.content else 0,
            looped=self.flag("every.looped"),
            starts=self.text("every.starts"),
            balanced=self.flag("every.balanced"),
            up_to_rotation="rotation" in up_to,
            up_to_swap="swap" in up_to,
        )
        if next(every.words(), None) is None:
            raise MidiforgeError("no sticking is within these limits", "every")
        return every

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
        gap = self.read("gap", values.gap)
        if gap and self.text("click") != "throughout":
            what = "there is no click to leave gaps in"
            raise MidiforgeError(what, "gap", hint="click = 'throughout'")
        return gap

    def running(self, meter: Meter, ramp: bool) -> tuple[Chosen, ...]:
        running = self.read("running", values.running)
        tempos = tuple(chosen.tempo for chosen in running if chosen.tempo)
        if tempos and ramp:
            raise MidiforgeError("a drill with a ramp has no other tempos", "running")
        self.read("running", lambda _: values.fast_enough(tempos, meter))
        return running

    def practice(self, meter: Meter) -> Practice:
        def goal(value: object) -> tuple[Fraction, ...]:
            return () if value == "" else values.fast_enough((values.tempo(value),), meter)

        return Practice(
            clean=self.number("practice.clean", 0.5, 1),
            steady=self.number("practice.steady", 1, 50),
            takes=self.whole("practice.takes", 1, 20),
            up=self.read("practice.up", values.rise),
            days=self.whole("practice.days", 1, 365),
            goal=next(iter(self.read("practice.goal", goal)), None),
            first=self.text("practice.first"),
            mix=self.text("practice.mix"),
        )


def _read_sticking(text: str) -> Sticking:
    """A sticking by rudiment name, or as typed."""
    try:
        phrase = parse_sticking(text)
    except MidiforgeError:
        # Letters that no sticking has: a name was meant.
        if len(set(shelf.slug(text)) - set("rlbkhz-0123456789")) >= 2:
            rudiment = shelf.rudiment(text)
            return Sticking(rudiment.phrase, rudiment.title, rudiment.steps)
        raise
    return Sticking(phrase, phrase.name)


def _default_title(material: _Material, feet: tuple[Line, ...]) -> str:
    """What a drill without a title is called: its first stickings, over what the feet play."""
    hands = ", ".join(sticking.title for sticking in material.stickings[:3])
    if material.every and not hands:
        hands = f"Every sticking of {material.every.strokes}"
    below = " and ".join(line.title for line in feet if not line.partner)
    return " over ".join(filter(None, (hands, below))) or "Drill"
