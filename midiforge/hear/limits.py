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
# more): common practice; below 12 ms nobody is asked to be steadier, as modules and USB add some.
STEADY_PERCENT, STEADY_MS = 8.0, 12.0
# Beside a click that one hears: from where two strokes are told apart.
OFF_THE_CLICK_MS = 20.0
# About the least gap at which one hears which of two sounds comes first: I. J. Hirsh, Auditory
# perception of temporal order, J. Acoust. Soc. Am. 31, 1959 (about 20 ms; from memory).
TOGETHER_MS = 20.0
LOOSE_GAP_MS = 25.0  # with this deviation four of ten meetings are that far apart
# Accents: a quarter more velocity is heard as louder on most modules; common practice.
ACCENT_RATIO, OVERLAP, GHOST_RATIO = 1.25, 0.10, 0.85
