"""The banded oil indicator against limits.

Thresholds 0.05, 0.1, 0.5 and 1.0 mg/m3 for a 5 min sample after a 1 min purge: common practice, no
source.
"""

from __future__ import annotations

import pytest

from lungwort.air.interval import INSIDE, OUTSIDE, STRADDLES, Interval
from lungwort.errors import SpotError
from lungwort.spot.indicator import THRESHOLDS_MG_M3, band, band_names, bands


def test_bands_join_without_hole_or_overlap() -> None:
    """Worked by hand: five bands, each beginning where the one before ends."""
    assert THRESHOLDS_MG_M3 == (0.05, 0.1, 0.5, 1.0)
    found = bands()
    assert [(one.lower, one.upper) for one in found[1:-1]] == [(0.05, 0.1), (0.1, 0.5), (0.5, 1.0)]
    assert found[0] == Interval.less_than(0.05, "mg/m3")
    assert found[-1] == Interval.more_than(1.0, "mg/m3")
    assert all(not one.lower_included for one in found)


@pytest.mark.parametrize(
    ("state", "against_0_5", "against_0_1", "against_0_3"),
    [
        ("nothing seen", INSIDE, INSIDE, INSIDE),
        ("0.05-0.1", INSIDE, INSIDE, INSIDE),
        ("0.1-0.5", INSIDE, OUTSIDE, STRADDLES),
        ("0.5-1.0", OUTSIDE, OUTSIDE, OUTSIDE),
        ("> 1.0", OUTSIDE, OUTSIDE, OUTSIDE),
    ],
)
def test_bands_against_limits(
    state: str, against_0_5: str, against_0_1: str, against_0_3: str
) -> None:
    """The table of the trade, and a limit in the middle of a band."""
    read = band(state)
    assert read.against(at_most=0.5) == against_0_5
    assert read.against(at_most=0.1) == against_0_1
    assert read.against(at_most=0.3) == against_0_3


@pytest.mark.parametrize("number", range(5))
def test_names_and_numbers_agree(number: int) -> None:
    """A band can be given by number or by name."""
    assert band(number) == band(band_names()[number]) == bands()[number]


@pytest.mark.parametrize(
    ("written", "number"),
    [("Nothing", 0), ("< 0.05", 0), ("first trace", 1), ("0,1 to 0,5 mg/m³", 2), ("> 1", 4)],
)
def test_other_ways_to_write_a_band(written: str, number: int) -> None:
    """Case, comma, unit and dash do not matter."""
    assert band(written) == bands()[number]


@pytest.mark.parametrize("state", ["0.2-0.5", "> 0.5", "much", "a-b", 5, -1, ""])
def test_no_such_band(state: str | int) -> None:
    """A band that the indicator does not have is refused."""
    with pytest.raises(SpotError, match=r"band"):
        band(state)
