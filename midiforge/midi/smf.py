"""The bytes of Standard MIDI Files 1.0: quantities, chunks and the events midiforge writes."""

from fractions import Fraction
from math import lcm
from unicodedata import combining, normalize

LARGEST_QUANTITY = 0x0FFFFFFF
LARGEST_DIVISION = 0x7FFF
# Divides every grid of 1 to 12 steps; taken where no division fits the times exactly.
_ROUNDING_DIVISION = 27720
_USUAL_DIVISION = 480

_PLAIN_MARKS = str.maketrans(
    {"\u2013": "-", "\u2014": "-", "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"',
     "\u2026": "...", "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "AE", "œ": "oe", "ł": "l",
     "Ł": "L", "đ": "d", "ð": "d", "þ": "th"}
)  # fmt: skip

_LOW = [bytes((low,)) for low in range(0x80)]
_HIGH = [bytes((0x80 | high,)) for high in range(1, 0x80)]
_SHORT = _LOW + [high + low for high in _HIGH for low in _LOW]  # quantities of a byte and of two


def quantity(value: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the most significant first."""
    if value < 0x4000:
        return _SHORT[value]
    if value > LARGEST_QUANTITY:
        raise ValueError(f"{value} does not fit a variable-length quantity")
    groups = [value & 0x7F]
    while value := value >> 7:
        groups.append(0x80 | value & 0x7F)
    return bytes(reversed(groups))


def wait(ticks: int) -> bytes:
    """The delta time before an event, however long: empty texts break what is too long for one."""
    if 0 <= ticks < 0x4000:
        return _SHORT[ticks]
    if ticks < 0:
        raise ValueError(f"an event {-ticks} ticks before the one that it follows")
    longest = quantity(LARGEST_QUANTITY) + text(TEXT, "")
    return longest * (ticks // LARGEST_QUANTITY) + quantity(ticks % LARGEST_QUANTITY)


def division(parts: int) -> int:
    """Ticks to a quarter note so that each of `parts` equal parts is a whole number of ticks.

    A multiple of 480 where one is legal, for programs that like it. Where no legal division is
    a multiple of `parts`, one that nearly is: times are then rounded one by one.
    """
    usual = lcm(parts, _USUAL_DIVISION)
    if usual <= LARGEST_DIVISION:
        return usual
    if parts <= LARGEST_DIVISION:
        return parts * max(1, _USUAL_DIVISION // parts)
    return _ROUNDING_DIVISION


def ticks(time: Fraction, division: int) -> int:
    """The tick nearest to a time in quarter notes, halves rounded up."""
    return (2 * time.numerator * division + time.denominator) // (2 * time.denominator)


def header(file_format: int, tracks: int, division: int) -> bytes:
    """The header chunk."""
    return b"MThd\0\0\0\6" + b"".join(n.to_bytes(2) for n in (file_format, tracks, division))


def track_header(size: int) -> bytes:
    """What comes before a track's events, which fill `size` bytes."""
    return b"MTrk" + size.to_bytes(4)


def meta(kind: int, content: bytes) -> bytes:
    """A meta event, without its delta time."""
    return bytes((0xFF, kind)) + quantity(len(content)) + content


def text(kind: int, words: str) -> bytes:
    """A meta event of text.

    The specification recommends ASCII, and readers disagree on anything else: Latin letters lose
    their accents, typographic marks become plain ones. Other scripts go in as UTF-8.
    """
    return meta(kind, as_written(words).encode())


def as_written(words: str) -> str:
    """Words as `text` has them."""
    spoken = normalize("NFKD", words.translate(_PLAIN_MARKS))
    plain = "".join(letter for letter in spoken if not combining(letter))
    return (plain if plain.isascii() else words).encode(errors="replace").decode()


# Kinds of meta events.
TEXT, TRACK_NAME, LYRIC, MARKER = 0x01, 0x03, 0x05, 0x06
END, TEMPO, TIME_SIGNATURE = 0x2F, 0x51, 0x58
END_OF_TRACK = meta(END, b"")


def tempo(quarter: Fraction) -> bytes:
    """Set tempo; `quarter` is the length of a quarter note in seconds."""
    microseconds = min(max(round(quarter * 1_000_000), 1), 0xFFFFFF)
    return meta(TEMPO, microseconds.to_bytes(3))


def time_signature(numerator: int, unit: int, pulse: Fraction) -> bytes:
    """Time signature; the metronome byte says how many MIDI clocks a pulse lasts."""
    clocks = min(max(round(24 * pulse), 1), 255)
    return meta(TIME_SIGNATURE, bytes((numerator, unit.bit_length() - 1, clocks, 8)))
