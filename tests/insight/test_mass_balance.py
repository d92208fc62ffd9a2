"""Mass balance of burning, breathing and letting in, against hand calculation and fire data."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import RangeError
from lungwort.insight import mass_balance as mb

DATA = Path(__file__).parent.parent / "data"


@pytest.mark.parametrize(
    ("hydrogen", "expected"),
    [
        # Rise of CO2 over fall of O2 by stoichiometry (computed by hand from the atoms).
        (0.0, 1.0),
        (4.0, 0.5),
        (3.0, 0.571),
        (8.0 / 3.0, 0.6),
        (1.87, 0.681),
        (1.85, 0.684),
        (2.0, 0.667),
    ],
)
def test_ratio_of_fuels(hydrogen: float, expected: float) -> None:
    """Ratio of fuels."""
    assert mb.ratio_of_fuel(hydrogen) == pytest.approx(expected, abs=5e-4)


def test_atoms_balance() -> None:
    """Atoms balance."""
    # Propane, C3H8 + 5 O2 -> 3 CO2 + 4 H2O: 3 of CO2 for 5 of O2 (any chemistry book).
    assert mb.ratio_of_fuel(8.0 / 3.0) == pytest.approx(3.0 / 5.0)


@pytest.mark.parametrize(
    ("ratio", "fall"),
    [(0.8, 725.0), (0.85, 682.0), (0.684, 848.0)],  # 580 ppm of CO2, divided by hand
)
def test_oxygen_that_belongs_to_a_rise(ratio: float, fall: float) -> None:
    """Oxygen that belongs to a rise."""
    assert mb.o2_fall_ppm(580.0, ratio) == pytest.approx(fall, abs=0.6)


def test_displacement_takes_a_fifth() -> None:
    """Displacement takes a fifth."""
    # 20.947 % of dry air is oxygen (published composition): 580 ppm of a pure gas takes 121 ppm.
    assert mb.displaced_o2_ppm(580.0) == pytest.approx(121.0, abs=0.6)


def test_dilution_of_exhaust() -> None:
    """Dilution of exhaust."""
    # By hand: 1 % CO in the exhaust, 5 ppm read: 5e-4 of exhaust. It brings 12 % CO2 times 5e-4,
    # 60 ppm, and at 1/(1 + 1.85/4) takes 88 ppm of oxygen.
    share = mb.dilution_fraction(5.0, 0.0, 10_000.0)
    assert share == pytest.approx(5e-4)
    assert mb.o2_fall_ppm(share * 120_000.0, mb.ratio_of_fuel(1.85)) == pytest.approx(88.0, abs=0.5)


@settings(max_examples=30, deadline=None)
@given(share=st.floats(0.0, 1.0), ambient=st.floats(0.0, 500.0), more=st.floats(1.0, 1e5))
def test_dilution_round_trip(share: float, ambient: float, more: float) -> None:
    """Dilution round trip."""
    mixed = min(max(ambient + share * more, ambient), ambient + more)
    assert mb.dilution_fraction(mixed, ambient, ambient + more) == pytest.approx(share, abs=1e-6)


def test_fire_keeps_the_tie() -> None:
    """Gas of a room fire: the tie of carbon dioxide to oxygen is that of a fuel.

    NIST, fire experiments of the series NIST/NRC; oxygen and carbon dioxide of the hot layer. The
    fuel was heptane (from memory): C7H16 + 11 O2 -> 7 CO2 + 8 H2O, 0.636. Carbon monoxide and soot
    take a share of the carbon, and the two probes need not stand at one place, hence 12 %.
    """
    with (DATA / "fire_gases_10s.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader((line for line in stream), skipinitialspace=True))
    keys = {key.strip(): key for key in rows[0]}
    burning = [row for row in rows if 100.0 <= float(row[keys["Time"]]) <= 1200.0]
    o2 = np.array([float(row[keys["O2-1"]]) for row in burning])
    co2 = np.array([float(row[keys["CO2-4"]]) for row in burning])
    bad = (o2 > 1.0) | (co2 > 1.0)
    o2[bad], co2[bad] = math.nan, math.nan
    found = mb.tie(co2 * 1e6, o2 * 1e6)
    assert found.ratio == pytest.approx(7.0 / 11.0, rel=0.12)
    assert found.low <= found.ratio <= found.high
    assert mb.LEAST_RATIO <= found.ratio <= mb.MOST_RATIO


def test_tie_withstands_bad_readings() -> None:
    """Tie withstands bad readings."""
    # Sen (1968): the estimate of the slope stands up to 29 % of wild readings.
    rise = np.linspace(0.0, 4000.0, 60)
    o2 = 209_470.0 - rise / 0.7
    rise[::7] = 90_000.0
    assert mb.tie(rise, o2).ratio == pytest.approx(0.7, abs=0.1)


@pytest.mark.parametrize(
    ("co2", "o2", "word"),
    [
        (30_000.0, 42_000.0, mb.TIED),  # 0.71: petrol
        (50_000.0, 10_470.0, mb.DISPLACED),  # a fifth: carbon dioxide let in
        (0.0, 20_000.0, mb.BROKEN),  # oxygen falls and nothing was burnt
        (30_000.0, -20_000.0, mb.BROKEN),
        (500.0, 600.0, mb.CANNOT_TELL),  # lost in the doubt of the cell
        (0.0, 0.0, mb.CANNOT_TELL),
    ],
)
def test_words_of_the_balance(co2: float, o2: float, word: str) -> None:
    """Words of the balance."""
    found = mb.balance(co2, o2, co2_doubt_ppm=30.0 + 0.05 * abs(co2), o2_doubt_ppm=1000.0)
    assert found.word == word
    assert f"{co2:+.0f} ppm" in found.text


@settings(max_examples=40, deadline=None)
@given(rise=st.floats(0.0, 2000.0), fall=st.floats(-900.0, 900.0))
def test_small_changes_are_never_tied(rise: float, fall: float) -> None:
    """Small changes are never tied."""
    # A rise of a few hundred ppm moves oxygen by less than a cell can tell.
    found = mb.balance(rise, fall, co2_doubt_ppm=50.0, o2_doubt_ppm=1000.0)
    assert found.word != mb.TIED
    assert found.ratio is None


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(value: float) -> None:
    """What is no number is refused."""
    with pytest.raises(RangeError, match="finite number"):
        mb.balance(value, 0.0, co2_doubt_ppm=1.0, o2_doubt_ppm=1.0)
    with pytest.raises(RangeError, match="above 0"):
        mb.balance(0.0, 0.0, co2_doubt_ppm=1.0, o2_doubt_ppm=value)
    with pytest.raises(RangeError, match="allowed is 0"):
        mb.o2_fall_ppm(value, 0.8)
    with pytest.raises(RangeError, match="hydrogen per carbon"):
        mb.ratio_of_fuel(value)
    with pytest.raises(RangeError, match="finite number"):
        mb.dilution_fraction(value, 0.0, 1.0)
    with pytest.raises(RangeError, match="rise of the gas"):
        mb.displaced_o2_ppm(value)


def test_other_refusals() -> None:
    """Other refusals."""
    with pytest.raises(RangeError, match="must lie between the two"):
        mb.dilution_fraction(5.0, 10.0, 100.0)
    with pytest.raises(RangeError, match=r"per oxygen down is 1\.2"):
        mb.o2_fall_ppm(100.0, 1.2)
    with pytest.raises(RangeError, match="at least 5 pairs"):
        mb.tie(np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    with pytest.raises(RangeError, match="oxygen that moves"):
        mb.tie(np.arange(10.0), np.zeros(10))
