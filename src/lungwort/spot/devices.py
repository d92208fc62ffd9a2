"""What is used up in a test by hand: kinds of indicator and of detector tube, as data.

Every shipped number is common practice or an example; the instructions of the device in use go
before it. A user adds kinds of their own as files of the same form.
"""

from __future__ import annotations

import difflib
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air import units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import ProcedureError
from lungwort.spot import toml_form

if TYPE_CHECKING:
    from collections.abc import Mapping

INDICATOR: Final = "indicator"
TUBE: Final = "tube"
_ZERO: Final = Decimal(0)
_ONE: Final = Decimal(1)


@frozen(kw_only=True)
class Row:
    """One row of an indicator.

    Parameters
    ----------
    name : str
        Which row.
    threshold_mg_m3 : Decimal
        Oil content at which its dots have joined to a line [mg/m3].
    """

    name: str
    threshold_mg_m3: Decimal


@frozen(kw_only=True)
class IndicatorKind:
    """A kind of oil indicator that is read by eye, row by row.

    Parameters
    ----------
    id, title : str
        Short name and name.
    analyte : str
        ``oil``.
    rows : tuple of Row
        The rows, the one with the lowest threshold first.
    first_trace_mg_m3 : Decimal
        Content at which the first dots are seen [mg/m3].
    purge_min, sample_min : Decimal
        How long the outlet is blown out, and how long air is blown through it [min].
    flow_low_l_min, flow_high_l_min : Decimal, optional
        Flow through it [L/min].
    standing : str
        Where the numbers come from.
    """

    id: str
    title: str
    analyte: str
    rows: tuple[Row, ...]
    first_trace_mg_m3: Decimal
    purge_min: Decimal
    sample_min: Decimal
    flow_low_l_min: Decimal | None = None
    flow_high_l_min: Decimal | None = None
    standing: str


@frozen(kw_only=True)
class TubeKind:
    """A kind of detector tube whose stain is read on a scale.

    Parameters
    ----------
    id, title, analyte, unit : str
        Short name, name, what it is for, unit of its scale.
    first_mark, last_mark : Decimal
        Ends of its scale [unit].
    strokes : int, optional
        Strokes of the pump for which the scale holds [1].
    strokes_may_differ : bool
        Whether its instructions allow other numbers of strokes.
    sample_min : Decimal, optional
        How long air is drawn or blown through it [min].
    flow_low_l_min, flow_high_l_min : Decimal, optional
        Flow through it [L/min].
    purge_min : Decimal
        How long the outlet is blown out before [min].
    relative_uncertainty, relative_uncertainty_low : Decimal
        Expanded uncertainty (k = 2) as a share of the reading [1], at and below ``low_below``.
    low_below : Decimal
        Content below which the latter holds [unit].
    standing : str
        Where the numbers come from.
    remarks : tuple of str
        What its user must know.
    """

    id: str
    title: str
    analyte: str
    unit: str
    first_mark: Decimal
    last_mark: Decimal
    strokes: int | None = None
    strokes_may_differ: bool = False
    sample_min: Decimal | None = None
    flow_low_l_min: Decimal | None = None
    flow_high_l_min: Decimal | None = None
    purge_min: Decimal
    relative_uncertainty: Decimal
    relative_uncertainty_low: Decimal
    low_below: Decimal = _ZERO
    standing: str
    remarks: tuple[str, ...] = ()


def read_device(text: str, name: str) -> IndicatorKind | TubeKind:
    """Read a kind of device from TOML.

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
        Where there is a mistake in it.
    """
    data = toml_form.parse(text, name)
    kind = data.pop("kind", None)
    if kind == INDICATOR:
        return _checked_indicator(toml_form.build(IndicatorKind, data, name), name)
    if kind == TUBE:
        return _checked_tube(toml_form.build(TubeKind, data, name), name)
    raise ProcedureError(f"{name}, kind: found {kind!r}; write '{INDICATOR}' or '{TUBE}'.")


def _checked_indicator(kind: IndicatorKind, name: str) -> IndicatorKind:
    steps = [kind.first_trace_mg_m3, *(row.threshold_mg_m3 for row in kind.rows)]
    if kind.analyte != "oil":
        raise ProcedureError(f"{name}, analyte: found {kind.analyte!r}; an indicator is for oil.")
    if not kind.rows or steps[0] <= 0 or sorted(set(steps)) != steps:
        raise ProcedureError(
            f"{name}, rows: the thresholds {', '.join(map(str, steps))} mg/m3, first trace first, "
            "must be above 0 and rise. Put the lowest row first."
        )
    _positive(name, purge_min=kind.purge_min, sample_min=kind.sample_min)
    return kind


def _checked_tube(kind: TubeKind, name: str) -> TubeKind:
    if kind.analyte not in ANALYTES:
        near = difflib.get_close_matches(kind.analyte, ANALYTES, n=1)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise ProcedureError(f"{name}, analyte: {kind.analyte!r} is not known.{hint}")
    if units.unit_name(kind.unit) is None:
        raise ProcedureError(f"{name}, unit: {kind.unit!r} is not known. Write ppm, % or mg/m3.")
    if not 0 < kind.first_mark < kind.last_mark:
        raise ProcedureError(
            f"{name}: first_mark {kind.first_mark} and last_mark {kind.last_mark} {kind.unit} must "
            "be above 0 and rise."
        )
    for key in ("relative_uncertainty", "relative_uncertainty_low"):
        if not 0 < getattr(kind, key) < _ONE:
            raise ProcedureError(
                f"{name}, {key}: found {getattr(kind, key)}; a share above 0 and below 1 is needed, "
                "such as 0.3."
            )
    _positive(name, purge_min=kind.purge_min, sample_min=kind.sample_min, strokes=kind.strokes)
    if (kind.strokes is None) == (kind.sample_min is None):
        raise ProcedureError(f"{name}: give either strokes or sample_min, as its instructions do.")
    return kind


def _positive(name: str, **values: Decimal | int | None) -> None:
    for key, value in values.items():
        if value is not None and value <= 0:
            raise ProcedureError(f"{name}, {key}: found {value}; a number above 0 is needed.")


@cache
def _shipped() -> Mapping[str, IndicatorKind | TubeKind]:
    return {
        name: read_device(text, f"{name}.toml")
        for name, text in toml_form.shipped("devices").items()
    }


def indicator_kinds() -> tuple[IndicatorKind, ...]:
    """Give the kinds of indicator that come with lungwort."""
    return tuple(one for one in _shipped().values() if isinstance(one, IndicatorKind))


def tube_kinds() -> tuple[TubeKind, ...]:
    """Give the kinds of detector tube that come with lungwort."""
    return tuple(one for one in _shipped().values() if isinstance(one, TubeKind))


def device(name: str) -> IndicatorKind | TubeKind:
    """Give a kind of device.

    Parameters
    ----------
    name : str
        Id of a shipped kind, or a file of the user's own that ends in ``.toml``.

    Returns
    -------
    IndicatorKind or TubeKind
        The kind.

    Raises
    ------
    ProcedureError
        Where there is none, or it has a mistake in it.
    """
    if name.lower().endswith(".toml"):
        return read_device(toml_form.read_file(Path(name)), Path(name).name)
    found = _shipped().get(name)
    if found is None:
        near = difflib.get_close_matches(name, _shipped(), n=3)
        hint = f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(_shipped())}."
        raise ProcedureError(
            f"device {name!r} is not known. {hint} A file of your own ends in .toml."
        )
    return found


def indicator_kind(name: str) -> IndicatorKind:
    """Give a kind of indicator; parameters and errors as `device`."""
    found = device(name)
    if not isinstance(found, IndicatorKind):
        raise ProcedureError(f"{name} is a detector tube. Give an indicator: banded-oil.")
    return found


def tube_kind(name: str) -> TubeKind:
    """Give a kind of detector tube; parameters and errors as `device`."""
    found = device(name)
    if not isinstance(found, TubeKind):
        known = ", ".join(one.id for one in tube_kinds())
        raise ProcedureError(f"{name} is an indicator. Give a detector tube: {known}.")
    return found
