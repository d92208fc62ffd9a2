"""The readings in which a cause is looked for: usable ones only, in one unit each, on one axis of time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import field, frozen

from lungwort.errors import LogError
from lungwort.logs.model import GOOD, SUSPECT, TIME, UNREADABLE, censor_column, flag_column

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    import polars as pl
    from numpy.typing import NDArray

    from lungwort.logs.model import Channel, Log

    Floats = NDArray[np.float64]

LEAST_READINGS: Final = 24
"""Usable readings below which a channel counts as not measured [1]; own rule."""

MOST_READINGS: Final = 20_000
_NO_LEVEL: Final = (
    "the line pressure is not known: of water only rise and fall are looked at, not how much it is."
)


@frozen
class Series:
    """Readings of several channels at the same times.

    Parameters
    ----------
    time_s : numpy.ndarray
        Times since 1970-01-01 UTC, rising, shape (n,) [s].
    values : mapping of str to numpy.ndarray
        Readings by analyte in its canonical unit, water in mg/m³ or as notes say, shape (n,);
        NaN where there is none that can be used.
    saturation : numpy.ndarray, optional
        Relative humidity of the air in the line, shape (n,) [%RH]; None where it is not known.
    water_level : bool
        Whether the level of water is known, and not only its rise and fall.
    notes : tuple of str
        What was done with the readings, in words.
    """

    time_s: Floats
    values: Mapping[str, Floats] = field(repr=False)
    saturation: Floats | None = None
    water_level: bool = True
    notes: tuple[str, ...] = ()

    def measured(self, analyte: str) -> bool:
        """Whether there are enough readings of it to say anything."""
        found = self.values.get(analyte)
        return found is not None and int(np.isfinite(found).sum()) >= LEAST_READINGS


def series_of(log: Log, begin: datetime | None = None, end: datetime | None = None) -> Series:
    """Take the readings that can be used out of a log.

    Parameters
    ----------
    log : Log
        The log.
    begin, end : datetime, optional
        Span, both ends included, with a time zone; the whole log where not given.

    Returns
    -------
    Series
        The readings; very long logs in means of neighbours.

    Raises
    ------
    LogError
        Where too few readings lie in the span.
    """
    from datetime import UTC  # noqa: PLC0415 - only here

    import polars as pl  # noqa: PLC0415 - keeps --help instant

    kept = []
    for frame in log.frames():
        here = frame
        if begin is not None:
            here = here.filter(pl.col(TIME) >= begin.astimezone(UTC))
        if end is not None:
            here = here.filter(pl.col(TIME) <= end.astimezone(UTC))
        kept.append(here)
    whole = pl.concat(kept) if kept else pl.DataFrame({TIME: []})
    if whole.height < LEAST_READINGS:
        raise LogError(
            f"{whole.height} readings lie in the span: at least {LEAST_READINGS} are needed to look "
            "for a cause. Give a longer span, or the log that holds the event."
        )
    time_s = whole[TIME].dt.epoch("us").to_numpy().astype(np.float64) / 1e6
    columns, notes = _columns(whole, log)
    water_level = _NO_LEVEL not in notes
    saturation = columns.pop("relative_humidity", None)
    if saturation is None and water_level:
        saturation = saturation_of(columns)
    per = -(-time_s.size // MOST_READINGS)
    if per > 1:
        time_s = _means(time_s, per)
        columns = {name: _means(one, per) for name, one in columns.items()}
        saturation = None if saturation is None else _means(saturation, per)
        notes.append(
            f"{per} readings each were brought to their mean; shorter bursts are not seen."
        )
    return Series(time_s, columns, saturation, water_level, tuple(notes))


def _columns(frame: pl.DataFrame, log: Log) -> tuple[dict[str, Floats], list[str]]:
    """Read the channels; of two with the same analyte the one with more readings."""
    columns: dict[str, Floats] = {}
    notes: list[str] = []
    for channel in log.channels:
        if channel.name not in frame.columns:
            continue
        made, said = _canonical(_usable(frame, channel), channel, _line_bar_g(frame, log))
        before = columns.get(channel.analyte)
        if before is not None:
            notes.append(
                f"{channel.analyte} was measured twice; the channel with more readings counts."
            )
        if before is None or np.isfinite(made).sum() > np.isfinite(before).sum():
            columns[channel.analyte] = made
            if said:
                notes.append(said)
    for name in ("no", "no2"):
        if "nox" not in columns and name in columns:
            columns["nox"] = columns[name]
    return columns, notes


def _usable(frame: pl.DataFrame, channel: Channel) -> Floats:
    values = frame[channel.name].to_numpy().astype(np.float64).copy()
    if flag_column(channel.name) in frame.columns:
        flags = frame[flag_column(channel.name)].to_numpy()
        values[(flags != GOOD) & (flags != SUSPECT)] = np.nan
    if channel.censored and censor_column(channel.name) in frame.columns:
        values[frame[censor_column(channel.name)].to_numpy() == UNREADABLE] = np.nan
    values[~np.isfinite(values)] = np.nan
    return values


def _line_bar_g(frame: pl.DataFrame, log: Log) -> float | None:
    """Give the middle line pressure [bar(g)]; None where it was not logged."""
    for channel in log.channels_of("pressure"):
        if channel.name in frame.columns:
            values = _usable(frame, channel)
            if np.isfinite(values).any():
                return float(np.nanmedian(values))
    return None


def _canonical(values: Floats, channel: Channel, line_bar_g: float | None) -> tuple[Floats, str]:
    """Bring a channel to the unit in which it is looked at, and say what that took."""
    from lungwort.air import gas, moisture  # noqa: PLC0415 - keeps --help instant
    from lungwort.air.analytes import MASS_CONCENTRATION, PRESSURE_DEW_POINT  # noqa: PLC0415

    if channel.quantity == MASS_CONCENTRATION:
        in_ppm = channel.analyte in {"co", "co2", "no", "no2", "so2"}
        return (values / gas.mg_m3_per_ppm(channel.analyte) if in_ppm else values), ""
    good = np.isfinite(values)
    if channel.analyte != "water" or not good.any():
        return values, ""
    said, pressure = "", None
    if channel.quantity == PRESSURE_DEW_POINT:
        pressure = 0.0 if line_bar_g is None else max(line_bar_g, 0.0)
        said = _NO_LEVEL if line_bar_g is None else ""
    found = moisture.convert_water(
        values[good], channel.quantity, MASS_CONCENTRATION, pressure_bar_g=pressure
    )
    made = np.full(values.size, np.nan)
    made[good] = found.value
    return made, said


def saturation_of(columns: Mapping[str, Floats]) -> Floats | None:
    """Work out the relative humidity in the line from water, pressure and temperature.

    Parameters
    ----------
    columns : mapping of str to numpy.ndarray
        Readings: water [mg/m³], pressure [bar(g)], temperature [°C].

    Returns
    -------
    numpy.ndarray or None
        Relative humidity [%RH]; None where one of the three is lacking or cannot be of a line.
    """
    from lungwort.air.moisture import convert_water  # noqa: PLC0415 - keeps --help instant

    water, pressure, temperature = (
        columns.get(name) for name in ("water", "pressure", "temperature")
    )
    if water is None or pressure is None or temperature is None:
        return None
    if not all(np.isfinite(one).any() for one in (water, pressure, temperature)):
        return None
    bar_g, celsius = float(np.nanmedian(pressure)), float(np.nanmedian(temperature))
    if not (-0.9 <= bar_g <= 340.0 and -40.0 <= celsius <= 60.0):  # noqa: PLR2004 - what the formulas allow
        return None
    full = convert_water(
        100.0,
        "relative_humidity",
        "mass_concentration",
        pressure_bar_g=bar_g,
        gas_temperature_c=celsius,
    ).value
    return 100.0 * water / float(full)


def _means(values: Floats, per: int) -> Floats:
    whole = values[: values.size // per * per].reshape(-1, per)
    counted = np.isfinite(whole).sum(axis=1)
    sums = np.nansum(whole, axis=1)
    return np.where(counted > 0, sums / np.maximum(counted, 1), np.nan)
