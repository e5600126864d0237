"""A few of the sessions of live_faults.py, which has three hundred and says what must be so."""

import pytest
from jack import Server
from live_faults import session


@pytest.mark.parametrize(
    ("kind", "seed"),
    [("disk_full", 1), ("learning", 8)],
)
def test_after_a_fault_nothing_sounds_on_and_nothing_is_lost(
    jack: Server, kind: str, seed: int
) -> None:
    assert session(kind, seed, jack)[0] == []
