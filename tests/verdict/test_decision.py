"""Decision rules against JCGM 106, ILAC-G8 and numeric integration."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from lungwort.errors import InputError
from lungwort.verdict.decision import (
    HAND_TEST,
    Uncertainty,
    acceptance_range,
    accepted,
    probability_of_conformity,
    uncertainties,
)

if TYPE_CHECKING:
    from pathlib import Path


# From the source. JCGM 106:2012 examples; inputs from memory, results computed and as printed in
# the text (0.92, 0.99, 0.66). The tolerance follows the printed digits of the computed value.
@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "expected"),
    [
        (-5.47, 0.05, None, -5.40, 0.9192),  # Zener diode, one-sided upper: Φ(1.40)
        (509.7, 8.6, 490.0, None, 0.9890),  # bursting pressure, one-sided lower: Φ(2.29)
        (13.6, 1.8, 12.5, 16.3, 0.6626),  # oil viscosity, two-sided
        # Shaped after the trade; computed with scipy 1.17.1.
        (4.2, 0.5, None, 5.0, 0.9452),
        (4.6, 0.25, None, 5.0, 0.9452),
        (20.2, 0.2, 20.0, 22.0, 0.8413),
    ],
)
def test_probability_of_conformity(
    value: float, u: float, lower: float | None, upper: float | None, expected: float
) -> None:
    """P = Φ((T_U - y)/u) - Φ((T_L - y)/u)."""
    assert probability_of_conformity(value, u, lower, upper) == pytest.approx(expected, abs=6e-5)


# From the source: JCGM 106:2012, 9.5.4, ball bearings, as worked in the notebook 'Risk - Ball
# Bearing' of the open library suncal (commit d44c2cc1): T_U = 2 µm, T_L = 0, gamma prior a = 4,
# scale 1/4, u_m = 0.25 µm. Printed: 4.238 % out without inspection; consumer's risk 0.8019 %
# without guard band; w = 0.3282 µm for 0.1 %. Confirmed.
@pytest.mark.parametrize(("guard", "risk"), [(0.0, 0.8019e-2), (0.3282, 0.1e-2)])
def test_ball_bearing_consumers_risk(guard: float, risk: float) -> None:
    """Accepted though outside, integrated over the prior with scipy."""
    prior = stats.gamma(a=4, scale=0.25)
    u = 0.25
    assert prior.sf(2.0) == pytest.approx(4.238e-2, abs=5e-6)
    _, highest = acceptance_range(None, 2.0, 2 * u, guard / (2 * u))
    assert highest == pytest.approx(2.0 - guard, abs=1e-12)

    def accepted_though_outside(true: float) -> float:
        return float(prior.pdf(true)) * probability_of_conformity(true, u, upper=highest)

    found, _ = integrate.quad(accepted_though_outside, 2.0, 6.0, epsabs=1e-10)
    # Printed to four figures of a percentage; the guard to four figures of a micrometre.
    assert found == pytest.approx(risk, rel=1e-3)


# From the source: ILAC-G8:09/2019, table of guard bands (w = r U, from memory) with the largest
# specific risk of a false acceptance: at y = A the risk is Φ(-2r).
@pytest.mark.parametrize(
    ("r", "most"), [(3.0, 1e-6), (1.5, 0.0016), (1.0, 0.025), (0.83, 0.05), (0.0, 0.5)]
)
def test_guard_bands_bound_the_risk(r: float, most: float) -> None:
    """On the acceptance limit the risk is the greatest."""
    _, highest = acceptance_range(None, 5.0, 1.0, r)
    assert accepted(highest, None, 5.0, 1.0, r)
    risk = 1 - probability_of_conformity(highest, 0.5, upper=5.0)
    assert risk <= most
    assert risk == pytest.approx(stats.norm.cdf(-2 * r), abs=1e-9)


# Worked by hand: with w = U, CO 4.2 ± 1.0 and 4.6 ± 0.5 ppm against 5, O2 20.2 ± 0.4 % against
# 20 to 22 lie in the guard band.
@pytest.mark.parametrize(
    ("value", "expanded", "lower", "upper", "ends"),
    [
        (4.2, 1.0, None, 5.0, (-math.inf, 4.0)),
        (4.6, 0.5, None, 5.0, (-math.inf, 4.5)),
        (20.2, 0.4, 20.0, 22.0, (20.4, 21.6)),
    ],
)
def test_guarded_acceptance(
    value: float,
    expanded: float,
    lower: float | None,
    upper: float | None,
    ends: tuple[float, float],
) -> None:
    """Inside the limit, outside the acceptance range."""
    assert acceptance_range(lower, upper, expanded, 1.0) == pytest.approx(ends)
    assert not accepted(value, lower, upper, expanded, 1.0)
    assert accepted(value, lower, upper, expanded, 0.0)
    assert accepted(ends[1], lower, upper, expanded, 1.0)


@given(
    value=st.floats(-50, 50),
    u=st.floats(0.01, 10),
    lower=st.floats(-20, 0),
    width=st.floats(0.1, 20),
)
@settings(deadline=None, max_examples=200)
def test_two_sides_against_scipy(value: float, u: float, lower: float, width: float) -> None:
    """The general reference library gives the same share of a normal spread."""
    upper = lower + width
    spread = stats.norm(value, u)
    expected = float(spread.cdf(upper) - spread.cdf(lower))
    assert probability_of_conformity(value, u, lower, upper) == pytest.approx(expected, abs=1e-12)
    assert probability_of_conformity(value, u) == 1.0


@pytest.mark.parametrize("u", [0.0, -1.0, math.nan, math.inf])
def test_no_probability_without_an_uncertainty(u: float) -> None:
    """Zero, negative and no number are refused."""
    with pytest.raises(InputError, match="must be a number greater than zero"):
        probability_of_conformity(1.0, u, upper=5.0)


def test_shipped_uncertainties_are_marked_as_assumptions() -> None:
    """Each shipped entry can be used and says that it is an assumption."""
    shipped = uncertainties()
    assert shipped.origin == "shipped assumptions"
    for entry in shipped.entries:
        assert "assumption" in entry.text
        assert entry.source.endswith(("no source", "from memory"))
    co = shipped.of("co", "volume_fraction")
    assert co is not None
    assert "1 ppm or 5 % of the reading" in co.text
    # Worked by hand: the greater of 1 ppm and 5 %.
    assert co.expanded(4.0, "ppm") == 1.0
    assert co.expanded(100.0, "ppm") == 5.0
    assert co.expanded(4.0, "%") == pytest.approx(0.2)
    dew = shipped.of("water", "pressure_dew_point")
    assert dew is not None
    assert dew.expanded(-40.0, "°C") == pytest.approx(2.0)
    assert "= 2 K," in dew.text
    tube = shipped.of("co", "volume_fraction", HAND_TEST)
    assert tube is not None
    assert tube.expanded(10.0, "ppm") == pytest.approx(3.0)
    # A share of degrees means nothing.
    assert tube.expanded(-50.0, "°C") == 0.0
    assert shipped.of("odour", "wording") is None


GOOD_ENTRY = """
[[uncertainty]]
analyte = "co"
sensor = "my cell"
quantity = "volume_fraction"
unit = "ppb"
absolute = 500
source = "certificate 12"
"""


def test_own_uncertainties(tmp_path: Path) -> None:
    """A user's file in the same form, with or without a byte order mark."""
    file = tmp_path / "own.toml"
    file.write_text(GOOD_ENTRY, encoding="utf-8-sig")
    own = uncertainties(file)
    assert own.origin == "own.toml"
    entry = own.of("co", "volume_fraction")
    assert isinstance(entry, Uncertainty)
    assert entry.expanded(1.0, "ppm") == pytest.approx(0.5)
    assert own.of("co2", "volume_fraction") is None


@pytest.mark.parametrize(
    ("change", "telling"),
    [
        ((GOOD_ENTRY, "uncertainty = "), "own.toml: is not TOML"),
        ((GOOD_ENTRY, ""), r"holds no \[\[uncertainty\]\] table"),
        ((GOOD_ENTRY, "uncertainty = [1]"), "number 1: is not a table"),
        ((GOOD_ENTRY, "uncertainty = 3"), r"holds no \[\[uncertainty\]\] table"),
        ((GOOD_ENTRY, "more = 1\n" + GOOD_ENTRY), "key 'more' is not known"),
        (('"co"', '"xo"'), "analyte 'xo' is not known"),
        (('analyte = "co"\n', ""), "'analyte' is missing"),
        (("source", "sauce"), "key 'sauce' is not known"),
        (('sensor = "my cell"', 'sensor = " "'), "'sensor' is ' '"),
        (('sensor = "my cell"', "sensor = 3"), "'sensor' is 3"),
        (('unit = "ppb"', 'unit = "furlong"'), "unit 'furlong' is not known"),
        (('unit = "ppb"', 'unit = "mg/m3"'), "not a unit of volume_fraction"),
        (('unit = "ppb"\n', ""), "'absolute' needs 'quantity' and 'unit'"),
        (('"volume_fraction"', '"volume"'), "quantity 'volume' is not known"),
        (("500", '"500"'), "Write a number"),
        (("500", "true"), "Write a number"),
        (("500", "-1"), "zero or more"),
        (("500", "nan"), "zero or more"),
        (("absolute = 500", ""), "gives no uncertainty"),
        (("absolute = 500", "absolute = 1\nrelative = 5"), "a share of the reading below 1"),
        (("sensor", 'used_for = "tube"\nsensor'), "used_for is 'tube'"),
    ],
)
def test_mistakes_in_own_uncertainties(
    tmp_path: Path, change: tuple[str, str], telling: str
) -> None:
    """Each mistake is named with its place."""
    file = tmp_path / "own.toml"
    file.write_text(GOOD_ENTRY.replace(*change), encoding="utf-8")
    with pytest.raises(InputError, match=telling):
        uncertainties(file)


def test_file_that_cannot_be_read(tmp_path: Path) -> None:
    """No file, or a file that is no text."""
    with pytest.raises(InputError, match=r"none\.toml: cannot be read"):
        uncertainties(tmp_path / "none.toml")
    file = tmp_path / "bytes.toml"
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match=r"bytes\.toml: cannot be read"):
        uncertainties(file)
