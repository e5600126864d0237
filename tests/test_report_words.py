"""One thing has one word, on screens, pages and in the guide."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import midiforge

ROOT = Path(midiforge.__file__).parent
# The word that was chosen, and what else it could be called.
CHOSEN = {
    "clean": r"\bas written|strokes right|right strokes|% right",
    "extra": r"too many",
    "steady to": r"unsteady|uneven|to either side|give or take",
}
SPEAKING = [
    *(ROOT / "report").rglob("*.py"),
    *(ROOT / "practice").rglob("*.py"),
    *(ROOT / "command" / f"{name}.py" for name in ("review", "practice")),
    ROOT / "session.py",
]
CHAPTERS = [ROOT / "guide" / f"{name}.md" for name in ("takes", "practice")]


def sentences(path: Path) -> Iterator[str]:
    """What a module has to say: its text but for docstrings and for single words, which are names.

    A sentence in pieces, with figures between, is one.
    """
    if path.suffix == ".md":
        yield from path.read_text("utf-8").split("\n\n")
        return
    tree = ast.parse(path.read_text("utf-8"))
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(each.value) for each in node.values if isinstance(each, ast.Constant))
        elif isinstance(node, ast.Constant) and id(node) not in silent and " " in str(node.value):
            yield str(node.value)


@pytest.mark.parametrize("word", CHOSEN)
def test_one_thing_has_one_word_everywhere(word: str) -> None:
    other = re.compile(CHOSEN[word])
    said = [(path.name, text) for path in (*SPEAKING, *CHAPTERS) for text in sentences(path)]
    assert sum(word in text for _, text in said) > 3
    assert [each for each in said if other.search(each[1])] == []
