"""The generator's physics, against stoichiometry, analysis and other libraries."""

from __future__ import annotations

import gzip
import math
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lungwort.demo import layouts, signals
from lungwort.errors import RangeError

# From the source ---------------------------------------------------------------------------------


def test_the_random_stream_is_numpys_published_one() -> None:
    """First value of NumPy's own reference set for PCG64.

    numpy/random/tests/data/pcg64-testset-1.csv (NumPy 1.17 and later), seed 0xdeadbeaf, row 0:
    0x60d24054e17a0698 (from memory).
    """
    assert int(np.random.PCG64(0xDEADBEAF).random_raw()) == 0x60D24054E17A0698


def test_dry_air_oxygen() -> None:
    """U.S. Standard Atmosphere 1976, table 3: O2 fraction 0.209476 (from memory)."""
    assert pytest.approx(20.9476, abs=0.001) == signals.DRY_AIR_O2


# Worked by hand ----------------------------------------------------------------------------------


def test_five_ppm_of_carbon_monoxide_brings_60_ppm_of_carbon_dioxide() -> None:
    """By hand: exhaust with 1 % CO and 12 % CO2, 5 ppm CO, so 5e-4 of exhaust.

    CO2 rises by 5e-4 x (120 000 - 420) = 59.8 ppm. Oxygen falls by 60 / 0.684 = 88 ppm, with 0.684
    the ratio 1 / (1 + h/4) of CO2 made to O2 used at h = 1.85; the CO and the change in volume,
    which that leaves out, are worth 1 ppm or so.
    """
    exhaust = signals.dry_exhaust(1.0, 12.0)
    share = np.array([5e-4])
    co2 = signals.mix(np.array([420.0]), exhaust.co2_ppm, share)[0] - 420.0
    o2 = signals.mix(np.array([signals.DRY_AIR_O2]), exhaust.o2_percent, share)[0]
    assert exhaust.co_ppm * 5e-4 == pytest.approx(5.0)
    assert co2 == pytest.approx(59.8, abs=0.05)
    assert (signals.DRY_AIR_O2 - o2) * 1e4 == pytest.approx(88.0, abs=1.5)


@settings(deadline=None, max_examples=60)
@given(
    co=st.floats(0.0, 5.0),
    co2=st.floats(0.5, 12.0),
    h=st.floats(0.0, 2.2),
)
def test_exhaust_keeps_every_atom(co: float, co2: float, h: float) -> None:
    """Count atoms backwards: the fuel's hydrogen must come out of the oxygen that is missing."""
    assume(co2 * (1 + h / 4) + co * (0.5 + h / 4) < 18.0)
    exhaust = signals.dry_exhaust(co, co2, h)
    inert = 100.0 - co - co2 - exhaust.o2_percent
    o2_in = inert * signals.DRY_AIR_O2 / (100.0 - signals.DRY_AIR_O2)
    water = 2.0 * (o2_in - exhaust.o2_percent - co2 - co / 2.0)
    assert 2.0 * water / (co + co2) == pytest.approx(h, abs=1e-9)


def test_an_exhaust_that_air_cannot_feed_is_refused() -> None:
    """20 % of CO2 takes 29 % of oxygen, more than air holds."""
    with pytest.raises(RangeError, match="more oxygen than air holds"):
        signals.dry_exhaust(1.0, 20.0)


@settings(deadline=None, max_examples=50)
@given(
    ambient=st.floats(0.0, 1e3),
    source=st.floats(0.0, 1e6),
    share=st.floats(0.0, 1.0),
)
def test_a_mixture_lies_between_its_parts_and_keeps_the_mass(
    ambient: float, source: float, share: float
) -> None:
    """What is in the mixture came from its two parts."""
    got = float(signals.mix(np.array([ambient]), source, np.array([share]))[0])
    assert got == pytest.approx((1.0 - share) * ambient + share * source, rel=1e-9, abs=1e-9)
    slack = 1e-9 * (ambient + source)
    assert min(ambient, source) - slack <= got <= max(ambient, source) + slack


def test_a_sensor_follows_a_step_as_the_first_order_equation_says() -> None:
    """Against the exact answer 1 - exp(-t/tau), with steps of a thousandth of tau."""
    step = np.ones(5_000)
    step[0] = 0.0
    shown = signals.lag(step, 0.03, 30.0)
    exact = 1.0 - np.exp(-0.03 * np.arange(5_000) / 30.0)
    assert np.max(np.abs(shown - exact)) < 5e-4
    assert shown[1_000] == pytest.approx(1.0 - math.exp(-1.0), abs=5e-4)


def test_the_wave_is_nearly_a_sine() -> None:
    """The parabola that meets a sine at its zeros and peaks is at most 0.056 away from it."""
    time = np.linspace(0.0, 3.0 * 86_400.0, 10_001)
    sine = np.cos(2.0 * np.pi * (time - 18_000.0) / 86_400.0)
    away = np.abs(signals.wave(time, 86_400.0, peak_at_s=18_000.0) - sine)
    assert np.max(away) == pytest.approx(0.056, abs=0.001)


def test_noise_has_its_spread_and_its_bounds() -> None:
    """Four uniform deviates have the variance 4/12, and 200 000 values show it to 1 %."""
    made = signals.noise(signals.stream(1, 2, 3), 200_000, 2.0)
    assert np.std(made) == pytest.approx(2.0, rel=0.01)
    assert np.mean(made) == pytest.approx(0.0, abs=0.02)
    assert np.max(np.abs(made)) <= 2.0 * signals.NOISE_REACH


def test_streams_of_two_channels_are_not_alike() -> None:
    """No correlation beyond chance (three in a hundred is three standard errors of 10 000)."""
    one = signals.noise(signals.stream(1, 2, 3), 10_000, 1.0)
    other = signals.noise(signals.stream(1, 2, 4), 10_000, 1.0)
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.03


def test_line_pressure_loads_and_unloads() -> None:
    """Up in the load time, down in the rest, never beyond either end."""
    time = np.arange(0.0, 520.0, 5.0)
    line = signals.line_pressure(time, low_bar_g=6.6, high_bar_g=7.2, load_s=100.0, unload_s=160.0)
    assert line[0] == pytest.approx(6.6)
    assert line[20] == pytest.approx(7.2)
    assert line[52] == pytest.approx(6.6)
    assert line[36] == pytest.approx(6.9)
    assert np.min(line) == pytest.approx(6.6)
    assert np.max(line) == pytest.approx(7.2)


# Edge cases --------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=80)
@given(count=st.integers(-(10**9), 10**9), decimals=st.integers(0, 4), sign=st.sampled_from(".,"))
def test_numbers_are_written_exactly(count: int, decimals: int, sign: str) -> None:
    """Against the decimal module."""
    (text,) = signals.as_text(np.array([count]), decimals, sign)
    assert Decimal(text.replace(",", ".")) == Decimal(count).scaleb(-decimals)
    assert len(text.partition(sign)[2]) == decimals


def test_rounding_and_floor() -> None:
    """Half goes up, and a display that shows nothing below 0 shows 0."""
    got = signals.quantise(np.array([-0.3, 0.04, 0.05, 12.349]), 1, floor=0.0)
    assert got.tolist() == [0, 0, 1, 123]


@settings(deadline=None, max_examples=20)
@given(content=st.binary(max_size=300))
def test_stored_gzip_opens(content: bytes) -> None:
    """Against the standard library's reader."""
    assert gzip.decompress(layouts.gzip_stored(content)) == content


@pytest.mark.parametrize("size", [65_534, 65_535, 65_536, 200_000])
def test_stored_gzip_opens_beyond_one_block(size: int) -> None:
    """A stored block holds 65 535 bytes at most."""
    content = bytes(range(256)) * (size // 256 + 1)
    assert gzip.decompress(layouts.gzip_stored(content[:size])) == content[:size]


@pytest.mark.parametrize("hour", [0, 1, 11, 12, 13, 23])
def test_twelve_hour_clock_against_strptime(hour: int) -> None:
    """Midnight is 12 AM and noon is 12 PM."""
    time = datetime(2026, 3, 4, hour, 5, 9, tzinfo=UTC)
    text = layouts.clock_12(time)
    hours, rest, half = int(text[:2]), text[2:8], text[-2:]
    assert (hours % 12 + (12 if half == "PM" else 0), rest) == (hour, ":05:09")


@pytest.mark.parametrize("minutes", [0, 60, -210, 345])
def test_times_with_offset_against_isoformat(minutes: int) -> None:
    """Against the standard library."""
    time = datetime(2026, 5, 20, 6, 0, 30, tzinfo=timezone(timedelta(minutes=minutes)))
    assert layouts.with_offset(time) == time.isoformat()
