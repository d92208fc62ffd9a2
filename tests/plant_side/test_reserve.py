"""How long the reserve lasts: the sheet, times by hand, the ends, and what is refused."""

from __future__ import annotations

import math

import pytest
from attrs import evolve
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import PlantError, RangeError
from lungwort.plant.filling import FAST, SLOW, Heat
from lungwort.plant.reserve import (
    KEYS_TOP,
    Course,
    Escape,
    Receiver,
    Reserve,
    last,
    read_escape,
    read_receivers,
    read_reserves,
)
from lungwort.tomlfile import opened

SHEET = """
format = 1
[[receiver]]
name = "r1"
volume_l = 500
pressure_bar_g = 7.0
at = "plant"
[[reserve]]
name = "rescue pack"
cylinders = 4
volume_l = 50
pressure_bar_g = 200
lowest_inlet_bar_g = 10
outlet_bar_g = 6.5
at = "plant"
[escape]
minutes = 10
why = "two ladders"
"""
RECEIVER = Receiver(name="r1", volume_l=500.0, pressure_bar_g=7.0, at="plant")
PACK = Reserve(
    name="rescue pack",
    cylinders=4,
    volume_l=50.0,
    pressure_bar_g=200.0,
    lowest_inlet_bar_g=10.0,
    outlet_bar_g=6.5,
    at="plant",
)
DRAW_KG_S = 0.01
"""Very nearly 500 L/min of free air."""


def _read(text: str) -> tuple[tuple[Receiver, ...], tuple[Reserve, ...], Escape | None]:
    top = opened(text, "plant.toml", ("format", *KEYS_TOP), PlantError)
    read = read_receivers(top), read_reserves(top), read_escape(top)
    top.mistakes.raise_any()
    return read


def _last(
    *things: Receiver | Reserve,
    draw_kg_s: float = DRAW_KG_S,
    least_bar_g: float = 5.0,
    temperature_c: float = 20.0,
    heat: Heat = SLOW,
) -> Course:
    return last(
        [one for one in things if isinstance(one, Receiver)],
        [one for one in things if isinstance(one, Reserve)],
        draw_kg_s=draw_kg_s,
        least_bar_g=least_bar_g,
        temperature_c=temperature_c,
        heat=heat,
    )


# --- the sheet --------------------------------------------------------------------------------------


def test_the_sheet_is_read() -> None:
    """All keys come through; what opens by itself is not stated here."""
    assert _read(SHEET) == ((RECEIVER,), (PACK,), Escape(10.0, "two ladders"))
    (_, (pack,), _) = _read(
        SHEET.replace("outlet_bar_g = 6.5", "outlet_bar_g = 6.5\nopens_after_min = 2")
    )
    assert (pack.opens_after_min, pack.whole_volume_l) == (2.0, 200.0)


def test_an_empty_sheet_has_nothing() -> None:
    """No tables, no mistakes."""
    assert _read("format = 1\n") == ((), (), None)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("volume_l = 500\n", "", r"line \d+: \[\[receiver\]\] 'r1', key 'volume_l' is missing"),
        ("volume_l = 500", "volume_l = -3", "found -3, allowed is 0.1"),
        ("volume_l = 500", "volume_l = nan", "found nan, allowed is"),
        ("pressure_bar_g = 7.0", "pressure = 7.0", "key 'pressure': this key is not known"),
        ("cylinders = 4", "cylinders = 2.5", "found 2.5; give a whole number"),
        ("cylinders = 4", "cylinders = 0", "found 0, allowed is 1"),
        (
            "lowest_inlet_bar_g = 10",
            "lowest_inlet_bar_g = 5",
            "cannot hold more than what comes in",
        ),
        ("minutes = 10", "minutes = 0", "found 0, allowed is 1 to 1440 min"),
        ('name = "r1"', 'title = "r1"', "key 'name' is missing"),
        ("[escape]\nminutes = 10\nwhy", "[[escape]]\nminutes = 10\nwhy", "is one table"),
    ],
)
def test_mistakes_are_told_with_their_line(old: str, new: str, told: str) -> None:
    """One mistake each."""
    assert old in SHEET
    with pytest.raises(PlantError, match=told):
        _read(SHEET.replace(old, new))


# --- times by hand ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("heat", "power"), [(SLOW, 1.0), (FAST, 1 / 1.4)])
def test_a_receiver_by_hand(heat: Heat, power: float) -> None:
    """Ideal gas by hand: m = p V / (R T), R = 287.05 J/(kg K).

    Without heat what remains goes with the pressure to the 1/1.4 (Moran and Shapiro).
    """
    start, end = 8.01325e5, 6.01325e5
    whole = start * 0.5 / (287.05 * 293.15)
    expected_min = whole * (1.0 - (end / start) ** power) / DRAW_KG_S / 60.0

    found = _last(RECEIVER, heat=heat)

    assert found.lasts_min == pytest.approx(expected_min, rel=5e-3)
    assert found.pressures_bar_g[0] == pytest.approx(7.0)
    assert found.pressures_bar_g[-1] == pytest.approx(5.0, abs=1e-6)
    assert found.times_min[-1] == found.lasts_min


def test_cylinders_by_the_library() -> None:
    """CoolProp PropsSI: densities at 200 and 10 bar(g), 20 °C; the whole difference is used."""
    full, empty = (
        PropsSI("Dmass", "P", (bar + 1.01325) * 1e5, "T", 293.15, "Air") for bar in (200, 10)
    )
    expected_min = (full - empty) * 0.2 / DRAW_KG_S / 60.0

    found = _last(PACK)

    assert found.lasts_min == pytest.approx(expected_min, rel=1e-6)
    (feed,) = found.feeds
    assert feed.from_min == 0.0
    assert feed.to_min == pytest.approx(found.lasts_min)


def test_receiver_and_cylinders_add_up() -> None:
    """Conservation of mass: all that both can give is given, and the regulator holds in between."""
    alone, pack, both = _last(RECEIVER), _last(PACK), _last(RECEIVER, PACK)

    assert both.lasts_min == pytest.approx(alone.lasts_min + pack.lasts_min, rel=1e-9)
    held = [
        pressure
        for time, pressure in zip(both.times_min, both.pressures_bar_g, strict=True)
        if both.feeds[0].from_min is not None
        and both.feeds[0].to_min is not None
        and both.feeds[0].from_min <= time <= both.feeds[0].to_min
    ]
    assert held
    assert held == pytest.approx([6.5] * len(held), abs=1e-6)


def test_the_higher_regulator_comes_first() -> None:
    """Of two that open by themselves."""
    low = evolve(PACK, name="low", outlet_bar_g=5.5)

    found = _last(RECEIVER, low, PACK)

    assert [one.name for one in found.feeds] == ["rescue pack", "low"]
    assert found.feeds[0].to_min is not None
    assert found.feeds[1].from_min is not None
    assert found.feeds[1].from_min > found.feeds[0].to_min


# --- never too long -----------------------------------------------------------------------------------


def test_a_regulator_below_the_least_pressure_does_not_count() -> None:
    """What it holds is too little for the wearers."""
    found = _last(RECEIVER, PACK, least_bar_g=6.6)

    assert found.lasts_min == pytest.approx(_last(RECEIVER, least_bar_g=6.6).lasts_min)
    assert "holds 6.5 bar(g), less than" in found.feeds[0].why_not


def test_a_reserve_that_is_opened_too_late_does_not_count() -> None:
    """The receiver is down after about 2 min; at 1 min it still steps in, with nothing lost."""
    late, early = (evolve(PACK, opens_after_min=minutes) for minutes in (30.0, 1.0))

    found = _last(RECEIVER, late)

    assert found.lasts_min == pytest.approx(_last(RECEIVER).lasts_min)
    assert "only after 30 min" in found.feeds[0].why_not
    assert _last(RECEIVER, early).lasts_min == pytest.approx(_last(RECEIVER, PACK).lasts_min)
    assert _last(early).lasts_min == 0.0


def test_a_receiver_that_is_too_low_from_the_beginning_lasts_no_time() -> None:
    """Also with a reserve behind it, which would have to lift the pressure first."""
    found = _last(RECEIVER, evolve(PACK, outlet_bar_g=8.0), least_bar_g=7.5)

    assert found.lasts_min == 0.0
    assert found.feeds[0].why_not


def test_empty_cylinders_give_nothing() -> None:
    """Filled only to the lowest inlet pressure."""
    found = _last(RECEIVER, evolve(PACK, pressure_bar_g=10.0))

    assert found.lasts_min == pytest.approx(_last(RECEIVER).lasts_min)
    assert "lowest inlet" in found.feeds[0].why_not


@given(
    draw=st.floats(1e-4, 1.0),
    more=st.floats(1.01, 5.0),
    least=st.floats(0.0, 6.9),
    temperature=st.floats(-30.0, 70.0),
)
@settings(max_examples=25, deadline=None)
def test_directions(draw: float, more: float, least: float, temperature: float) -> None:
    """More drawn, more pressure needed, no heat, or warmer air when it was filled: never longer."""
    base = _last(RECEIVER, PACK, draw_kg_s=draw, least_bar_g=least, temperature_c=temperature)
    others = (
        _last(RECEIVER, PACK, draw_kg_s=draw * more, least_bar_g=least, temperature_c=temperature),
        _last(RECEIVER, PACK, draw_kg_s=draw, least_bar_g=least + 0.1, temperature_c=temperature),
        _last(RECEIVER, PACK, draw_kg_s=draw, least_bar_g=least, temperature_c=temperature + 10.0),
        _last(
            RECEIVER,
            PACK,
            draw_kg_s=draw,
            least_bar_g=least,
            temperature_c=temperature,
            heat=FAST,
        ),
    )
    for other in others:
        assert other.lasts_min <= base.lasts_min * (1 + 1e-9)
    assert list(base.times_min) == sorted(base.times_min)
    assert min(base.pressures_bar_g) >= least - 1e-6


def test_receivers_count_at_the_lowest_pressure() -> None:
    """Two of them, one higher: as one vessel at the lower pressure."""
    high = evolve(RECEIVER, name="r2", pressure_bar_g=9.0)
    as_one = evolve(RECEIVER, volume_l=1000.0)
    assert _last(RECEIVER, high).lasts_min == pytest.approx(_last(as_one).lasts_min)


@pytest.mark.parametrize("draw", [0.0, -1.0, math.nan, math.inf])
def test_a_draw_that_cannot_be(draw: float) -> None:
    """Nobody on the air gives no time."""
    with pytest.raises(PlantError, match="Say who is on the air"):
        _last(RECEIVER, draw_kg_s=draw)


def test_what_else_cannot_be() -> None:
    """Nothing that holds air, pressures and temperatures out of range."""
    with pytest.raises(PlantError, match=r"neither a \[\[receiver\]\] nor"):
        _last()
    for least in (-1.0, math.nan, 51.0):
        with pytest.raises(PlantError, match="least pressure of"):
            _last(RECEIVER, least_bar_g=least)
    with pytest.raises(PlantError, match="air temperature of 90"):
        _last(RECEIVER, temperature_c=90.0)
    with pytest.raises(RangeError, match="water volume: found nan"):
        _last(evolve(RECEIVER, volume_l=math.nan))
