"""Values made by `frozen` are what the standard library's frozen dataclasses with slots are.

Source: Python's manual, dataclasses; each test holds the two beside each other.
"""

import copy
import inspect
import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, is_dataclass, replace
from typing import Any

import pytest

from midiforge.frozen import frozen


@frozen
class Ours:
    """A stroke."""

    limb: str
    tempo: float = 80.0
    voices: list[str] = field(default_factory=list)
    said: str = field(default="", compare=False, repr=False)
    twice: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "twice", 2 * self.tempo)


@dataclass(frozen=True, slots=True)
class Theirs:
    """A stroke."""

    limb: str
    tempo: float = 80.0
    voices: list[str] = field(default_factory=list)
    said: str = field(default="", compare=False, repr=False)
    twice: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "twice", 2 * self.tempo)


@frozen
class Longer(Ours):
    bars: int = 1


BOTH: Any = pytest.mark.parametrize("kind", [Ours, Theirs])


@BOTH
def test_defaults_are_as_written_and_a_factory_makes_one_each(kind: Callable[..., Any]) -> None:
    first, second = kind("LF"), kind("LF", said="ouch")
    assert (first.tempo, first.voices, first.twice) == (80.0, [], 160.0)
    assert first.voices is not second.voices
    assert first == second  # what is not compared
    assert first != kind("LF", 81.0)


def test_they_are_written_alike() -> None:
    assert repr(Ours("LF", 90)) == repr(Theirs("LF", 90)).replace("Theirs", "Ours")
    ours, theirs = inspect.signature(Ours).parameters, inspect.signature(Theirs).parameters
    assert [(each.name, each.annotation) for each in ours.values()] == [
        (each.name, each.annotation) for each in theirs.values()
    ]


@BOTH
@pytest.mark.parametrize("given", [(), ("LF", 1, [], "", 2)])
def test_too_few_and_too_many_values_are_refused(kind: Callable[..., Any], given: Any) -> None:
    with pytest.raises(TypeError, match="__init__"):
        kind(*given)


@BOTH
def test_nothing_changes_and_nothing_is_added(kind: Callable[..., Any]) -> None:
    stroke = kind("LF")
    with pytest.raises(FrozenInstanceError):
        stroke.limb = "RF"
    with pytest.raises(FrozenInstanceError):
        del stroke.limb
    with pytest.raises((FrozenInstanceError, TypeError)):
        stroke.new = 1
    assert not hasattr(stroke, "__dict__")


@BOTH
def test_copies_are_equal_and_a_replaced_field_is_another(kind: Callable[..., Any]) -> None:
    stroke = kind("LF", 90, ["cowbell"])
    again = (pickle.loads(pickle.dumps(stroke)), copy.deepcopy(stroke), replace(stroke))
    assert all(other == stroke and other is not stroke for other in again)
    assert replace(stroke, tempo=60).twice == 120
    assert asdict(stroke)["voices"] == ["cowbell"]
    assert is_dataclass(stroke) and [part.name for part in fields(stroke)][:2] == ["limb", "tempo"]


def test_only_its_own_kind_is_equal() -> None:
    assert Ours("LF") != Theirs("LF")
    assert Ours("LF") != Longer("LF")
    assert Longer("LF", bars=2) != Longer("LF")


def test_a_hash_is_that_of_the_fields_that_are_compared() -> None:
    @frozen
    class Count:
        bar: int
        beat: int = field(default=1, compare=False)

    assert len({Count(1), Count(1, 2), Count(2)}) == 2
    with pytest.raises(TypeError, match="unhashable"):
        hash(Ours("LF"))


def test_a_class_is_matched_by_its_fields_in_order() -> None:
    match Ours("LF", 90):
        case Ours(limb, tempo):
            assert (limb, tempo) == ("LF", 90)
