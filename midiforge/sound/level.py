"""How loud a file is made.

Loudness is measured after ITU-R BS.1770 by pyloudnorm. There is no limiter: strokes keep their
shape, and what would be too high is made softer as a whole.
"""

import math
from typing import TYPE_CHECKING

from midiforge.sound.packages import package

if TYPE_CHECKING:
    from numpy import float32
    from numpy.typing import NDArray

LOUDNESS = -16.0  # LUFS, integrated
PEAK = 10 ** (-1 / 20)  # of a sample: -1 dBFS
# What FluidSynth renders needs 10 to 20 dB. More would only raise what was meant to be soft, or
# noise, to where it hurts.
MOST_GAIN = 10 ** (30 / 20)
_HEARD = 10 ** (-60 / 20)  # the highest sample of what can still be heard
_AT_ONCE = 1 << 15  # samples, so that what is worked on stays in the processor's cache
# Gain in dB, Q, corner in Hz and kind, as pyloudnorm has them for its filters "K-weighting".
_K_WEIGHTING = ((4.0, 1 / math.sqrt(2), 1500.0, "high_shelf"), (0.0, 0.5, 38.0, "high_pass"))
_MEASURED = 0.4  # seconds, the block of BS.1770


def gain_for(samples: "NDArray[float32]", rate: int) -> float:
    """The factor that makes samples -16 LUFS loud, or less where a sample would pass -1 dBFS.

    Files that belong together share the least of their gains. 1 for silence.
    """
    highest = peak(samples)
    if not highest:
        return 1.0
    loud = loudness(samples, rate)
    wanted = 10 ** ((LOUDNESS - loud) / 20) if loud > float("-inf") else PEAK / highest
    return min(wanted, PEAK / highest, MOST_GAIN)


def within_peak(gain: float, samples: "NDArray[float32]") -> float:
    """The gain, or the largest below it at which no sample passes -1 dBFS."""
    highest = peak(samples)
    return min(gain, PEAK / highest) if highest else gain


def is_silent(samples: "NDArray[float32]", gain: float) -> bool:
    """Whether next to nothing is heard of samples at a gain."""
    return peak(samples) * gain < _HEARD


def loudness(samples: "NDArray[float32]", rate: int) -> float:
    """Integrated loudness in LUFS; minus infinity for what is too soft to be measured.

    What is shorter than the block that BS.1770 measures is heard as it loops.
    """
    numpy = package("numpy")
    if not len(samples):
        return float("-inf")
    least = int(_MEASURED * rate) + 1
    if len(samples) < least:
        samples = numpy.tile(samples, (-(-least // len(samples)), 1))
    with numpy.errstate(all="ignore"):  # stretches of silence have no logarithm
        meter = package("pyloudnorm").Meter(rate, "custom")  # which has no filters
        return float(meter.integrated_loudness(_weighted(samples, rate)))


def _weighted(samples: "NDArray[float32]", rate: int) -> "NDArray[float32]":
    """The samples as the ear weights them: the two K filters in one pass, for which other threads
    need not wait. This takes half the time of pyloudnorm's own passes."""
    numpy, run = package("numpy"), package("scipy.signal").sosfilt
    filters = [package("pyloudnorm").IIRfilter(*each[:3], rate, each[3]) for each in _K_WEIGHTING]
    sections = numpy.array([[*each.b, *each.a] for each in filters])
    weighted: NDArray[float32] = numpy.empty_like(samples)
    state = numpy.zeros((len(sections), 2, *samples.shape[1:]))
    for first in range(0, len(samples), _AT_ONCE):
        part = samples[first : first + _AT_ONCE]
        weighted[first : first + _AT_ONCE], state = run(sections, part, axis=0, zi=state)
    return weighted


def peak(samples: "NDArray[float32]") -> float:
    """The highest sample, above or below 0."""
    return float(max(samples.max(), -samples.min())) if len(samples) else 0.0
