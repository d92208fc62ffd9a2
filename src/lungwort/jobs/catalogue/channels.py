"""Channels of an instrument and rows of a calibration, as they are typed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from lungwort.air import units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import InputError
from lungwort.jobs.catalogue import (
    quantities,
    shape,
    typed,
)
from lungwort.paper.text import NO_VALUE
from lungwort.register.model import CalibrationRow, InstrumentChannel

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

CHANNEL_EXAMPLE: Final = "'co=0-100 ppm ± 2 ppm'"
ROW_EXAMPLE: Final = "'co=50/48.5/50.1 ppm ± 2 ppm'"

_SPREAD: Final = re.compile(r"(?:±|\+/-|\+-)")
_RANGE: Final = re.compile(
    rf"(?P<low>{quantities.NUMBER})\s*(?:-|–|to\b|\.\.\.?|…)\s*(?P<high>{quantities.NUMBER})\s*(?P<unit>.*)",
    re.DOTALL | re.IGNORECASE,
)
_NUMBER_AND_UNIT: Final = re.compile(rf"(?P<number>{quantities.NUMBER})\s*(?P<unit>.*)", re.DOTALL)
_ROW: Final = re.compile(
    rf"(?P<reference>{quantities.NUMBER})\s*/\s*(?P<found>{quantities.NUMBER})"
    rf"(?:\s*/\s*(?P<left>{quantities.NUMBER}))?\s*(?P<unit>.*)",
    re.DOTALL,
)
_OF_REFERENCE: Final = re.compile(r"%\s*of\s+(?:the\s+)?reference\s*$", re.IGNORECASE)


def channels(texts: Sequence[str], option: str) -> tuple[InstrumentChannel, ...]:
    """Read what an instrument measures.

    Parameters
    ----------
    texts : sequence of str
        Each ``analyte=low-high unit ± uncertainty unit``; range and uncertainty may be left out.
    option : str
        Option that they were given with, for the message.

    Returns
    -------
    tuple of InstrumentChannel
        In the order given.

    Raises
    ------
    InputError
        Where one cannot be read, or an analyte is there twice in one unit.

    Examples
    --------
    >>> channels(["co=0-100 ppm ± 2 ppm"], "--channel")[0].uncertainty
    Decimal('2')
    """
    from lungwort.jobs.inputs import parse_pairs  # noqa: PLC0415 - brings in Polars

    found: list[InstrumentChannel] = []
    for text, (name, value) in zip(texts, parse_pairs(texts, option, CHANNEL_EXAMPLE), strict=True):
        one = _channel(name, value.replace("−", "-"), text, option)
        if any((one.analyte, one.unit) == (other.analyte, other.unit) for other in found):
            raise InputError(
                f"{option} {text!r}: {ANALYTES[one.analyte].name} in {one.unit} is there twice. "
                "Give one channel each."
            )
        found.append(one)
    return tuple(found)


def _channel(name: str, value: str, text: str, option: str) -> InstrumentChannel:
    where = f"{option} {text!r}"
    key = typed.analyte(name, where)
    measured, spread = _parted(value, where)
    match = _RANGE.fullmatch(measured)
    if match is None:
        if _NUMBER_AND_UNIT.fullmatch(measured) is not None:
            raise InputError(
                f"{where}: a range has two ends. Write it like {CHANNEL_EXAMPLE}, or the unit alone."
            )
        unit = quantities.unit_of(key, measured, where)
        low = high = None
    else:
        unit = quantities.unit_of(key, match["unit"], where)
        bare = quantities.bare_unit(unit)
        low, high = (
            quantities.decimal_number(match[end], option, text, bare) for end in ("low", "high")
        )
        if low >= high:
            raise InputError(f"{where}: a range from {low} to {high} does not rise. Check it.")
    uncertainty = None if spread is None else _spread(spread, unit, text, option)
    if uncertainty is not None and uncertainty <= 0:
        raise InputError(f"{where}: an uncertainty is above 0. Check it, or leave it out.")
    return InstrumentChannel(analyte=key, unit=unit, low=low, high=high, uncertainty=uncertainty)


def _parted(value: str, where: str) -> tuple[str, str | None]:
    """Part what is before ± from what is after."""
    parts = [one.strip() for one in _SPREAD.split(value)]
    if len(parts) > 2:  # noqa: PLR2004 - before and after
        raise InputError(f"{where} has more than one ±. Write it like {CHANNEL_EXAMPLE}.")
    return parts[0], parts[1] if len(parts) > 1 else None


def _spread(written: str, unit: str, text: str, option: str) -> Decimal:
    match = _NUMBER_AND_UNIT.fullmatch(written)
    if match is None:
        raise InputError(
            f"{option} {text!r}: {written!r} after ± is no number. Write it like ± 2 ppm."
        )
    bare = quantities.bare_unit(unit)
    said = match["unit"].strip()
    # A difference of temperatures has no zero point, so °C and K do, and °F does not.
    if units.unit_name(said) != bare:
        raise InputError(
            f"{option} {text!r}: "
            + (f"{said!r} after ± is not {bare}." if said else "the number after ± has no unit.")
            + f" Write both in one unit, like ± {match['number']} {bare}."
        )
    return quantities.decimal_number(match["number"], option, text, bare)


def rows(
    texts: Sequence[str], option: str, known: Sequence[InstrumentChannel]
) -> tuple[CalibrationRow, ...]:
    """Read what the channels showed at a calibration or a bump test.

    Parameters
    ----------
    texts : sequence of str
        Each ``analyte=reference/as found/as left unit ± tolerance unit``; as left and the tolerance
        may be left out. The tolerance may be ``± 10 % of reference``.
    option : str
        Option that they were given with, for the message.
    known : sequence of InstrumentChannel
        The instrument's channels; empty where they are not on record.

    Returns
    -------
    tuple of CalibrationRow
        In the order given.

    Raises
    ------
    InputError
        Where one cannot be read, or the instrument has no such channel.
    """
    from lungwort.jobs.inputs import parse_pairs  # noqa: PLC0415 - brings in Polars

    pairs = parse_pairs(texts, option, ROW_EXAMPLE)
    return tuple(
        _row(name, value.replace("−", "-"), text, option, known)
        for text, (name, value) in zip(texts, pairs, strict=True)
    )


def _row(
    name: str, value: str, text: str, option: str, known: Sequence[InstrumentChannel]
) -> CalibrationRow:
    where = f"{option} {text!r}"
    key = typed.analyte(name, where)
    measured, spread = _parted(value, where)
    match = _ROW.fullmatch(measured)
    if match is None:
        raise InputError(
            f"{where}: write what was offered, what was shown before adjustment and, where it was "
            f"adjusted, what was shown after it, like {ROW_EXAMPLE}."
        )
    unit = quantities.unit_of(key, match["unit"], where)
    bare = quantities.bare_unit(unit)
    reference, found = (
        quantities.decimal_number(match[part], option, text, bare)
        for part in ("reference", "found")
    )
    left = None
    if match["left"] is not None:
        left = quantities.decimal_number(match["left"], option, text, bare)
    _check_channel(key, unit, reference, known, where)
    tolerance = None if spread is None else _tolerance(spread, reference, unit, text, option)
    if tolerance is not None and tolerance < 0:
        raise InputError(f"{where}: a tolerance below zero cannot be. Write it without sign.")
    return CalibrationRow(
        analyte=key,
        unit=unit,
        reference=reference,
        as_found=found,
        as_left=left,
        tolerance=tolerance,
    )


def _check_channel(
    key: str, unit: str, reference: Decimal, known: Sequence[InstrumentChannel], where: str
) -> None:
    if not known:
        return
    mine = [one for one in known if one.analyte == key]
    if not mine:
        listed = ", ".join(dict.fromkeys(one.analyte for one in known))
        raise InputError(
            f"{where}: the instrument has no channel for {key}. On record: {listed}. Put its channels "
            "right with 'lungwort instrument change NAME --channel … --reason TEXT'."
        )
    same = [one for one in mine if one.unit == unit]
    if not same:
        listed = ", ".join(one.unit for one in mine)
        raise InputError(
            f"{where}: the instrument shows {key} in {listed}, not in {unit}. Use that."
        )
    if all(_outside(reference, one) for one in same):
        raise InputError(
            f"{where}: {reference} {unit} lies outside the range of the channel, "
            f"{range_words(same[0])}. Check the number."
        )


def _outside(reference: Decimal, channel: InstrumentChannel) -> bool:
    return (channel.low is not None and reference < channel.low) or (
        channel.high is not None and reference > channel.high
    )


def _tolerance(spread: str, reference: Decimal, unit: str, text: str, option: str) -> Decimal:
    match = _NUMBER_AND_UNIT.fullmatch(spread)
    if match is not None and _OF_REFERENCE.fullmatch(match["unit"]):
        share = quantities.decimal_number(match["number"], option, text, "%")
        return abs(reference) * share / 100
    return _spread(spread, unit, text, option)


def failing(row: CalibrationRow) -> str:
    """Say why a row speaks against an instrument.

    Parameters
    ----------
    row : CalibrationRow
        The row.

    Returns
    -------
    str
        What it shows after adjustment (before, where it was not adjusted) and should; empty where
        that is within its tolerance or no tolerance is stated.
    """
    if row.tolerance is None:
        return ""
    shows = row.as_found if row.as_left is None else row.as_left
    if abs(shows - row.reference) <= row.tolerance:
        return ""
    when = "as found, and was not adjusted" if row.as_left is None else "as left"
    return (
        f"{row.analyte} showed {shows} {row.unit} {when}, at {row.reference} {row.unit} ± "
        f"{row.tolerance} {row.unit}"
    )


def range_words(channel: InstrumentChannel) -> str:
    """Write the range of a channel, such as '0 to 100 ppm'; its unit alone where it has none."""
    if channel.low is None or channel.high is None:
        return channel.unit
    low, high = (shape.amount(end, "") for end in (channel.low, channel.high))
    return f"{low} to {high} {channel.unit}"


def channel_words(channel: InstrumentChannel) -> str:
    """Write a channel, such as 'co: 0 to 100 ppm ± 2 ppm'."""
    spread = (
        f" ± {shape.amount(channel.uncertainty, quantities.bare_unit(channel.unit))}"
        if channel.uncertainty is not None
        else ""
    )
    return f"{channel.analyte}: {range_words(channel)}{spread}"


def row_words(row: CalibrationRow) -> str:
    """Write a row of a calibration: what was offered, and what it showed."""
    bare = quantities.bare_unit(row.unit)
    left = f", as left {shape.amount(row.as_left, bare)}" if row.as_left is not None else ""
    allowed = f" (± {shape.amount(row.tolerance, bare)})" if row.tolerance is not None else ""
    return (
        f"{row.analyte} at {shape.amount(row.reference, bare)}{allowed}: "
        f"as found {shape.amount(row.as_found, bare)}{left}"
    )


def all_words(found: tuple[InstrumentChannel, ...]) -> str:
    """Write all channels of an instrument; a dash for none."""
    return "; ".join(map(channel_words, found)) or NO_VALUE
