"""The formats of pages: every module of this folder declares one as `FORMAT`."""

from collections.abc import Mapping
from importlib import import_module
from pkgutil import iter_modules

from midiforge.pages.format import Format

_DECLARED: tuple[Format, ...] = tuple(
    import_module(f"{__name__}.{module.name}").FORMAT for module in iter_modules(__path__)
)
FORMATS: Mapping[str, Format] = {ending: each for each in _DECLARED for ending in each.endings}


def formats_said() -> str:
    """The formats for whoever chooses: ".html (pages to hear), .pdf (a booklet) or ..."."""
    *others, last = (f"{' or '.join(each.endings)} ({each.gives})" for each in _DECLARED)
    return f"{', '.join(others)} or {last}"
