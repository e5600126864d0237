"""Figures of a review against SciPy's."""

import math
import random

import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from midiforge.hear.figures import Tally, deviation, mean, overlap, slope, timing

NUMBERS = st.lists(st.floats(-200, 200, allow_nan=False), min_size=2, max_size=60)


@settings(max_examples=200, deadline=None)
@given(NUMBERS)
def test_mean_and_deviation_are_those_of_a_sample(values) -> None:
    assert mean(values) == pytest.approx(scipy.stats.tmean(values), abs=1e-9)
    assert deviation(values) == pytest.approx(scipy.stats.tstd(values), abs=1e-9)


def test_nothing_has_no_mean_and_one_value_no_deviation() -> None:
    assert mean([]) is None
    assert deviation([3.0]) is None
    found = timing([], 100)
    assert (found.strokes, found.mean_ms, found.deviation_ms) == (0, None, None)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 40), st.floats(-50, 50)), min_size=3, max_size=40))
def test_the_slope_is_theil_s_and_sen_s(points) -> None:
    xs, ys = [float(x) for x, _ in points], [y for _, y in points]
    if len(set(xs)) < 2:
        assert slope(list(zip(xs, ys, strict=True))) is None
        return
    wanted = scipy.stats.theilslopes(ys, xs).slope
    assert slope(list(zip(xs, ys, strict=True))) == pytest.approx(wanted, abs=1e-9)


def test_a_slope_over_many_points_is_that_of_their_medians() -> None:
    chance = random.Random(2)
    points = [(float(i), 0.3 * i + chance.gauss(0, 5)) for i in range(5000)]
    points[17] = (17.0, 9999.0)
    assert slope(points) == pytest.approx(0.3, abs=0.001)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.integers(1, 127), min_size=1, max_size=30),
    st.lists(st.integers(1, 127), min_size=1, max_size=30),
)
def test_overlap_is_mann_s_and_whitney_s_u_over_the_pairs(low, high) -> None:
    wanted = scipy.stats.mannwhitneyu(low, high).statistic / (len(low) * len(high))
    assert overlap(low, high) == pytest.approx(wanted)


def test_a_tally_is_clean_by_what_was_right_among_all() -> None:
    assert Tally(20, 18, 4).missed == 2
    assert Tally(20, 18, 4).clean == 18 / 24
    assert Tally(0, 0).clean == 1
    assert math.isclose(timing([-10, 10], 100).deviation_percent or 0, 14.142135623730951)
