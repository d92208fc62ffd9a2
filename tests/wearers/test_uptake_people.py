"""Wearers as sets of parameters."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lungwort.errors import ExposureError, RangeError
from lungwort.wearers import uptake_people as people
from lungwort.wearers.uptake import after
from lungwort.wearers.uptake_people import Surroundings, Wearer, barometric_mmhg, blood_ml, drawn


@pytest.mark.parametrize(
    ("altitude_m", "kpa"),
    [(0.0, 101.325), (1000.0, 89.876), (2000.0, 79.501), (3000.0, 70.121), (4000.0, 61.660)],
)
def test_standard_atmosphere(altitude_m: float, kpa: float) -> None:
    """ISO 2533:1975, table of pressures (by geopotential and geometric altitude within 0.05 %)."""
    assert barometric_mmhg(altitude_m) * 101.325 / 760 == pytest.approx(kpa, rel=5e-4)


def test_blood_volume() -> None:
    """The formula of the public source code by hand: 1.62 m, 60 kg, and 1.75 m, 75 kg."""
    assert blood_ml(1.62, 60.0, "female") == pytest.approx(
        356.1 * 4.251528 + 33.08 * 60 + 183.3, abs=1e-3
    )
    assert blood_ml(1.75, 75.0, "male") == pytest.approx(
        366.9 * 5.359375 + 32.19 * 75 + 604.1, abs=1e-3
    )


def test_latin_hypercube_is_one() -> None:
    """McKay et al. 1979: of n draws of a variable exactly one lies in each nth of the range."""
    found = people.latin_hypercube(50, 4)
    for column in np.floor(found * 50).T:
        assert sorted(column.tolist()) == list(range(50))
    np.testing.assert_array_equal(found, people.latin_hypercube(50, 4))
    assert abs(np.asarray(np.corrcoef(people.latin_hypercube(400, 2).T))[0, 1]) < 0.15


def test_latin_hypercube_is_as_even_as_scipy_makes_it() -> None:
    """scipy.stats.qmc: the centred discrepancy is that of a Latin hypercube, not of random numbers."""
    from scipy.stats import qmc

    ours = qmc.discrepancy(people.latin_hypercube(200, 8))
    theirs = qmc.discrepancy(qmc.LatinHypercube(8, rng=1).random(200))
    assert ours < 1.3 * theirs


def _band(work: str, ppm: float, minutes: float, wearer: Wearer | None = None) -> tuple[float, ...]:
    draws = drawn(wearer or Wearer(), Surroundings())
    found = after(draws.people[work], draws.start_percent, ppm, minutes)
    return tuple(float(one) for one in np.percentile(found, people.BAND))


# Published pairs (confirmed, secondary: Stewart 1975 for 200 ppm; Peterson and Stewart's 100 ppm for
# 8 h, sedentary, from memory): ppm, min, from, to [% COHb].
@pytest.mark.parametrize(
    ("ppm", "minutes", "low", "high"),
    [(200, 30, 3.0, 4.0), (200, 60, 5.0, 6.0), (200, 200.1, 12.0, 16.0), (100, 480, 11.0, 13.0)],
)
def test_band_reaches_what_was_published(
    ppm: float, minutes: float, low: float, high: float
) -> None:
    """The published range and the band of people at rest or light work overlap."""
    least, _, _ = _band("rest", ppm, minutes)
    _, _, most = _band("light", ppm, minutes)
    assert least < high
    assert most > low


def test_band_is_a_band() -> None:
    """Low, middle and high stand in this order, and heavier work lifts all three."""
    rest, heavy = _band("rest", 100, 60), _band("heavy", 100, 60)
    assert rest[0] < rest[1] < rest[2]
    assert all(one < other for one, other in zip(rest, heavy, strict=True))


def test_known_body_narrows_the_band() -> None:
    """Who gives height, weight and sex gets a narrower band; a small person takes up more."""
    wide = _band("moderate", 100, 60)
    small = _band("moderate", 100, 60, Wearer(height_m=1.55, weight_kg=50.0, sex="female"))
    tall = _band("moderate", 100, 60, Wearer(height_m=1.95, weight_kg=110.0, sex="male"))
    assert small[2] - small[0] < 1.2 * (wide[2] - wide[0])
    assert small[1] > tall[1]


def test_altitude_and_oxygen() -> None:
    """Over a shift more altitude leads to more, and more oxygen to less, in the blood."""

    def middle(surroundings: Surroundings) -> float:
        draws = drawn(Wearer(), surroundings)
        return float(np.median(after(draws.people["moderate"], draws.start_percent, 35.0, 480.0)))

    assert middle(Surroundings(altitude_m=1500.0)) > middle(Surroundings())
    assert middle(Surroundings(altitude_m=3000.0)) > middle(Surroundings(altitude_m=1500.0))
    assert middle(Surroundings(oxygen_percent=40.0)) < middle(Surroundings())


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"height_m": 175.0}, "height"),
        ({"weight_kg": math.nan}, "weight"),
        ({"start_percent": -1.0}, "at the beginning"),
    ],
)
def test_refuses_bodies(given: dict[str, float], said: str) -> None:
    """Bodies that cannot be are refused."""
    with pytest.raises(RangeError, match=said):
        Wearer(**given)  # type: ignore[arg-type]


def test_refuses_half_a_body() -> None:
    """The formula needs all three."""
    with pytest.raises(ExposureError, match="only together"):
        Wearer(height_m=1.8)
    with pytest.raises(ExposureError, match="'male' and 'female'"):
        Wearer(height_m=1.8, weight_kg=80.0, sex="m")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"altitude_m": 4001.0}, "altitude"),
        ({"altitude_m": math.inf}, "altitude"),
        ({"oxygen_percent": 14.9}, "oxygen"),
    ],
)
def test_refuses_surroundings(given: dict[str, float], said: str) -> None:
    """Altitudes and air in which the equation is no use are refused."""
    with pytest.raises(RangeError, match=said):
        Surroundings(**given)


def test_refuses_lack_of_oxygen_at_altitude() -> None:
    """Little oxygen at a great altitude leaves none in the capillaries: refused, not worked out."""
    with pytest.raises(RangeError, match="oxygen_mmhg"):
        drawn(Wearer(), Surroundings(altitude_m=4000.0, oxygen_percent=15.0))
    with pytest.raises(RangeError, match="draws"):
        drawn(Wearer(), Surroundings(), draws=3)
