"""A lesson as one MusicXML 4.0 document."""

from midiforge.pages.musicxml.document import musicxml

__all__ = ["musicxml"]
