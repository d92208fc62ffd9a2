"""An invented yard with all that a full test names, and what a tablet sends of such a test."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from tests.spot.hand_test_kit import FULL

from lungwort.jobs._hand_test_clock import Stamp
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.hand_test_sync import Batch, Queued
from lungwort.jobs.opening import Where
from lungwort.register import model as r

if TYPE_CHECKING:
    from lungwort.register.workspace import Workspace

BEGIN: Final = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
WENNA: Final = "Wenna Harkle"
IDRIS: Final = "Idris Pellow"

PNG: Final = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c489"
    "0000000d49444154789c6360606060000000050001a5f645400000000049454e44ae426082"
)
"""A picture of one pixel, put together by hand from the chunks of W3C PNG, 11.2."""


def furnish(workspace: Workspace, now: datetime = BEGIN) -> r.Outlet:
    """Put a site, a supply, an outlet, an instrument, lots and a second person on record."""
    with workspace.register.change(who=WENNA, now=now) as change:
        change.add(r.Person(name=IDRIS, role="tests", competent_until=date(2030, 1, 31)))
        site = change.add(
            r.Site(
                name="slipway",
                title="Merrowgate Slipway (invented)",
                zone="Europe/London",
                limit_set="en12021-2014-airline",
            )
        )
        supply = change.add(
            r.Supply(
                site_id=site.id,
                name="yard",
                title="Yard compressor",
                kind="airline_compressor",
                oil_lubricated=True,
                lubricant="mineral oil",
            )
        )
        outlet = change.add(r.Outlet(supply_id=supply.id, name="hose-1"))
        change.add(
            r.WearerEquipment(
                outlet_id=outlet.id,
                name="hood",
                minimum_flow_l_min=Decimal(170),
                lowest_pressure_bar_g=Decimal(4),
            )
        )
        monitor = change.add(r.Instrument(name="logger A", bump_days=30))
        for kind in (r.CALIBRATION, r.BUMP_TEST):
            change.add(
                r.Calibration(
                    instrument_id=monitor.id,
                    time=now - timedelta(days=3),
                    kind=kind,
                    passed=True,
                    valid_until=date(2030, 12, 31) if kind == r.CALIBRATION else None,
                    by="Ondrey Metrology (invented)",
                )
            )
        for name, until in (("ind-1", date(2030, 12, 31)), ("ind-old", date(2026, 3, 1))):
            change.add(
                r.Lot(
                    name=name,
                    kind="oil_indicator",
                    device="banded-oil-indicator",
                    analyte="oil",
                    expires=until,
                    stock=9,
                )
            )
        change.add(r.Lot(name="co-1", kind="tube", analyte="co", expires=date(2030, 1, 1), stock=9))
    return outlet


def session(workspace: Workspace, now: datetime, by: str | None = IDRIS) -> Session:
    """Say where, when and by whom."""
    return Session(now, Where(workspace.folder), by)


def queued(
    until: str = "",
    *,
    begin: datetime = BEGIN,
    ahead: timedelta = timedelta(),
    prefix: str = "a",
    **changed: str,
) -> list[Queued]:
    """Give what a tablet queues while a full test is done, by a clock that is ahead by so much."""
    found = []
    now = begin
    for place, (name, given, seconds) in enumerate(FULL):
        if name == until:
            break
        now += timedelta(seconds=seconds)
        found.append(
            Queued(
                id=f"{prefix}{place}",
                place=place,
                doing="enter",
                stamp=Stamp(
                    time=now + ahead,
                    steady_s=(now - begin).total_seconds(),
                    steady_of="page",
                ),
                name=name,
                given=changed.get(name.replace("-", "_"), given),
            )
        )
    return found


def batch(
    listed: list[Queued],
    now: datetime,
    *,
    ahead: timedelta = timedelta(),
    offset: timedelta | None = None,
) -> Batch:
    """Put what a tablet sends into a batch."""
    return Batch(sent=now + ahead, queued=tuple(listed), offset=offset)


def as_json(one: Queued) -> dict[str, Any]:
    """Write one queued thing as a tablet sends it."""
    return {
        "id": one.id,
        "place": one.place,
        "doing": one.doing,
        "time": one.stamp.time.isoformat(),
        "steady_s": one.stamp.steady_s,
        "steady_of": one.stamp.steady_of,
        "name": one.name,
        "given": one.given,
        "reason": one.reason,
    }
