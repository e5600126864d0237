"""Public names that are imported when first used, so that starting stays quick."""

import sys
from collections.abc import Callable
from functools import cache
from importlib import import_module


def lazily(package: str, source: str) -> tuple[Callable[[str], object], Callable[[], list[str]]]:
    """A package's `__getattr__` and `__dir__` (PEP 562), and its `__all__`, for the names that its
    source imports for type checkers alone: `from MODULE import NAME as NAME`, a line each.

    source: its file.
    """

    @cache
    def homes() -> dict[str, str]:
        import re

        with open(source, encoding="utf-8") as text:  # noqa: PTH123  # pathlib takes long to import
            public = re.findall(r"^    from (\S+) import ([A-Za-z]\w*) as \2$", text.read(), re.M)
        return {name: home for home, name in public}

    def find(name: str) -> object:
        if name == "__all__":
            return [*homes()]
        if name.startswith("__") or name not in homes():
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(homes()[name]), name)

    def known() -> list[str]:
        return sorted({*vars(sys.modules[package]), "__all__", *homes()})

    return find, known
