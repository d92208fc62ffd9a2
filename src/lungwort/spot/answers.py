"""What is entered: whether it is understood, whether it is accepted, and what follows from it."""

from __future__ import annotations

import difflib
import re
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import frozen

from lungwort.air import units
from lungwort.errors import QuantityError, SpotError
from lungwort.spot import procedure_model as m
from lungwort.spot import rows
from lungwort.spot.devices import BUILT_IN_INDICATOR, IndicatorKind, TubeKind
from lungwort.spot.parse import parse_spot
from lungwort.spot.run_model import Entered, KnownLot, KnownThing
from lungwort.spot.tubes import TubeReading, tube_reading

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date, datetime

    from lungwort.spot.procedure_model import Ask, Step
    from lungwort.spot.run_model import Run

_NUMBER: Final = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(.*)")
_BARE: Final = re.compile(
    r"(?:[<>≤≥]=?|)\s*[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
    r"(?:\s*(?:±|\+/-|\+-|-|–|to)\s*(?:\d+(?:[.,]\d*)?|[.,]\d+))?"
)
_TWO_WAYS: Final = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_YES: Final = frozenset({"yes", "y", "done", "ok"})


@frozen
class Consequence:
    """What follows from an entry that is not as it should be.

    Parameters
    ----------
    effect : str
        One of `lungwort.spot.procedure_model.EFFECTS`.
    step, name : str
        Where.
    text : str
        What is said.
    """

    effect: str
    step: str
    name: str
    text: str


def understood(run: Run, ask: Ask, given: str) -> tuple[str, str]:
    """Read an entry as it was typed.

    Parameters
    ----------
    run : Run
        The test.
    ask : Ask
        What was asked.
    given : str
        As typed.

    Returns
    -------
    tuple of (str, str)
        As it is kept, and the id of the thing that it names (empty for none).

    Raises
    ------
    SpotError
        Where it cannot be understood, with what can be.
    """
    text = " ".join(given.replace("−", "-").split())
    if ask.optional and text in {"", m.LEFT_OUT}:
        return m.LEFT_OUT, ""
    if not text:
        raise SpotError(f"{ask.name}: nothing was entered. {wanted(run, ask)}")
    if not text.isprintable():
        raise SpotError(
            f"{ask.name}: {given!r} holds a character that cannot be seen. Leave it out."
        )
    return _READERS[ask.kind](run, ask, text)


def wanted(run: Run, ask: Ask) -> str:
    """Say what may be entered.

    Parameters
    ----------
    run : Run
        The test.
    ask : Ask
        What is asked.

    Returns
    -------
    str
        A sentence or two.
    """
    leave = f" Enter '{m.LEFT_OUT}' to leave it out." if ask.optional else ""
    if ask.kind == m.CONFIRM:
        return f"Enter 'yes' once it is done.{leave}"
    if ask.kind == m.WAIT:
        return f"Enter '{m.BEGIN}' when it begins and '{m.END}' when it ends.{leave}"
    if ask.kind == m.NUMBER:
        ends = [
            f"{word} {value:g}"
            for word, value in (("from", ask.low), ("to", ask.high))
            if value is not None
        ]
        span = f" {' '.join(ends)}" if ends else ""
        return f"Enter a number{span} in {ask.unit or 'its unit'}.{leave}"
    if ask.kind == m.CHOOSE:
        listed = "; ".join(
            f"{one.word} ({one.says})" if one.says else one.word for one in ask.choices
        )
        return f"Enter one of: {listed}.{leave}"
    if ask.kind == m.ROWS:
        names = ", ".join(row.name for row in indicator_of(run, ask).rows)
        return f"Enter nothing, dots or line for each row from the lowest up ({names}).{leave}"
    if ask.kind == m.TUBE:
        return (
            "Enter the number on the scale, 'nothing' or '< first mark' under the first mark, "
            f"'> last mark' past the last one.{leave}"
        )
    if ask.kind in {m.PERSON, m.INSTRUMENT, m.LOT}:
        known = ", ".join(one.name for one in _candidates(run, ask))
        if known:
            return f"Enter one of: {known}.{leave}"
        return f"Nothing of the kind is on record: add it first.{leave}"
    return f"Enter a few words.{leave}"


def _confirm(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    if text.lower() not in _YES:
        raise SpotError(
            f"{ask.name}: {text!r} was entered. {wanted(run, ask)} Do it first, or abort the test."
        )
    return m.YES, ""


def _wait(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    if text.lower() not in {m.BEGIN, m.END}:
        raise SpotError(f"{ask.name}: {text!r} was entered. {wanted(run, ask)}")
    return text.lower(), ""


def _number(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    if ask.analyte:
        full = f"{text} {ask.unit}" if _BARE.fullmatch(text) else text
        parse_spot(f"{ask.analyte}={full}")
        return full, ""
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise SpotError(f"{ask.name}: {text!r} is no number. {wanted(run, ask)}")
    number, unit = match.group(1), match.group(2).strip()
    if _TWO_WAYS.fullmatch(number):
        digits = re.sub(r"[.,]", "", number)
        raise SpotError(
            f"{ask.name}: {number!r} can be read as {digits} or as {number.replace(',', '.')}. "
            f"Write {digits}, or {number.replace(',', '.')}0."
        )
    value = Decimal(number.replace(",", "."))
    if unit and unit.lower() != ask.unit.lower() and units.unit_name(unit) != ask.unit:
        try:
            value = Decimal(f"{units.scale(float(value), unit, ask.unit):.9g}")
        except QuantityError as error:
            raise SpotError(f"{ask.name}: {text!r}: {error} {wanted(run, ask)}") from None
    return f"{value:f} {ask.unit}".strip(), ""


def _choose(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    words = [one.word for one in ask.choices]
    if text.lower() in words:
        return text.lower(), ""
    begun = [word for word in words if word.startswith(text.lower())]
    if len(begun) != 1:
        raise SpotError(f"{ask.name}: {text!r} was entered. {wanted(run, ask)}")
    return begun[0], ""


def _rows(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    kind = indicator_of(run, ask)
    states = rows.read_rows(kind, text)
    rows.rows_interval(kind, states)
    return ", ".join(states), ""


def _tube(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    parse_spot(read_tube(run, ask, text).text)
    return text, ""


def _thing(run: Run, ask: Ask, text: str) -> tuple[str, str]:
    for one in _candidates(run, ask):
        if text.casefold() in {one.name.casefold(), one.id}:
            if isinstance(one, KnownLot):
                _check_lot(run, ask, one)
            return one.name, one.id
    if ask.kind == m.PERSON and text.casefold() in {
        run.context.tester.casefold(),
        run.context.tester_id,
    }:
        raise SpotError(
            f"{ask.name}: {run.context.tester} tests, and a second person is needed: whoever works "
            f"in the air no longer notices its smell. {wanted(run, ask)}"
        )
    names = [one.name for one in _candidates(run, ask)]
    close = difflib.get_close_matches(text, names, n=3, cutoff=0.5)
    meant = f"Did you mean {' or '.join(close)}? " if close else ""
    raise SpotError(f"{ask.name}: {text!r} is not on record for this. {meant}{wanted(run, ask)}")


def _words(_run: Run, _ask: Ask, text: str) -> tuple[str, str]:
    return text, ""


_READERS: Final[dict[str, Callable[[Run, Ask, str], tuple[str, str]]]] = {
    m.CONFIRM: _confirm,
    m.WAIT: _wait,
    m.NUMBER: _number,
    m.CHOOSE: _choose,
    m.ROWS: _rows,
    m.TUBE: _tube,
    m.PERSON: _thing,
    m.INSTRUMENT: _thing,
    m.LOT: _thing,
    m.WORDS: _words,
}


def _candidates(run: Run, ask: Ask) -> Sequence[KnownThing | KnownLot]:
    if ask.kind == m.PERSON:
        return [one for one in run.context.persons if one.id != run.context.tester_id]
    if ask.kind == m.INSTRUMENT:
        return run.context.instruments
    return [one for one in run.context.lots if one.kind == ask.lot_kind]


def lot_of(run: Run, name: str) -> KnownLot | None:
    """Give the lot that an entry names; None where it names none yet."""
    entry = run.in_force(name) if name else None
    if entry is None:
        return None
    return next((one for one in run.context.lots if one.id == entry.ref), None)


def _kind_of(run: Run, lot: KnownLot | None) -> IndicatorKind | TubeKind | None:
    """Give the kind that a lot names; None where it names none that is known."""
    if lot is None:
        return None
    known: tuple[IndicatorKind | TubeKind, ...] = (*run.context.indicators, *run.context.tubes)
    return next((one for one in known if one.id == lot.device.strip().lower()), None)


def _check_lot(run: Run, ask: Ask, lot: KnownLot) -> None:
    kind = _kind_of(run, lot)
    fits = {"oil_indicator": IndicatorKind, "tube": TubeKind}.get(lot.kind)
    if kind is not None and fits is not None and not isinstance(kind, fits):
        raise SpotError(
            f"{ask.name}: lot {lot.name} is on record as {lot.kind.replace('_', ' ')}, and its "
            f"device {kind.id!r} is none. Put it right with 'lungwort lot change {lot.name} "
            "--device ID --reason TEXT'."
        )
    if lot.kind != "tube":
        return
    tube = _tube_kind(run, lot)
    if ask.analyte and tube.analyte != ask.analyte:
        raise SpotError(
            f"{ask.name}: lot {lot.name} is for {tube.analyte}; one for {ask.analyte} is needed."
        )


def indicator_of(run: Run, ask: Ask) -> IndicatorKind:
    """Give the kind of the indicator that an entry is about.

    Parameters
    ----------
    run : Run
        The test.
    ask : Ask
        What is asked.

    Returns
    -------
    IndicatorKind
        That of the lot; the built-in one where the lot names none that is known.

    Raises
    ------
    SpotError
        Where not even that is known.
    """
    kind = _kind_of(run, lot_of(run, ask.lot))
    if isinstance(kind, IndicatorKind):
        return kind
    for one in run.context.indicators:
        if one.id == BUILT_IN_INDICATOR:
            return one
    raise SpotError(f"{ask.name}: no kind of indicator is known. Add one to the folder 'devices'.")


def _tube_kind(run: Run, lot: KnownLot) -> TubeKind:
    kind = _kind_of(run, lot)
    if isinstance(kind, TubeKind):
        return kind
    for one in run.context.tubes:
        if one.id == f"tube-{lot.analyte}":
            return one
    raise SpotError(
        f"lot {lot.name} names neither a kind of tube that is known nor an analyte with a general "
        f"kind. Name one with 'lungwort lot change {lot.name} --device ID --reason TEXT'; known: "
        f"{', '.join(one.id for one in run.context.tubes)}."
    )


def device_of(run: Run, lot: KnownLot) -> tuple[IndicatorKind | TubeKind | None, bool]:
    """Give the kind of indicator or tube by which a lot is read.

    Parameters
    ----------
    run : Run
        The test.
    lot : KnownLot
        The lot.

    Returns
    -------
    tuple of (IndicatorKind or TubeKind or None, bool)
        The kind, and whether it was taken because the lot names none that is known; None for a lot
        that is read by nothing.
    """
    own = _kind_of(run, lot)
    if own is not None:
        return own, False
    general = {"oil_indicator": BUILT_IN_INDICATOR, "tube": f"tube-{lot.analyte}"}.get(lot.kind)
    known: tuple[IndicatorKind | TubeKind, ...] = (*run.context.indicators, *run.context.tubes)
    return next((one for one in known if one.id == general), None), True


def read_tube(run: Run, ask: Ask, given: str) -> TubeReading:
    """Work out what the tube of an entry says.

    Parameters
    ----------
    run : Run
        The test.
    ask : Ask
        What is asked.
    given : str
        What is seen on its scale.

    Returns
    -------
    TubeReading
        The content.

    Raises
    ------
    SpotError
        Where it cannot be worked out.
    """
    lot = lot_of(run, ask.lot)
    if lot is None:
        raise SpotError(f"{ask.name}: the lot of the tube is not entered yet. Enter it first.")
    strokes = run.given(ask.strokes) if ask.strokes else ""
    pressure = run.given(ask.pressure)
    if not pressure:
        raise SpotError(f"{ask.name}: the air pressure is not entered yet. Enter it first.")
    return tube_reading(
        _tube_kind(run, lot),
        given,
        pressure_hpa=float(pressure.split()[0]),
        strokes=float(strokes.split()[0]) if strokes else None,
    )


def length_of(run: Run, ask: Ask) -> timedelta:
    """Give the length of a wait.

    Parameters
    ----------
    run : Run
        The test.
    ask : Ask
        The wait.

    Returns
    -------
    timedelta
        What the device in use asks for, else what the procedure says: the device's own
        instructions go before a general procedure.
    """
    minutes = ask.minutes or 0.0
    if ask.device_time:
        lot = lot_of(run, ask.lot)
        kind = _kind_of(run, lot)
        if isinstance(kind, IndicatorKind):
            minutes = kind.purge_min if ask.device_time == "purge" else kind.sample_min
        elif lot is not None and lot.kind == "tube" and ask.device_time == "sample":
            minutes = _tube_kind(run, lot).sample_min or minutes
    return timedelta(minutes=minutes)


def followed(run: Run, step: Step, ask: Ask, entry: Entered) -> tuple[Consequence, ...]:
    """Tell what follows from an entry.

    Parameters
    ----------
    run : Run
        The test.
    step : Step
        Where.
    ask : Ask
        What was asked.
    entry : Entered
        What was entered.

    Returns
    -------
    tuple of Consequence
        Empty where all is as it should be.
    """

    def said(effect: str, text: str) -> Consequence:
        return Consequence(effect, step.id, ask.name, text)

    if entry.given == m.LEFT_OUT:
        if ask.kind == m.WORDS:
            return ()
        return (said(m.WARN, f"Left out: {ask.ask}"),)
    if ask.kind == m.NUMBER:
        return tuple(said(*one) for one in _outside(run, ask, entry))
    if ask.kind == m.CHOOSE:
        chosen = next((one for one in ask.choices if one.word == entry.given), None)
        return (said(chosen.effect, chosen.why),) if chosen is not None and chosen.effect else ()
    if ask.kind == m.LOT:
        return tuple(said(*one) for one in _about_lot(run, ask, entry))
    if ask.kind == m.WAIT and entry.given == m.END:
        return tuple(said(*one) for one in _about_wait(run, ask, entry))
    return ()


def _outside(run: Run, ask: Ask, entry: Entered) -> list[tuple[str, str]]:
    lower, upper = _ends(ask, entry.given)
    found: list[tuple[str, str]] = []
    if lower is None or upper is None:
        return found
    founded = f" ({ask.standing})" if ask.standing else ""
    low, high = _bound(ask, ask.low), _bound(ask, ask.high)
    if low is not None and lower < low and not (ask.analyte and lower == -float("inf")):
        found.append(
            (ask.below, f"{entry.given} is below {ask.low:g} {ask.unit}{founded}. {ask.why}")
        )
    if high is not None and upper > high:
        found.append(
            (ask.above, f"{entry.given} is above {ask.high:g} {ask.unit}{founded}. {ask.why}")
        )
    if ask.against:
        found += _against(run, ask, lower, entry.given)
    return found


def _ends(ask: Ask, given: str) -> tuple[float | None, float | None]:
    if not ask.analyte:
        value = float(given.split(maxsplit=1)[0])
        return value, value
    test = parse_spot(f"{ask.analyte}={given}")
    usual = parse_spot(f"{ask.analyte}=1 {ask.unit}")
    if test.value is None or test.quantity != usual.quantity:
        return None, None  # the range is stated for another quantity
    return test.value.lower, test.value.upper


def _bound(ask: Ask, value: float | None) -> float | None:
    if value is None or not ask.analyte:
        return value
    parsed = parse_spot(f"{ask.analyte}={value:f} {ask.unit}").value
    return None if parsed is None else parsed.lower


def _against(run: Run, ask: Ask, value: float, given: str) -> list[tuple[str, str]]:
    worn = run.context.wearers
    if not worn:
        return [
            (
                m.WARN,
                (
                    f"No wearer's equipment is on record at outlet {run.context.outlet}, so {given} was "
                    "held against no minimum."
                ),
            )
        ]
    found = []
    for one in worn:
        if ask.against == m.WEARERS_FLOW:
            low, high, unit = one.minimum_flow_l_min, None, "L/min"
        else:
            low, high, unit = one.lowest_pressure_bar_g, one.highest_pressure_bar_g, "bar(g)"
        if low is None:
            found.append(
                (
                    m.WARN,
                    f"The least {ask.against} that {one.name} needs is not on record: not held against it.",
                )
            )
        elif value < low:
            found.append(
                (
                    m.DOUBT,
                    (
                        f"{given} is less than the {low:g} {unit} that {one.name} needs. Nobody is to "
                        "work with it here until that is cured."
                    ),
                )
            )
        if high is not None and value > high:
            found.append(
                (
                    m.DOUBT,
                    f"{given} is more than the {high:g} {unit} that {one.name} takes. Reduce it.",
                )
            )
    return found


def _about_lot(run: Run, ask: Ask, entry: Entered) -> list[tuple[str, str]]:
    lot = next((one for one in run.context.lots if one.id == entry.ref), None)
    if lot is None:
        return [(m.DOUBT, f"Lot {entry.given} is no longer on record.")]
    found = []
    read_at = run.read_at(ask.name) or entry.time
    if lot.expires is not None and _day(run, read_at) > lot.expires:
        found.append(
            (
                ask.expired,
                f"Lot {lot.name} expired on {lot.expires.isoformat()}. Take one in date.",
            )
        )
    if _kind_of(run, lot) is None and lot.kind == "oil_indicator":
        said = (
            f"names the kind {lot.device!r}, which is not known" if lot.device else "names no kind"
        )
        # Other thresholds than the general ones could make traces look like none.
        found.append(
            (
                m.DOUBT if lot.device else m.WARN,
                (
                    f"Lot {lot.name} {said}; the bands of {BUILT_IN_INDICATOR} were taken. Hold them "
                    "against the instruction of the indicator in use, and put its kind on record with "
                    f"'lungwort lot change {lot.name} --device ID --reason TEXT'."
                ),
            )
        )
    elif _kind_of(run, lot) is None and lot.kind == "tube":
        found.append(
            (
                m.WARN,
                (
                    f"Lot {lot.name} names no kind of tube that is known; the general kind "
                    f"{_tube_kind(run, lot).id} was taken, with its wide uncertainty."
                ),
            )
        )
    return found


def _day(run: Run, moment: datetime) -> date:
    return moment.astimezone(ZoneInfo(run.context.zone)).date()


def _about_wait(run: Run, ask: Ask, entry: Entered) -> list[tuple[str, str]]:
    begun, _ = run.wait(ask.name)
    if begun is None:
        return []
    lasted, length = entry.time - begun, length_of(run, ask)
    founded = f" ({ask.standing})" if ask.standing else ""
    if lasted < length:
        text = f"{ask.ask}: cut short after {_minutes(lasted)} of {_minutes(length)}{founded}."
        return [(ask.short, f"{text} {ask.why}".strip())]
    if ask.longest_minutes is not None and lasted > timedelta(minutes=ask.longest_minutes):
        return [
            (
                ask.long,
                (
                    f"{ask.ask}: lasted {_minutes(lasted)}, and {_minutes(length)} were meant; what is "
                    "shown after it may be too much."
                ),
            )
        ]
    return []


def _minutes(span: timedelta) -> str:
    seconds = round(span.total_seconds())
    whole, rest = divmod(seconds, 60)
    return f"{whole} min {rest:02d} s" if rest else f"{whole} min"
