"""Whether misses are more than accidents."""

from math import exp, lgamma, log, log1p

STANDS_OUT = 2.0  # so many times the others' share of misses is one limb's, or one count's, own
# And of a hundred takes with nothing but accidents, five may be told of one: the usual measure,
# shared out among all limbs, or counts, that are compared.
ACCIDENT = 0.05


def stands_out(missed: int, expected: int, usual: float, compared: int) -> bool:
    """Whether so many misses are more than accidents at the usual share make."""
    if missed < STANDS_OUT * usual * expected:
        return False
    return at_least(missed, expected, usual) < ACCIDENT / compared


def at_least(times: int, of: int, chance: float) -> float:
    """How likely at least so many times are (binomial)."""
    if not 0 < chance < 1:
        return float(chance >= 1)
    found = 0.0
    for i in range(times, of + 1):
        ways = lgamma(of + 1) - lgamma(i + 1) - lgamma(of - i + 1)
        found += (each := exp(ways + i * log(chance) + (of - i) * log1p(-chance)))
        if i > of * chance and each < 1e-12:
            break
    return found
