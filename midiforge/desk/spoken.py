"""What is said to somebody at the page, who presses buttons and types no commands.

What speaks of a flag or a command stands in parentheses, or is the last of a sentence's clauses; a
person is told the rest. What to do next is said without from the start (`Session.flags`).
"""

import re
from typing import Any

_COMMANDS = (
    "open|build|show|sheet|loop|play|ports|kit|review|log|next|plan|practise|import|list|guide"
    "|schema"
)
TYPED = re.compile(rf"(?<![\w-])--[a-z]|\bmidiforge ({_COMMANDS})\b")
_ASIDE = re.compile(r" \((?:[^()]* )?--[a-z-]+ [^()]*\)")


def spoken(text: str) -> str:
    """A sentence, or a page of them, without what has to be typed."""
    return _ASIDE.sub("", text)


def said(text: str) -> str:
    """A sentence without its clauses that say what has to be typed."""
    text = spoken(text)
    if not TYPED.search(text):
        return text
    kept: list[str] = []
    for clause in re.split(r"(; |, or )", text):
        if TYPED.search(clause):
            break
        kept.append(clause)
    return "".join(kept[: len(kept) - 1 + len(kept) % 2])  # no sign at the end of it


def all_said(plain: Any) -> Any:
    """The same of every text in data of JSON's own kinds."""
    if isinstance(plain, str):
        return said(plain)
    if isinstance(plain, list):
        return [all_said(each) for each in plain]
    if isinstance(plain, dict):
        return {name: all_said(each) for name, each in plain.items()}
    return plain
