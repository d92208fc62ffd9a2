"""Kinds of banded oil indicators and of detector tubes, as data.

Those that come with lungwort are general ones and carry no maker's figures. The instruction of the
indicator or tube in use decides; a user writes its figures into a file of the same form.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.analytes import ANALYTES
from lungwort.errors import ProcedureError
from lungwort.spot import tomlfile
from lungwort.spot.tomlfile import Table, near

if TYPE_CHECKING:
    import os

BUILT_IN_INDICATOR: Final = "banded-oil-indicator"
"""Kind of an indicator whose lot names none."""

TUBE: Final = "tube"
INDICATOR: Final = "oil_indicator"

_KEYS: Final = (
    "format",
    "id",
    "kind",
    "title",
    "analyte",
    "unit",
    "purge_min",
    "sample_min",
    "flow_l_min",
    "row",
    "first_mark",
    "last_mark",
    "strokes",
    "strokes_may_differ",
    "relative_uncertainty_percent",
    "standing",
    "source",
    "remarks",
)
_ROW_KEYS: Final = ("name", "dots_mg_m3", "line_mg_m3")
_LONGEST_MIN: Final = 24 * 60.0


@frozen
class Row:
    """One row of a banded oil indicator.

    Parameters
    ----------
    name : str
        As it is called: ``lowest``.
    dots_mg_m3 : float, optional
        Oil content at which separate dots are seen [mg/m3]; None where dots say no more than the
        row below.
    line_mg_m3 : float
        Oil content at which the dots join to a line [mg/m3].
    """

    name: str
    dots_mg_m3: float | None
    line_mg_m3: float


@frozen
class IndicatorKind:
    """A kind of banded oil indicator.

    Parameters
    ----------
    id, title : str
        Short name; what it is, in words.
    rows : tuple of Row
        Its rows, the lowest first.
    purge_min, sample_min : float
        Time for which the outlet is blown out, and for which air is blown through it [min].
    flow_l_min : tuple of (float, float), optional
        Flow through it [L/min]; None where its instruction states none here.
    standing, source : str
        How well its figures are founded; the document where there is one.
    remarks : tuple of str
        What a user must know.
    """

    id: str
    title: str
    rows: tuple[Row, ...]
    purge_min: float
    sample_min: float
    flow_l_min: tuple[float, float] | None = None
    standing: str = tomlfile.NO_SOURCE
    source: str = ""
    remarks: tuple[str, ...] = ()


@frozen
class TubeKind:
    """A kind of detector tube.

    Parameters
    ----------
    id, title : str
        Short name; what it is, in words.
    analyte, unit : str
        What it shows, and the unit of its scale.
    first_mark, last_mark : float, optional
        Ends of its scale [unit]; None where they are to be told by the user.
    strokes : float, optional
        Strokes, or volume in one unit, for which its scale holds [1].
    strokes_may_differ : bool
        Whether its instruction allows another number of strokes.
    relative_uncertainty_percent : float, optional
        Its own relative expanded uncertainty (k = 2) [%]; None for the general one.
    sample_min : float, optional
        Time for which air is drawn or blown through it [min].
    standing, source : str
        How well its figures are founded; the document where there is one.
    remarks : tuple of str
        Interferences, overloading, and what else a user must know.
    """

    id: str
    title: str
    analyte: str
    unit: str
    first_mark: float | None = None
    last_mark: float | None = None
    strokes: float | None = None
    strokes_may_differ: bool = False
    relative_uncertainty_percent: float | None = None
    sample_min: float | None = None
    standing: str = tomlfile.NO_SOURCE
    source: str = ""
    remarks: tuple[str, ...] = ()


@cache
def shipped_devices() -> tuple[IndicatorKind | TubeKind, ...]:
    """Load the kinds that come with lungwort.

    Returns
    -------
    tuple of IndicatorKind or TubeKind
        In alphabetical order of their ids, indicators first.
    """
    return tuple(
        read_device(tomlfile.shipped_text(folder, name), f"{name}.toml")
        for folder in ("indicators", "tubes")
        for name in tomlfile.shipped_ids(folder)
    )


def load_device(path: str | os.PathLike[str]) -> IndicatorKind | TubeKind:
    """Load a kind that a user has written.

    Parameters
    ----------
    path : str or path
        A TOML file in UTF-8.

    Returns
    -------
    IndicatorKind or TubeKind
        The kind.

    Raises
    ------
    ProcedureError
        Where the file cannot be read or has mistakes; all are named.
    """
    from pathlib import Path  # noqa: PLC0415 - only here

    return read_device(tomlfile.file_text(path, "indicator or tube"), Path(path).name)


def read_device(text: str, name: str) -> IndicatorKind | TubeKind:
    """Read a kind from TOML text.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    IndicatorKind or TubeKind
        The kind.

    Raises
    ------
    ProcedureError
        Where the text has mistakes; all are named.
    """
    top = tomlfile.opened(text, name, _KEYS)
    kind = top.choice("kind", (INDICATOR, TUBE), "")
    if not kind and "kind" not in top.values:
        top.wrong("kind", f"is missing. Write {INDICATOR!r} or {TUBE!r}.")
    found = _tube(top) if kind == TUBE else _indicator(top)
    top.mistakes.raise_any()
    return found


def _indicator(top: Table) -> IndicatorKind:
    rows: list[Row] = []
    lowest = 0.0
    for number, values in enumerate(top.tables("row")):
        said = values.get("name")
        table = Table(
            values,
            (said,) if isinstance(said, str) else (),
            f"row {said if isinstance(said, str) else number + 1!r}",
            top.mistakes,
        )
        table.known(_ROW_KEYS)
        dots = table.number("dots_mg_m3", 1e-6, 1e6, "mg/m3")
        line = table.number("line_mg_m3", 1e-6, 1e6, "mg/m3")
        if "line_mg_m3" not in values:
            table.wrong("line_mg_m3", "is missing. State the content of a joined line [mg/m3].")
        if number == 0 and dots is None:
            table.wrong("dots_mg_m3", "is missing. State the content of the first trace [mg/m3].")
        for key, value in (("dots_mg_m3", dots), ("line_mg_m3", line)):
            if value is not None:
                if value <= lowest:
                    table.wrong(key, f"found {value:g}, which is not above {lowest:g} before it.")
                lowest = max(lowest, value)
        rows.append(Row(table.text("name", required=True), dots, line or 1e6))
    if not rows:
        top.wrong("row", "is missing. Write a [[row]] for each row, the lowest first.")
    for key in ("first_mark", "last_mark", "strokes", "analyte", "unit"):
        if key in top.values:
            top.wrong(key, "an indicator has none; it belongs to a tube. Leave it out.")
    return IndicatorKind(
        id=top.name("id"),
        title=top.text("title", required=True),
        rows=tuple(rows),
        purge_min=_minutes(top, "purge_min") or 0.0,
        sample_min=_minutes(top, "sample_min") or 0.0,
        flow_l_min=_flow(top),
        standing=top.standing(required=True),
        source=top.text("source"),
        remarks=top.texts("remarks"),
    )


def _minutes(top: Table, key: str) -> float | None:
    if key not in top.values:
        top.wrong(key, "is missing. State it in minutes.")
    return top.number(key, 0.01, _LONGEST_MIN, "min")


def _flow(top: Table) -> tuple[float, float] | None:
    value = top.values.get("flow_l_min")
    if value is None:
        return None
    if isinstance(value, list) and len(value) == 2:  # noqa: PLR2004 - lowest and highest
        low, high = value
        if (
            isinstance(low, int | float)
            and isinstance(high, int | float)
            and not isinstance(low, bool)
            and not isinstance(high, bool)
            and 0 < low <= high
        ):
            return float(low), float(high)
    top.wrong("flow_l_min", "lowest and highest flow are needed, like [3.5, 4.5] [L/min].")
    return None


def _tube(top: Table) -> TubeKind:
    analyte = top.text("analyte", required=True)
    if analyte and analyte not in ANALYTES:
        top.wrong("analyte", f"{analyte!r} is not known.{near(analyte, ANALYTES)}")
    first = top.number("first_mark", 1e-9, 1e7, "unit of the scale")
    last = top.number("last_mark", 1e-9, 1e7, "unit of the scale")
    if first is not None and last is not None and last <= first:
        top.wrong("last_mark", f"found {last:g}, which is not above the first mark {first:g}.")
    for key in ("row", "purge_min", "flow_l_min"):
        if key in top.values:
            top.wrong(key, "a tube has none; it belongs to an indicator. Leave it out.")
    return TubeKind(
        id=top.name("id"),
        title=top.text("title", required=True),
        analyte=analyte,
        unit=top.text("unit", required=True),
        first_mark=first,
        last_mark=last,
        strokes=top.number("strokes", 0.01, 10000, "1"),
        strokes_may_differ=top.flag("strokes_may_differ"),
        relative_uncertainty_percent=top.number("relative_uncertainty_percent", 1.0, 100.0, "%"),
        sample_min=top.number("sample_min", 0.01, _LONGEST_MIN, "min"),
        standing=top.standing(required=True),
        source=top.text("source"),
        remarks=top.texts("remarks"),
    )


def find_device(
    devices: tuple[IndicatorKind | TubeKind, ...], device_id: str
) -> IndicatorKind | TubeKind:
    """Find a kind by its id.

    Parameters
    ----------
    devices : tuple of IndicatorKind or TubeKind
        Those known.
    device_id : str
        The id.

    Returns
    -------
    IndicatorKind or TubeKind
        The kind.

    Raises
    ------
    ProcedureError
        Where there is none.
    """
    for one in devices:
        if one.id == device_id.strip().lower():
            return one
    known = [one.id for one in devices]
    raise ProcedureError(
        f"indicator or tube {device_id!r} is not known.{near(device_id, known)} "
        f"Known: {', '.join(known)}."
    )
