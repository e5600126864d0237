"""Public names that are imported when first used, so that starting stays quick."""

import sys
from collections.abc import Callable, Mapping
from importlib import import_module


def lazily(
    package: str, names: Mapping[str, str]
) -> tuple[Callable[[str], object], Callable[[], list[str]]]:
    """A module's `__getattr__` and `__dir__` for `names`, each with its module (PEP 562)."""

    def find(name: str) -> object:
        if name not in names:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(names[name]), name)

    def known() -> list[str]:
        return sorted({*vars(sys.modules[package]), *names})

    return find, known
