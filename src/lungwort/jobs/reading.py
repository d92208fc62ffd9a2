"""How the user says how a file is to be read: the same for every job that reads one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import evolve, field, frozen

from lungwort.jobs.inputs import datetime_of, parse_duration, parse_moment, parse_pairs
from lungwort.logs.options import ReadOptions

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime
    from pathlib import Path


def _texts(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(values)


@frozen
class Reading:
    """Options about a file, as typed.

    Parameters
    ----------
    recipe : path, optional
        Recipe to begin with; what else is given goes before it.
    zone, date_order, decimal, delimiter, encoding, sheet : str, optional
        As in `lungwort.logs.read.read_log`.
    unit, column : tuple of str
        ``analyte=unit`` and ``analyte=heading``.
    ignore, time_column, missing, trust : tuple of str
        As in `lungwort.logs.read.read_log`.
    start : str, optional
        Moment of elapsed second 0.
    header_line : int, optional
        Line of the headings.
    settle, settle_gap : str, optional
        Lengths of time.
    """

    recipe: Path | None = None
    zone: str | None = None
    date_order: str | None = None
    decimal: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    sheet: str | None = None
    unit: tuple[str, ...] = field(factory=tuple, converter=_texts)
    column: tuple[str, ...] = field(factory=tuple, converter=_texts)
    ignore: tuple[str, ...] = field(factory=tuple, converter=_texts)
    time_column: tuple[str, ...] = field(factory=tuple, converter=_texts)
    missing: tuple[str, ...] = field(factory=tuple, converter=_texts)
    trust: tuple[str, ...] = field(factory=tuple, converter=_texts)
    start: str | None = None
    header_line: int | None = None
    settle: str | None = None
    settle_gap: str | None = None

    def options(self, wanted: tuple[str, ...] | None = None) -> ReadOptions:
        """Turn what was typed into options.

        Parameters
        ----------
        wanted : tuple of str, optional
            Analytes that matter.

        Returns
        -------
        ReadOptions
            The options.

        Raises
        ------
        InputError
            Where one cannot be read.
        """
        from lungwort.logs.recipe import load_recipe  # noqa: PLC0415 - only where a recipe is given

        base = load_recipe(self.recipe) if self.recipe is not None else ReadOptions()
        units = parse_pairs(self.unit, "--unit", "co=ppm")
        columns = parse_pairs(self.column, "--column", "'co=Sensor 1'")
        changes: dict[str, Any] = {
            key: getattr(self, key)
            for key in (
                "zone",
                "date_order",
                "decimal",
                "delimiter",
                "encoding",
                "sheet",
                "header_line",
            )
            if getattr(self, key) is not None
        }
        if units:
            changes["units"] = (*units, *base.units)
        if columns:
            changes["columns"] = columns
            changes["only_columns"] = False
        if self.ignore:
            changes["ignore"] = (*base.ignore, *self.ignore)
        if self.time_column:
            changes["time_columns"] = self.time_column
        if self.missing:
            changes["missing"] = (*base.missing, *self.missing)
        if self.trust:
            changes["trust"] = (*base.trust, *self.trust)
        if self.start is not None:
            changes["start"] = _start(self.start, self.zone or base.zone)
        if self.settle is not None:
            changes["settle_s"] = parse_duration(self.settle, "--settle").total_seconds()
        if self.settle_gap is not None:
            changes["resettle_gap_s"] = parse_duration(
                self.settle_gap, "--settle-gap"
            ).total_seconds()
        if wanted is not None:
            changes["wanted"] = wanted
        return evolve(base, **changes)


def _start(text: str, zone: str | None) -> datetime:
    """Read the start; without any zone it stays a wall time, as the log's own times would."""
    moment = parse_moment(text, zone, "--start")
    stated = zone is not None or datetime_of(text).tzinfo is not None
    return moment if stated else moment.replace(tzinfo=None)
