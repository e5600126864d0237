"""Stages: the three that every drill has, and those of its own."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from midiforge.drill import values
from midiforge.drill.drill import Span, Stage, Voicing
from midiforge.drill.keys import STAGE_KEYS
from midiforge.drill.lines import read_lines
from midiforge.errors import MidiforgeError, is_not, nearest, quoted
from midiforge.frozen import frozen
from midiforge.keys.values import items_of, limb, of_kind
from midiforge.library import shelf
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.model.meter import Meter
from midiforge.phrase.pattern import Line

FULL, EVERYTHING = "full", "hands and feet"  # the name and the title of the fullest stage

USUAL_VOICING: Voicing = {
    (Limb.RIGHT_HAND, ""): ("hihat-closed",),
    (Limb.LEFT_HAND, ""): ("snare",),
    (Limb.RIGHT_FOOT, ""): ("bass-drum",),
    (Limb.LEFT_FOOT, ""): ("hihat-pedal",),
}

_KEYS = {key.name: key for key in STAGE_KEYS}
_LONGEST_NAME = 40


@frozen
class Common:
    """What stages share unless they say otherwise.

    apart: whether a hand repeats something on a voice of its own, and so off the one surface.
    """

    meter: Meter
    step: Fraction
    voicing: Voicing
    surface: str
    form: tuple[Span, ...]
    groove: tuple[Line, ...]
    apart: bool = False


def chosen_stages(
    wanted: Iterable[str], own: Mapping[str, Any], common: Common, hands: bool
) -> tuple[Stage, ...]:
    """The stages in the order wanted; all of them if none is.

    own: the drill's, by name. hands: whether they have anything to play.
    """
    known = _usual_stages(common)
    for name, content in own.items():
        known[name] = _own_stage(name, content, known, common)
    chosen = []
    for name in dict.fromkeys(wanted or known):
        if name not in known:
            hint = nearest(str(name), known)
            raise MidiforgeError(f"no stage is called {quoted(name)}", "stages", hint=hint)
        chosen.append(known[name])
    for stage in chosen:
        if any(span.kind == "time" for span in stage.form) and not stage.groove and hands:
            what = "bars of time need a groove for the hands"
            raise MidiforgeError(what, "form", hint="groove = 'jazz-ride'")
    return tuple(chosen)


def _usual_stages(common: Common) -> dict[str, Stage]:
    """The feet alone, the hands on one surface, and everything."""
    one_surface = {(limb, ""): (common.surface,) for limb in HANDS}
    feet = {rule: voices for rule, voices in common.voicing.items() if rule[0].is_foot}
    everything = _everything(common, FULL, EVERYTHING)
    return {
        "feet": Stage("feet", "feet alone", frozenset(FEET), False, common.voicing),
        "hands": replace(
            everything,
            name="hands",
            title="hands alone" if common.apart else "hands on one surface",
            limbs=frozenset(HANDS),
            layers=False,
            voicing={**feet, **one_surface},
        ),
        "full": everything,
    }


def _own_stage(name: object, content: object, known: Mapping[str, Stage], common: Common) -> Stage:
    """A stage from its table; one of a known name begins as that one is."""
    where = f"stage.{name}"
    if not isinstance(name, str) or not name or shelf.slug(name) != name:
        hint = shelf.slug(str(name)) or "lower case, such as brushes"
        raise is_not(name, "a stage's name", hint).within("stage")
    if len(name) > _LONGEST_NAME:
        raise MidiforgeError(f"{quoted(name)} is too long for a stage's name", "stage")
    if not isinstance(content, Mapping):
        raise MidiforgeError("a table was expected", where, hint=f"[{where}]")
    given: dict[str, Any] = {}
    for key, value in content.items():
        if key not in _KEYS:
            hint = nearest(str(key), _KEYS)
            raise MidiforgeError(f"unknown key {quoted(key)}", where, hint=hint)
        given[key] = of_kind(_KEYS[key], value, f"{where}.{key}")

    def read(key: str, reader: Callable[[Any], Any], usual: Any) -> Any:
        if key not in given:
            return usual
        try:
            return reader(given[key])
        except MidiforgeError as error:
            raise error.within(where, key) from None

    base = known.get(name) or _everything(common, name, name)
    return replace(
        base,
        title=str(given.get("title", base.title)),
        text=str(given.get("text", base.text)),
        limbs=read("limbs", _limbs, base.limbs),
        layers=bool(given.get("layers", base.layers)),
        voicing={**base.voicing, **read("voicing", values.voicing, {})},
        form=read("form", values.form, base.form),
        groove=read("groove", lambda value: grooves(value, common.meter, common.step), base.groove),
    )


def grooves(value: object, meter: Meter, step: Fraction) -> tuple[Line, ...]:
    """What the hands play in bars of time."""
    return read_lines(items_of(value, counted=True), meter, step, HANDS)


def _everything(common: Common, name: str, title: str) -> Stage:
    return Stage(name, title, frozenset(Limb), True, common.voicing, common.form, common.groove)


def _limbs(value: object) -> frozenset[Limb]:
    limbs = frozenset(limb(str(item)) for item in items_of(value))
    if not limbs:
        raise MidiforgeError("no limb is given", hint="RH, LH, RF or LF")
    return limbs
