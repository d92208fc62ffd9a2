"""Whether the cartridge in use lasts until its next planned change."""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.plant.running import STOOD_STILL
from lungwort.plant.treatment import CO_CATALYST, REFRIGERATION
from lungwort.plant.treatment_moisture import ABOVE, NONE, OPEN, RISING, TOO_FEW

if TYPE_CHECKING:
    from lungwort.plant.running import Running
    from lungwort.plant.treatment_life import StageLife
    from lungwort.plant.treatment_moisture import Moisture
    from lungwort.plant.water_load import Span

HOLDS: Final = "holds"
FAILS: Final = "fails"
NOT_PROVEN: Final = "not_proven"

LASTS: Final = "lasts"
DUE_SOON: Final = "due soon"
OVERDUE: Final = "overdue"
WET: Final = "wet"
UNKNOWN: Final = "not proven"

SOON_DAYS: Final = 14
"""Days ahead from which a change is called due soon [d]; own choice."""

_DAY: Final = timedelta(days=1)
_FARTHEST_DAYS: Final = 36_500.0


@frozen
class ChangeDates:
    """When a cartridge is used up.

    Parameters
    ----------
    earliest : date
        Through which day it lasts at least, in the site's zone.
    likely, latest : date, optional
        The likeliest day, and the latest; None where the hours may never be used up, or lie more
        than 100 years ahead.
    """

    earliest: date
    likely: date | None
    latest: date | None


@frozen
class Planned:
    """The change that is planned on record.

    Parameters
    ----------
    day : date, optional
        Last day of use by the plan; None where the plan has none, or cannot tell.
    why : str
        How it came about, as sentences.
    told : bool
        Whether the plan could tell; False where it has an interval but not the hours for it.
    """

    day: date | None = None
    why: str = ""
    told: bool = True


@frozen(kw_only=True)
class Facts:
    """All that is known of the cartridge in use.

    Parameters
    ----------
    life : StageLife
        How long it lasts.
    running : Running, optional
        How long it was used; None where no change of it is on record.
    planned : Planned
        The next planned change.
    moisture : tuple of Moisture
        What was measured behind it since its change, an outlet each.
    upstream : tuple of Decided
        What was decided of the stages before it that dry the air.
    now : datetime
        The moment, with a time zone.
    zone : tzinfo
        Time zone of the site.
    past : StageLife, optional
        How long it would last in the air that it had up to now, where ``life`` is that of the time
        ahead; None where they are the same.
    """

    life: StageLife
    running: Running | None
    planned: Planned
    moisture: tuple[Moisture, ...] = ()
    upstream: tuple[Decided, ...] = ()
    now: datetime
    zone: tzinfo
    past: StageLife | None = None


@frozen
class Decided:
    """What it comes to.

    Parameters
    ----------
    stage : str
        Which stage.
    state : str
        ``holds``, ``fails`` or ``not_proven``.
    word : str
        ``lasts``, ``due soon``, ``overdue``, ``wet`` or ``not proven``.
    reasons : tuple of str
        Why, the weightiest first.
    change : ChangeDates, optional
        When its life is used up; None where that cannot be told.
    change_by : date, optional
        Last day of use: the earlier of its life and the plan; None where neither is known.
    used : Span, optional
        Share of its life that is used now [1].
    """

    stage: str
    state: str
    word: str
    reasons: tuple[str, ...]
    change: ChangeDates | None = None
    change_by: date | None = None
    used: Span | None = None


def change_dates(life_h: Span, running: Running, zone: tzinfo) -> ChangeDates:
    """Tell when a life is used up.

    Parameters
    ----------
    life_h : Span
        Hours of running that it lasts [h].
    running : Running
        Hours used and hours a day.
    zone : tzinfo
        Time zone in which days are counted.

    Returns
    -------
    ChangeDates
        The earliest: the shortest life at the most hours a day.
    """
    used, rate = running.used_h, running.rate_h_d
    earliest = _day(running.read, life_h.low - used.high, rate.high, zone)
    # Where hours of another season are counted, the way back may lead to before it was fitted.
    fitted = running.since.astimezone(zone).date()
    likely = _not_before(fitted, _day(running.read, life_h.likely - used.likely, rate.likely, zone))
    latest = _not_before(fitted, _day(running.read, life_h.high - used.low, rate.low, zone))
    first = date.max if earliest is None else max(earliest, fitted)
    # A life that was over before the newest reading is gone back to, and at more hours a day that
    # leads less far back: the ends are put in order, to the safe side.
    likely = min((one for one in (likely, latest) if one is not None), default=None)
    return ChangeDates(earliest=min(first, likely or date.max), likely=likely, latest=latest)


def _not_before(fitted: date, day: date | None) -> date | None:
    return None if day is None else max(day, fitted)


def used_share(life_h: Span, used_h: Span) -> Span:
    """Give the share of a life that hours use up.

    Parameters
    ----------
    life_h, used_h : Span
        The life, and the hours used [h].

    Returns
    -------
    Span
        The share [1]; above 1 where it is used up.
    """
    from lungwort.plant.water_load import Span  # noqa: PLC0415 - beside its use

    return Span(
        _share(used_h.low, life_h.high),
        _share(used_h.likely, life_h.likely),
        _share(used_h.high, life_h.low),
    )


def counted(facts: Facts) -> Running | None:
    """Count the hours used so far as hours of the life ahead.

    An hour in the warm season uses up more of a cartridge than one in the cold. Where the life
    ahead is that of another season, the share used so far is kept, not the hours.

    Parameters
    ----------
    facts : Facts
        What is known of the cartridge.

    Returns
    -------
    Running, optional
        Hours of the life ahead that are used; None where no change is on record.
    """
    from lungwort.plant.running import Running  # noqa: PLC0415 - beside its use
    from lungwort.plant.water_load import Span  # noqa: PLC0415 - beside its use

    running, ahead = facts.running, facts.life.life_h
    before = None if facts.past is None else facts.past.life_h
    if running is None or before is None or ahead is None:
        return running
    used = running.used_by(facts.now)
    low, likely, high = sorted(
        (
            used.low * _times(ahead.high, before.high),
            used.likely * _times(ahead.likely, before.likely),
            used.high * max(_times(ahead.low, before.low), 1.0),
        )
    )
    return Running(
        running.since,
        max(running.read, facts.now),
        Span(low, likely, high),
        running.rate_h_d,
        running.readings,
        running.doubts,
    )


def decide(facts: Facts) -> Decided:
    """Tell whether the cartridge in use lasts until its next planned change.

    Parameters
    ----------
    facts : Facts
        All that is known of it.

    Returns
    -------
    Decided
        ``fails`` where the shortest life is used up, the planned change is past, or the air behind
        it is too wet; ``holds`` where the shortest life reaches to the planned change and nothing
        is in doubt; else ``not_proven``.
    """
    today = facts.now.astimezone(facts.zone).date()
    life, running = facts.life.life_h, counted(facts)
    change = used = None
    if life is not None and running is not None:
        change = change_dates(life, running, facts.zone)
        used = used_share(life, running.used_by(facts.now))
    days = [facts.planned.day, None if change is None else change.earliest]
    by = min((one for one in days if one is not None), default=None)
    gone = (used is not None and used.high >= 1) or (change is not None and change.earliest < today)
    failed = _failures(facts, change, today, gone=gone)
    doubts = _all_doubts(facts, change, gone=gone)
    name = facts.life.stage.name
    if failed:
        word, reasons = failed
        return Decided(name, FAILS, word, (*reasons, *doubts), change, by, used)
    soon = by is not None and 0 <= (by - today).days <= SOON_DAYS
    if doubts:
        word = DUE_SOON if soon and not gone else UNKNOWN
        return Decided(name, NOT_PROVEN, word, doubts, change, by, used)
    lasts = "Its life has no end"
    if change is not None and change.earliest < date.max:
        lasts = f"It lasts through {change.earliest} at least"
    reasons = (f"{lasts}; the planned change is on {facts.planned.day}.", *_meter_doubts(facts))
    if facts.life.stage.dries and not any(one.readings for one in facts.moisture):
        reasons += (
            "No water was measured behind it since its change: this rests on figures alone. Measure it.",
        )
    return Decided(name, HOLDS, DUE_SOON if soon else LASTS, reasons, change, by, used)


def _failures(
    facts: Facts, change: ChangeDates | None, today: date, *, gone: bool
) -> tuple[str, tuple[str, ...]] | None:
    wet = tuple(
        f"At {one.outlet} the newest reading of {one.newest.time.astimezone(facts.zone):%Y-%m-%d} "
        f"is up to {one.newest.high_mg_m3:.3g} mg/m3 of water, above the {one.limit_mg_m3:.3g} "
        "mg/m3 allowed. What is measured counts more than what is calculated: withdraw the supply "
        "and change the cartridge."
        for one in facts.moisture
        if one.state == ABOVE and one.newest is not None
    )
    planned = facts.planned.day
    late = []
    # A life that rests on an assumed figure shows nothing either way.
    if change is not None and gone and not facts.life.doubts:
        late.append(
            f"The shortest life was used up on {change.earliest}; the cartridge may let water "
            "through already. Change it."
        )
    if planned is not None and planned < today:
        late.append(f"Its planned change was due by {planned}. {facts.planned.why}".rstrip())
    upstream = tuple(
        f"The stage {one.stage!r} before it fails, and wet air stops a CO catalyst."
        for one in facts.upstream
        if one.state == FAILS and facts.life.stage.kind == CO_CATALYST
    )
    if wet:
        return WET, (*wet, *late, *upstream)
    if late:
        return OVERDUE, (*late, *upstream)
    return (WET, upstream) if upstream else None


def _all_doubts(facts: Facts, change: ChangeDates | None, *, gone: bool) -> tuple[str, ...]:
    told = [*_moisture_doubts(facts), *facts.life.doubts, *_catalyst_doubts(facts)]
    if gone and change is not None and facts.life.doubts:
        told.append(
            f"With what had to be assumed, the shortest life was used up on {change.earliest}."
        )
    if facts.life.stage.kind == REFRIGERATION:
        told.append(
            "A refrigeration drier uses nothing up: only its dew point, measured behind it, shows "
            "that it works."
        )
    if facts.running is None:
        told.append(
            "No change of its cartridge is on record, so nobody knows how long it was used. "
            "Record it with 'lungwort supply cartridge'."
        )
    planned = facts.planned
    if not planned.told:
        told.append(planned.why)
    elif planned.day is None:
        told.append(
            "No planned change is on record to hold its life against. Give the stage an interval, "
            "or name the day until which it shall last."
        )
    elif change is not None and change.earliest < planned.day:
        told.append(
            f"At the least it lasts through {change.earliest} only, before the planned change on "
            f"{planned.day}. Change it by {change.earliest}."
        )
    told += [text for text in _meter_doubts(facts) if STOOD_STILL in text]
    if told:
        told += _meter_doubts(facts)
    return tuple(dict.fromkeys(told))


def _meter_doubts(facts: Facts) -> list[str]:
    """Tell where the hour meter does not tell; the hours are then counted on the safe side."""
    if facts.running is None:
        return []
    return [f"{one[:1].upper()}{one[1:]}." for one in facts.running.doubts]


def _moisture_doubts(facts: Facts) -> list[str]:
    told = []
    for one in facts.moisture:
        if one.state == OPEN:
            told.append(
                f"The newest reading of water at {one.outlet} went beyond its scale, and may have "
                "been higher than it says. Measure again."
            )
        if one.limit_mg_m3 is None and one.newest is not None and facts.life.stage.dries:
            told.append(
                f"Water was measured at {one.outlet}, {one.newest.high_mg_m3:.3g} mg/m3 at the newest, "
                "and nobody said how much is allowed. Give highest_outlet_water_mg_m3 of the stage."
            )
        if one.state != RISING or one.slope_mg_m3_d is None:
            continue
        text = (
            f"The measured water at {one.outlet} creeps upward by {one.slope_mg_m3_d.likely:.2g} "
            f"mg/m3 a day (95 %: {one.slope_mg_m3_d.low:.2g} to {one.slope_mg_m3_d.high:.2g}), "
            "before the calculated life is over. What is measured counts more"
        )
        if one.reaches is not None:
            text += (
                f": {one.limit_mg_m3:.3g} mg/m3 may be reached on "
                f"{one.reaches.astimezone(facts.zone):%Y-%m-%d}"
            )
        told.append(f"{text}.")
    return told


def _catalyst_doubts(facts: Facts) -> list[str]:
    """Tell what is doubted of the drying before a CO catalyst, on which its life hangs."""
    if facts.life.stage.kind != CO_CATALYST:
        return []
    told = []
    if not facts.upstream:
        told.append(
            "No stage that dries the air stands before the CO catalyst in the sheet, and wet air "
            "stops it."
        )
    told += [
        f"It is not proven that the stage {one.stage!r} before it keeps the air dry, and wet air "
        "stops a CO catalyst."
        for one in facts.upstream
        if one.state == NOT_PROVEN
    ]
    if all(one.state == NONE for one in facts.moisture):
        told.append(
            "No moisture measured since its change is on record. A CO catalyst stops working when "
            "wet: measure the moisture behind it."
        )
    if any(one.limit_mg_m3 is None for one in facts.moisture) or not facts.moisture:
        told.append(
            "No highest water content is given for the CO catalyst. Give "
            f"highest_outlet_water_mg_m3 of {facts.life.stage.name!r} as its maker states it."
        )
    told += [
        f"At {one.outlet} there are too few readings of moisture ({len(one.readings)}) to tell "
        "whether it creeps upward."
        for one in facts.moisture
        if one.state == TOO_FEW
    ]
    return told


def _day(read: datetime, hours_left: float, rate_h_d: float, zone: tzinfo) -> date | None:
    if math.isinf(hours_left) or (rate_h_d <= 0 and hours_left > 0):
        return None
    days = hours_left / rate_h_d if rate_h_d > 0 else 0.0
    if days > _FARTHEST_DAYS:
        return None
    whole = math.floor(days)
    day = read.astimezone(zone).date()
    return day + timedelta(days=max(whole, 1 - day.toordinal()))


def _times(ahead_h: float, before_h: float) -> float:
    """Give how many hours of the life ahead an hour of the life before is worth."""
    if math.isinf(ahead_h) and math.isinf(before_h):
        return 1.0
    if math.isinf(before_h):
        return 0.0
    # A life ahead without end would still have begun with this share used up: counted as it was.
    return 1.0 if math.isinf(ahead_h) or before_h <= 0 else ahead_h / before_h


def _share(used_h: float, life_h: float) -> float:
    return used_h / life_h if life_h > 0 else math.inf
