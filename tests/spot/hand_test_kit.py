"""A context and a full outlet test that several tests go through; all of it invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Final

from lungwort.spot.devices import IndicatorKind, TubeKind, shipped_devices
from lungwort.spot.procedures import load_procedure
from lungwort.spot.run_model import Context, KnownLot, KnownThing, Run, Wearers
from lungwort.spot.runner import enter, start

BEGIN: Final = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)

OWN_TUBE: Final = TubeKind(
    "own-co",
    "CO",
    "co",
    "ppm",
    first_mark=5.0,
    last_mark=100.0,
    strokes=10.0,
    strokes_may_differ=True,
)

CONTEXT: Final = Context(
    outlet_id="outlet-a",
    outlet="hose 1",
    tester_id="person-a",
    tester="Idris Pellow",
    zone="Europe/London",
    persons=(
        KnownThing(id="person-a", name="Idris Pellow"),
        KnownThing(id="person-b", name="Wenna Harkle"),
    ),
    instruments=(KnownThing(id="instrument-a", name="logger A"),),
    lots=(
        KnownLot(
            id="lot-a",
            name="ind-1",
            kind="oil_indicator",
            device="banded-oil-indicator",
            expires=date(2026, 3, 2),
        ),
        KnownLot(id="lot-b", name="ind-old", kind="oil_indicator", expires=date(2026, 3, 1)),
        KnownLot(id="lot-c", name="co-1", kind="tube", analyte="co", device="own-co"),
        KnownLot(id="lot-d", name="oil-1", kind="tube", analyte="oil"),
        KnownLot(id="lot-e", name="odd-1", kind="tube"),
    ),
    wearers=(Wearers(name="hood", minimum_flow_l_min=170.0, lowest_pressure_bar_g=4.0),),
    indicators=tuple(one for one in shipped_devices() if isinstance(one, IndicatorKind)),
    tubes=(OWN_TUBE, *(one for one in shipped_devices() if isinstance(one, TubeKind))),
)

FULL: Final = (
    ("instrument", "logger a", 5),
    ("fresh-air-o2", "20.9", 60),
    ("line-pressure", "7", 5),
    ("connected", "yes", 60),
    ("on-air", "yes", 5),
    ("purging", "begin", 5),
    ("purging", "end", 60),
    ("indicator-lot", "ind-1", 5),
    ("seal", "intact", 5),
    ("indicator-flow", "as stated", 20),
    ("oil-sample", "begin", 5),
    ("oil-sample", "end", 300),
    ("rows", "nothing", 20),
    ("o2", "20.9", 5),
    ("co", "< 1", 5),
    ("co2", "430", 5),
    ("moisture", "-48", 5),
    ("liquid-water", "none", 20),
    ("second-person", "Wenna Harkle", 5),
    ("odour", "none", 20),
    ("drawing-pressure", "6.5", 60),
    ("drawing-flow", "180", 60),
    ("remarks", "-", 5),
)
"""Entries of a test without anything amiss, each with the seconds since the one before."""

SAYS: Final = (
    "oil=indicator: nothing seen",
    "o2=20.9 %",
    "co=< 1 ppm",
    "co2=430 ppm",
    "water=-48 °C atmospheric dew point",
    "liquid_water=none",
    "odour=none",
    "pressure=6.5 bar(g)",
    "flow=180 L/min",
)


def begun(procedure: str = "full-outlet-test", context: Context = CONTEXT) -> Run:
    """Begin a test."""
    return start(load_procedure(procedure), context, BEGIN)


def followed(
    run: Run, until: str = "", changed: dict[str, str] | None = None
) -> tuple[Run, datetime]:
    """Go through a full test up to an entry, with some entries other than usual."""
    now = BEGIN
    for name, given, seconds in FULL:
        if name == until:
            break
        now += timedelta(seconds=seconds)
        run = enter(run, name, (changed or {}).get(name, given), now)
    return run, now
