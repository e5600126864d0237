"""The page's script: its modules in one.

A page opened from a disk may load no other file, so the modules in `player/` are put one behind
the other, each after those that it imports, in one scope.
"""

import re
from functools import cache
from pathlib import Path

_MODULES = Path(__file__).parent / "player"
_IMPORT = re.compile(r'^import .*"\./([\w-]+\.js)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export ", re.MULTILINE)
# Those that begin a line, and types within one.
_COMMENT = re.compile(r"^ *//[^\n]*\n|^ */\*\*.*?\*/\n|/\*\*.*?\*/ ", re.MULTILINE | re.DOTALL)
_EMPTY = re.compile(r"\n{2,}")


@cache
def script(*names: str) -> str:
    """What these modules and all that they import do, as one script without its comments."""
    bodies: dict[str, str] = {}
    for name in names:
        _add(name, bodies)
    whole = _EMPTY.sub("\n", "".join(bodies.values()))
    return f'(() => {{\n"use strict";\n{whole.lstrip()}}})();\n'


def _add(name: str, bodies: dict[str, str]) -> None:
    source = (_MODULES / name).read_text(encoding="utf-8")
    for imported in _IMPORT.findall(source):
        if imported not in bodies:
            _add(imported, bodies)
    bodies[name] = _EXPORT.sub("", _COMMENT.sub("", _IMPORT.sub("", source)))
