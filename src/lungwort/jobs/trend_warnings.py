"""Early warning: which outlets head for a limit, from what is stored of the newest months.

The buckets of an hour that are kept anyway are looked at, and not the readings: they hold the highest
and the lowest of each hour, so a screen that is always on costs next to nothing.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import LungwortError
from lungwort.insight.statistics import LEAST_READINGS, Day
from lungwort.insight.trend import Bound, Trend, assess
from lungwort.jobs._readings_store import LEVELS_S, Holding, Shelf, _Kept, holding
from lungwort.jobs.trend_ground import bounds_of

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    import polars as pl

    from lungwort.limits.model import Conditions, LimitSet
    from lungwort.logs.model import Channel
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Outlet, Supply
    from lungwort.register.workspace import Workspace

BACK: Final = timedelta(days=120)
"""How far back of the newest reading it is looked."""
FRESH: Final = timedelta(days=14)
"""A newest reading older than this tells nothing of now: no warning rests on it."""
_HOUR_S: Final = LEVELS_S[-1]
_HOURS: Final = 24.0
_MOST_KEPT: Final = 200


@frozen
class Warned:
    """An outlet that heads for a limit, or that could not be looked at.

    Parameters
    ----------
    outlet_id, outlet, supply_id : str
        The outlet and its supply.
    text : str
        What is to be told.
    why : tuple of str
        The reasons.
    """

    outlet_id: str
    outlet: str
    supply_id: str
    text: str
    why: tuple[str, ...]


_KEPT: Final[_Kept[tuple[object, ...], tuple[tuple[str, tuple[str, ...]], ...]]] = _Kept(_MOST_KEPT)


def warnings(workspace: Workspace, snapshot: Snapshot) -> tuple[Warned, ...]:
    """Tell which outlets in use head for a limit.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    snapshot : Snapshot
        The record.

    Returns
    -------
    tuple of Warned
        One for each outlet where a trend of the highest (or lowest) reading of the days reaches a
        limit no later than the days reach back, or that could not be looked at.
    """
    made: list[Warned] = []
    supplies = {one.id: one for one in snapshot.supplies if one.in_use}
    for outlet in snapshot.outlets:
        supply = supplies.get(outlet.supply_id)
        if supply is None or not outlet.in_use:
            continue
        try:
            found = _of(workspace, snapshot, supply, outlet)
        except LungwortError as error:
            found = (("Trends could not be looked for.", (str(error),)),)
        if found:
            more = tuple(line for text, why in found[1:] for line in (text, *why))
            made.append(
                Warned(outlet.id, outlet.name, supply.id, found[0][0], (*found[0][1], *more))
            )
    return tuple(made)


def _of(
    workspace: Workspace, snapshot: Snapshot, supply: Supply, outlet: Outlet
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    from lungwort.jobs.judging import limits_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.limits.model import Conditions  # noqa: PLC0415 - the same

    imports = [one for one in snapshot.log_imports if one.outlet_id == outlet.id]
    newest = max((one.end for one in imports if one.end is not None), default=None)
    if newest is None or snapshot.now - newest > FRESH or not snapshot.limit_set_source(supply.id):
        # Without a limit set the state of the supply says so already.
        return ()
    begin = newest - BACK
    imports = [one for one in imports if one.end is not None and one.end >= begin]
    held = holding(workspace, outlet.id, imports)
    limits = limits_of(snapshot, supply)
    conditions = Conditions(
        None if supply.pressure_bar_g is None else float(supply.pressure_bar_g),
        None if supply.lowest_temperature_c is None else float(supply.lowest_temperature_c),
    )
    zone = snapshot.zone(supply.id)
    months = tuple(month for month in held.months if month.name >= f"{begin:%Y-%m}")
    key = (
        str(workspace.folder),
        outlet.id,
        tuple(month.key for month in months),
        limits.digest,
        conditions,
        zone.key,
    )
    known = _KEPT.get(key)
    if known is None:
        shelf = Shelf(workspace, outlet.id)
        frames = [shelf.buckets(month, _HOUR_S) for month in months]
        known = tuple(_said(frames, held, limits, conditions, zone, begin))
        _KEPT.put(key, known)
    return known


def _said(
    frames: list[pl.DataFrame],
    held: Holding,
    limits: LimitSet,
    conditions: Conditions,
    zone: ZoneInfo,
    begin: datetime,
) -> list[tuple[str, tuple[str, ...]]]:
    from lungwort.jobs.trend_ground import Watched  # noqa: PLC0415 - the same
    from lungwort.jobs.trend_result import warning_words  # noqa: PLC0415 - the same
    from lungwort.jobs.trend_tables import Seen  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.text import analyte_name  # noqa: PLC0415 - the same

    made = []
    for channel in held.channels:
        bounds, _ = bounds_of(limits, conditions, channel)
        if not bounds:
            continue
        days = days_of_buckets(frames, channel, zone, begin)
        for bound in bounds:
            found = _trend(days, bound)
            seen = Seen(analyte_name(channel.analyte), Watched(channel, days, bounds), found)
            told = warning_words(seen)
            if told:
                made.append((told, found.reasons))
    return made


def _trend(days: tuple[Day, ...], bound: Bound) -> Trend:
    return assess(days, bound=bound, measure="greatest" if bound.upwards else "least")


def days_of_buckets(
    frames: list[pl.DataFrame], channel: Channel, zone: ZoneInfo, begin: datetime
) -> tuple[Day, ...]:
    """Give days from buckets of an hour: only their least and greatest readings are known.

    Parameters
    ----------
    frames : list of polars.DataFrame
        Buckets as `lungwort.register.buckets.gather` gives them, of an hour, in the order of time.
    channel : Channel
        The channel.
    zone : ZoneInfo
        The site's time zone; an hour that midnight cuts belongs to the day in which it begins.
    begin : datetime
        Earlier days are left out, UTC.

    Returns
    -------
    tuple of Day
        ``low``, ``median`` and ``high`` are not known and given as the greatest reading, so that
        they are never better than it; only ``least`` and ``greatest`` may be used.
    """
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.register.buckets import START, column_of  # noqa: PLC0415 - the same

    low, high, usable = (column_of(channel.name, kind) for kind in ("low", "high", "usable"))
    there = [one for one in frames if usable in one.columns]
    if not there:
        return ()
    first = begin.astimezone(zone).date()
    found = (
        pl.concat([one.select(START, low, high, usable) for one in there])
        .filter(pl.col(usable) > 0)
        .with_columns(
            pl.from_epoch(START, time_unit="us")
            .dt.replace_time_zone("UTC")
            .dt.convert_time_zone(zone.key)
            .dt.date()
            .alias("day")
        )
        .group_by("day")
        .agg(
            pl.col(low).min().alias("least"),
            pl.col(high).max().alias("greatest"),
            pl.col(usable).sum().alias("readings"),
            pl.col(START).n_unique().alias("hours"),
        )
        # The day in which it begins is not whole.
        .filter(pl.col("day") > first)
        .sort("day")
    )
    return tuple(_day(row) for row in found.iter_rows(named=True))


def _day(row: dict[str, Any]) -> Day:
    day: date = row["day"]
    top = float(row["greatest"])
    return Day(
        day,
        float(row["least"]),
        top,
        top,
        top,
        top,
        # Hourly loggers read 24 times a day; of a day in buckets no share is taken.
        readings=max(int(row["readings"]), LEAST_READINGS),
        coverage=min(row["hours"] / _HOURS, 1.0),
    )
