"""Public names that are imported when first used, so that starting stays quick."""

from collections.abc import Callable, Mapping
from importlib import import_module


def lazily(package: str, names: Mapping[str, str]) -> Callable[[str], object]:
    """A module's `__getattr__` for `names`, each with the module it comes from (PEP 562)."""

    def find(name: str) -> object:
        if name not in names:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(names[name]), name)

    return find
