"""Values that never change, as `dataclass(frozen=True, slots=True)` makes them, but made sooner.

The standard library compiles six functions for each class; a command reads a hundred classes and
would wait as long for them as for all that it imports. Here only `__init__` is compiled. For the
rest of the standard library, and for whoever reads or checks types, they are dataclasses.
"""

from collections.abc import Callable, Sequence
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from operator import attrgetter
from typing import Any, TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(cls: type[T]) -> type[T]:
    """A dataclass with slots whose instances are compared by their fields and never change."""
    made: Any = dataclass(init=False, repr=False, eq=False, slots=True)(cls)
    parts = fields(made)
    content = attrgetter(*(part.name for part in parts if part.compare))

    def equal(self: object, other: object) -> bool:
        if other.__class__ is not self.__class__:
            return NotImplemented  # type: ignore[no-any-return]
        return bool(content(self) == content(other))

    made.__init__ = _initial(made, parts)
    made.__eq__, made.__hash__ = equal, lambda self: hash(content(self))
    made.__setattr__ = made.__delattr__ = _refused
    made.__repr__, made.__getstate__, made.__setstate__ = _shown, _state, _restored
    return made  # type: ignore[no-any-return]


def _initial(cls: Any, parts: Sequence[Field[Any]]) -> Callable[..., None]:
    """The `__init__` of a class with these fields."""
    names: dict[str, Any] = {}
    heads, lines = ["self"], []
    for part in parts:
        name, given = part.name, part.name
        if not part.init:
            continue
        names[f"set_{name}"] = getattr(cls, name).__set__
        if part.default is not MISSING:
            names[f"usual_{name}"] = part.default
        elif part.default_factory is not MISSING:
            names[f"usual_{name}"] = part.default_factory
            given = f"usual_{name}() if {name} is usual_{name} else {name}"
        heads.append(f"{name}=usual_{name}" if f"usual_{name}" in names else name)
        lines.append(f"set_{name}(self, {given})")
    if hasattr(cls, "__post_init__"):
        lines.append("self.__post_init__()")
    exec(f"def __init__({', '.join(heads)}): {'; '.join(lines)}", names)
    made: Callable[..., None] = names["__init__"]
    made.__qualname__ = f"{cls.__qualname__}.__init__"
    made.__annotations__ = {part.name: part.type for part in parts if part.init} | {"return": None}
    return made


def _refused(self: object, name: str, *_: object) -> None:
    raise FrozenInstanceError(f"cannot change {name!r} of {type(self).__qualname__}")


def _shown(self: Any) -> str:
    said = (f"{part.name}={getattr(self, part.name)!r}" for part in fields(self) if part.repr)
    return f"{type(self).__qualname__}({', '.join(said)})"


def _state(self: Any) -> list[object]:
    return [getattr(self, part.name) for part in fields(self)]


def _restored(self: Any, state: list[object]) -> None:
    for part, content in zip(fields(self), state, strict=True):
        object.__setattr__(self, part.name, content)
