"""Small logs and limit sets for the tests of the verdict. All numbers in them are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from lungwort.air import analytes
from lungwort.limits.model import Bound, Limit, LimitSet
from lungwort.logs.model import GOOD, Channel, Log, Stretch

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

START = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
STEP_S = 10.0

CHANNELS = {
    "o2": Channel("o2", "o2", analytes.VOLUME_FRACTION, "%"),
    "co": Channel("co", "co", analytes.VOLUME_FRACTION, "ppm"),
    "co_b": Channel("co_b", "co", analytes.VOLUME_FRACTION, "ppm"),
    "co_mg": Channel("co_mg", "co", analytes.MASS_CONCENTRATION, "mg/m3"),
    "co2": Channel("co2", "co2", analytes.VOLUME_FRACTION, "ppm"),
    "water": Channel("water", "water", analytes.MASS_CONCENTRATION, "mg/m3"),
    "adp": Channel("adp", "water", analytes.ATMOSPHERIC_DEW_POINT, "°C"),
    "pdp": Channel("pdp", "water", analytes.PRESSURE_DEW_POINT, "°C"),
    "rh": Channel("rh", "relative_humidity", analytes.RELATIVE_HUMIDITY, "%RH"),
    "water_rh": Channel("water_rh", "water", analytes.RELATIVE_HUMIDITY, "%RH"),
    "oil": Channel("oil", "oil", analytes.MASS_CONCENTRATION, "mg/m3"),
    "voc": Channel("voc", "voc", analytes.VOLUME_FRACTION, "ppm"),
    "pressure": Channel("pressure", "pressure", analytes.PRESSURE, "bar(g)"),
}


def at(seconds: float) -> datetime:
    """Give the time a number of seconds after the start."""
    return START + timedelta(seconds=seconds)


def make_log(
    values: Mapping[str, Sequence[float | None]],
    *,
    flags: Mapping[str, Sequence[int]] | None = None,
    censor: Mapping[str, Sequence[int]] | None = None,
    times: Sequence[datetime] | None = None,
    step_s: float = STEP_S,
    interval_s: float | str | None = "median",
    stretches: Sequence[Stretch] = (),
    splits: Sequence[int] = (),
    zone: str = "UTC",
    zone_stated: bool = True,
    channels: Mapping[str, Channel] | None = None,
) -> Log:
    """Make a log from columns of numbers."""
    flags, censor = flags or {}, censor or {}
    rows = len(next(iter(values.values()))) if values else 0
    stamps = list(times) if times is not None else [at(i * step_s) for i in range(rows)]
    columns: dict[str, pl.Series] = {"time": pl.Series(stamps, dtype=pl.Datetime("us", "UTC"))}
    used = []
    for name, numbers in values.items():
        channel = (channels or CHANNELS)[name]
        columns[name] = pl.Series(list(numbers), dtype=pl.Float64)
        own = flags.get(name, [GOOD if v is not None else 9 for v in numbers])
        columns[f"{name}_flag"] = pl.Series(list(own), dtype=pl.UInt8)
        if name in censor:
            columns[f"{name}_censor"] = pl.Series(list(censor[name]), dtype=pl.Int8)
            channel = Channel(
                channel.name, channel.analyte, channel.quantity, channel.unit, censored=True
            )
        used.append(channel)
    frame = pl.DataFrame(columns)
    if interval_s == "median":
        steps = np.diff(np.array([stamp.timestamp() for stamp in stamps]))
        interval: float | None = float(np.median(steps)) if len(steps) else None
    else:
        interval = None if interval_s is None else float(interval_s)
    cuts = [0, *sorted(splits), rows]
    parts = tuple(frame.slice(a, b - a) for a, b in pairwise(cuts))
    return Log(
        parts=parts,
        channels=tuple(used),
        rows=rows,
        start=stamps[0] if stamps else None,
        end=stamps[-1] if stamps else None,
        interval_s=interval,
        zone=zone,
        zone_stated=zone_stated,
        stretches=tuple(stretches),
    )


def upper(
    analyte: str,
    value: float,
    unit: str = "ppm",
    *,
    quantity: str | None = None,
    included: bool = True,
    key: str = "",
    **more: object,
) -> Limit:
    """Make an upper limit."""
    measured = quantity or analytes.quantity_of_unit(unit)
    return Limit(
        key=key or analyte,
        analyte=analyte,
        quantity=measured,
        unit=unit,
        upper=Bound(value, included),
        status="confirmed",
        **more,  # type: ignore[arg-type]  # keywords of Limit
    )


O2 = Limit(
    key="o2",
    analyte="o2",
    quantity=analytes.VOLUME_FRACTION,
    unit="%",
    lower=Bound(19.5),
    upper=Bound(23.5),
    status="confirmed",
)
ODOUR = Limit(
    key="odour",
    analyte="odour",
    quantity=analytes.WORDING,
    unit="",
    kind="wording",
    wording="no noticeable odour",
    status="confirmed",
)


def limits(*of: Limit) -> LimitSet:
    """Make a limit set."""
    return LimitSet(
        id="invented",
        title="An invented set",
        document="none",
        edition="1",
        use="tests",
        limits=of,
        digest="0" * 64,
    )
