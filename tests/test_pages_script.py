"""The page's script is its modules in one scope."""

import re
from collections import Counter
from pathlib import Path

import pytest

from midiforge.pages import script as linking
from midiforge.pages.script import script

MODULES = Path(linking.__file__).parent / "player"
SOURCES = {path.name: path.read_text("utf-8") for path in MODULES.glob("*.js")}
WHOLE = script("main.js", "folds.js", "tones.js", "again.js")


NAMED = re.compile(r"^(?:export )?((?:const|let|function|class) \w+)", re.MULTILINE)
IMPORTED = re.compile(r'^import .*"\./([\w-]+\.js)";$', re.MULTILINE)


def test_every_module_is_in_it_behind_those_that_it_imports() -> None:
    places = {
        name: WHOLE.index(named[1])
        for name, text in SOURCES.items()
        if (named := NAMED.search(text))
    }
    assert len(places) > 8
    for name in places:
        for imported in IMPORTED.findall(SOURCES[name]):
            if imported in places:
                assert places[imported] < places[name], (imported, name)


def test_no_two_modules_call_a_thing_alike() -> None:
    # They share one scope in the page, where the later would be both.
    named = Counter(name.split()[1] for text in SOURCES.values() for name in NAMED.findall(text))
    assert [name for name, times in named.items() if times > 1] == []


def test_nothing_of_a_module_is_left_in_it() -> None:
    assert not re.search(r"^\s*(import|export)\b|^\s*//|/\*", WHOLE, re.MULTILINE)


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_modules_import_and_export_only_what_can_be_joined(name: str) -> None:
    for line in SOURCES[name].splitlines():
        if line.startswith("import "):
            assert re.fullmatch(r'import \{ [\w, ]+ \} from "\./[\w-]+\.js";', line), line
        if line.startswith("export "):
            assert re.match(r"export (const|let|function|class) \w+", line), line


def test_a_module_is_short() -> None:
    assert max(len(source.splitlines()) for source in SOURCES.values()) <= 200
