"""Values that never change, as `dataclass(frozen=True, slots=True)` makes them, but made sooner.

The standard library compiles six functions for each class; a command reads a hundred classes and
would wait as long for them as for all that it imports. Here one `__init__` is compiled for all
classes with as many fields. For the rest of the standard library, and for whoever reads or checks
types, they are dataclasses.
"""

from collections.abc import Callable, Sequence
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from functools import cache
from operator import attrgetter
from types import CodeType, FunctionType
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
    """The `__init__` of a class with these fields: that of any class with as many, its values
    called as they are."""
    given = [part for part in parts if part.init]
    code = _code_for(len(given), hasattr(cls, "__post_init__"))
    setters = {f"set_{i}": _setter(cls, part) for i, part in enumerate(given)}
    usual = [part.default if part.default_factory is MISSING else MISSING for part in given]
    first = next((i for i, part in enumerate(given) if _is_usual(part)), len(given))
    names = ("self", *(part.name for part in given))
    made = FunctionType(code.replace(co_varnames=names), setters, "__init__", tuple(usual[first:]))
    made.__qualname__ = f"{cls.__qualname__}.__init__"
    made.__annotations__ = {part.name: part.type for part in given} | {"return": None}
    return made


@cache
def _code_for(count: int, checked: bool) -> CodeType:
    values = [f"value_{i}" for i in range(count)]
    lines = [f"set_{i}(self, {value})" for i, value in enumerate(values)]
    lines += ["self.__post_init__()"] * checked
    names: dict[str, FunctionType] = {}
    exec(f"def __init__({', '.join(['self', *values])}): {'; '.join(lines)}", names)
    return names["__init__"].__code__


def _setter(cls: Any, part: Field[Any]) -> Callable[[object, object], None]:
    put: Callable[[object, object], None] = getattr(cls, part.name).__set__
    make = part.default_factory
    if make is MISSING:
        return put
    return lambda self, value: put(self, make() if value is MISSING else value)


def _is_usual(part: Field[Any]) -> bool:
    return part.default is not MISSING or part.default_factory is not MISSING


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
