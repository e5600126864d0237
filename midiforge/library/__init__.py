"""What a musician could edit: rudiments, ostinatos and the names of voices, as TOML beside this."""

from midiforge.library.shelf import (
    LibraryOstinato,
    Rudiment,
    Voice,
    ostinato,
    ostinatos,
    rudiment,
    rudiments,
    voice,
    voices,
)

__all__ = [
    "LibraryOstinato",
    "Rudiment",
    "Voice",
    "ostinato",
    "ostinatos",
    "rudiment",
    "rudiments",
    "voice",
    "voices",
]
