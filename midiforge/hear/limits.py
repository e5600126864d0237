"""From where on a figure is a fault: what reviews and the log judge by, each limit once.

A musical limit has its source; "common practice" is teachers', "ours" is from recordings of
professional drummers, who must not fail by what a module and a USB cable add.
"""

# So many strokes of a thing say something of a habit; ours.
FEWEST_STROKES = 8
LEAST_TIMES = 4  # fewer of a thing say nothing of a habit; ours

# A steady tempo's change is noticed from about 2.5 % of the interval on: A. Friberg and
# J. Sundberg, Time discrimination in a monotonic, isochronous sequence, J. Acoust. Soc. Am. 98,
# 1995 (2.5 %, and 6 ms below 240 ms; from memory). Tempo is judged at that, doubles at twice.
NOTICED, NOTICED_MS = 0.025, 6.0
# Steady within 8 % of a grid step (a thirty-second of it to either side of the stroke and a bit
# more): common practice; below 20 ms nobody is asked to be steadier: ours, from recordings, where
# a limb of a professional drummer, its module's jitter with it, spreads by 13 ms in the middle and
# by less than 20 ms in nine of ten cases, whatever the tempo.
STEADY_PERCENT, STEADY_MS = 8.0, 20.0
# Beside a click that one hears: from where two strokes are told apart.
OFF_THE_CLICK_MS = 20.0
# About the least gap at which one hears which of two sounds comes first: I. J. Hirsh, Auditory
# perception of temporal order, J. Acoust. Soc. Am. 31, 1959 (about 20 ms; from memory).
TOGETHER_MS = 20.0
# A hi-hat's pedal sends its note as it closes, not as it sounds; ours, from the same recordings,
# where it comes up to 32 ms from what is struck with it.
PEDAL_MS = 35.0
LOOSE_GAP_MS = 25.0  # with this deviation four of ten meetings are that far apart
# Accents: a quarter more velocity is heard as louder on most modules; common practice. A fifth of
# taps may be as loud as an accent: ours, from the same recordings, where accents that stand out
# have up to 18 %, and such as are none about half.
ACCENT_RATIO, OVERLAP, GHOST_RATIO = 1.25, 0.20, 0.85
