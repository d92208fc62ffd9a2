"""Workplace exposure limits: over 8 hours, over 15 minutes, ceilings and what endangers life.

The first three stand in the library of limit sets, under the use ``workplace exposure``; a set of
the user's own of that use is taken as well. Concentrations that are immediately dangerous stand
beside this module. These are no limits for breathing air: air at these values is not fit to be
supplied.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort import tomlfile
from lungwort.air.analytes import ANALYTES
from lungwort.air.gas import conversion_factor
from lungwort.errors import ExposureError, InputError
from lungwort.limits.load import available, limit_set
from lungwort.limits.model import ANY_READING
from lungwort.wearers.averages import DAY_S, SHIFT_S, SHORT_S, Average, highest_mean, peak

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from lungwort.limits.model import Limit, LimitSet
    from lungwort.wearers.averages import Course

USE: Final = "workplace exposure"
IDLH_SET: Final = "niosh-idlh"
IDLH: Final = "IDLH"
SHIFT: Final = "8 h"
WINDOWS_S: Final = {"15 min": SHORT_S, "10 min": 600.0}


@frozen
class ExposureLimit:
    """What one document allows to be breathed of one thing.

    Parameters
    ----------
    set_id : str
        Id of the set that it stands in.
    document : str
        The document.
    analyte : str
        Key of the analyte.
    unit : str
        Unit of the number.
    upper : float
        What may not be exceeded [unit].
    averaging : str
        ``8 h``, ``15 min``, ``10 min``, ``any reading`` or ``IDLH``.
    source : str
        Where the number was seen.
    standing : str
        How well it is founded.
    included : bool
        Whether the number itself may be reached.
    """

    set_id: str
    document: str
    analyte: str
    unit: str
    upper: float
    averaging: str
    source: str
    standing: str
    included: bool = True


@frozen
class Held:
    """An exposure held against a limit.

    Parameters
    ----------
    limit : ExposureLimit
        The limit.
    average : Average
        What was breathed, averaged as the limit asks [unit of the limit].
    exceeded : bool
        Whether it lies above.
    """

    limit: ExposureLimit
    average: Average
    exceeded: bool


@cache
def shipped_ids() -> tuple[str, ...]:
    """Name the sets of exposure limits that come with lungwort.

    Returns
    -------
    tuple of str
        Ids.

    Examples
    --------
    >>> shipped_ids()
    ('eu-exposure-limits', 'niosh-idlh', 'niosh-rel', 'osha-pel', 'uk-eh40-2020')
    """
    return tuple(sorted([*(one.id for one in available() if one.use == USE), IDLH_SET]))


@cache
def _idlh() -> tuple[ExposureLimit, ...]:
    name = f"{IDLH_SET}.toml"
    text = (
        resources.files("lungwort.wearers")
        .joinpath("exposure_limits", name)
        .read_text(encoding="utf-8")
    )
    return read_idlh(text, name)


def read_idlh(text: str, name: str) -> tuple[ExposureLimit, ...]:
    """Read concentrations that are immediately dangerous from TOML text.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    tuple of ExposureLimit
        In the file's order.

    Raises
    ------
    ExposureError
        Where it has mistakes; all are named.
    """
    top = tomlfile.opened(text, name, ("format", "id", "title", "document", "limit"), ExposureError)
    set_id, document = top.name("id"), top.text("document", required=True)
    found = []
    for number, values in enumerate(top.tables("limit"), start=1):
        table = tomlfile.Table(values, (), f"[[limit]] number {number}", top.mistakes)
        table.known(("analyte", "unit", "above", "source", "standing"))
        analyte = table.choice("analyte", tuple(ANALYTES), "")
        above = table.number("above", 1e-3, 1e6, "unit of the limit")
        if not analyte or above is None:
            table.wrong("above", "'analyte' and 'above' are both needed. Write them.")
            continue
        found.append(
            ExposureLimit(
                set_id,
                document,
                analyte,
                table.text("unit", required=True),
                above,
                IDLH,
                table.text("source"),
                table.standing(required=True),
            )
        )
    if not found:
        top.wrong("limit", "is missing. Write at least one [[limit]].")
    top.mistakes.raise_any()
    return tuple(found)


def exposure_limits(ids: Iterable[str] = ()) -> tuple[ExposureLimit, ...]:
    """Give the limits of the sets named.

    Parameters
    ----------
    ids : iterable of str
        Ids of sets, or files of the user's own of the use ``workplace exposure``; none for all
        that come with lungwort. What is immediately dangerous is always among them.

    Returns
    -------
    tuple of ExposureLimit
        The limits.

    Raises
    ------
    ExposureError
        Where a set is for another use, or has a limit that cannot be held against an exposure.
    LimitSetError
        Where a set is not known or has mistakes.
    """
    chosen = tuple(dict.fromkeys(ids)) or shipped_ids()
    found: list[ExposureLimit] = []
    for one in chosen:
        if one != IDLH_SET:
            found.extend(_of_set(one))
    return (*found, *_idlh())


def _of_set(name: str) -> tuple[ExposureLimit, ...]:
    known = limit_set(name)
    if known.use != USE:
        raise ExposureError(
            f"limit set {known.id!r} is for {known.use!r}, not for {USE!r}: it says what air may be "
            f"supplied, not what a person may have breathed. Choose among {', '.join(shipped_ids())}, "
            f'or write use = "{USE}" in a set of your own.'
        )
    found = []
    for limit in known:
        if limit.averaging not in {SHIFT, ANY_READING, *WINDOWS_S} or limit.upper is None:
            raise ExposureError(
                f"limit {limit.key!r} of {known.id!r} is no upper limit over 8 h, 15 min, 10 min or "
                "any reading. Leave it out of a set of exposure limits."
            )
        unit, factor = _usual_unit(known, limit)
        found.append(
            ExposureLimit(
                known.id,
                known.document,
                limit.analyte,
                unit,
                limit.upper.value * factor,
                limit.averaging,
                limit.source,
                limit.status,
                limit.upper.included,
            )
        )
    return tuple(found)


def _usual_unit(known: LimitSet, limit: Limit) -> tuple[str, float]:
    """Give the unit in which an analyte is logged, and the factor that brings a limit to it.

    All limits of one analyte are then numbers of one unit, that of what was breathed.
    """
    usual = ANALYTES[limit.analyte].unit
    if limit.unit == usual:
        return usual, 1.0
    try:
        factor = conversion_factor(
            limit.unit,
            usual,
            gas=limit.analyte,
            temperature_c=known.reference_temperature_c,
            pressure_kpa=known.reference_pressure_kpa,
        )
    except InputError as error:
        raise ExposureError(
            f"limit {limit.key!r} of {known.id!r} is stated in {limit.unit}, and {limit.analyte} is "
            f"logged in {usual}: {error} State the limit in {usual}."
        ) from None
    return usual, factor


def strictest(limits: Iterable[ExposureLimit]) -> tuple[ExposureLimit, ...]:
    """Pick the lowest of each analyte and averaging time.

    Parameters
    ----------
    limits : iterable of ExposureLimit
        The limits.

    Returns
    -------
    tuple of ExposureLimit
        One for each analyte and averaging time; of equals all.
    """
    known = tuple(limits)
    least: dict[tuple[str, str, str], float] = {}
    for one in known:
        key = (one.analyte, one.unit, one.averaging)
        least[key] = min(one.upper, least.get(key, one.upper))
    return tuple(one for one in known if one.upper == least[one.analyte, one.unit, one.averaging])


def averaged(of: Course, averaging: str) -> Average | None:
    """Average a course as a limit asks.

    Parameters
    ----------
    of : Course
        What was breathed.
    averaging : str
        ``8 h``, ``15 min``, ``10 min``, ``any reading`` or ``IDLH``.

    Returns
    -------
    Average or None
        Over 8 h the sum over the worst 24 h divided by 8 h; for others the highest; None where
        there is no reading at all.
    """
    if averaging == SHIFT:
        return highest_mean(of, DAY_S, SHIFT_S)
    if averaging in WINDOWS_S:
        return highest_mean(of, WINDOWS_S[averaging])
    return peak(of)


def held(of: Course, limits: Iterable[ExposureLimit]) -> tuple[Held, ...]:
    """Hold what was breathed against limits of the same analyte and unit.

    Parameters
    ----------
    of : Course
        What was breathed [unit of the limits].
    limits : iterable of ExposureLimit
        The limits.

    Returns
    -------
    tuple of Held
        One for each limit that anything can be said of.
    """
    known: dict[str, Average | None] = {}
    found = []
    for limit in limits:
        if limit.averaging not in known:
            known[limit.averaging] = averaged(of, limit.averaging)
        average = known[limit.averaging]
        if average is not None:
            dust = 1e-9 * limit.upper
            most = limit.upper + (dust if limit.included else -dust)
            found.append(Held(limit, average, average.value > most))
    return tuple(found)


def silent_on(limits: Iterable[ExposureLimit], analytes: Iterable[str]) -> tuple[str, ...]:
    """Name what limits say nothing of, but for what is immediately dangerous.

    Parameters
    ----------
    limits : iterable of ExposureLimit
        The limits that it is held against.
    analytes : iterable of str
        What was logged.

    Returns
    -------
    tuple of str
        Analytes without a limit over a time or for any reading.
    """
    known = {one.analyte for one in limits if one.averaging != IDLH}
    return tuple(one for one in analytes if one not in known)


def high_elsewhere(
    courses: Mapping[str, Course], limits: Iterable[ExposureLimit]
) -> tuple[str, ...]:
    """Say what lies above a limit of a set that was not chosen, where the chosen ones are silent.

    Parameters
    ----------
    courses : mapping of str to Course
        What was breathed of that on which the chosen sets are silent [unit of the limits].
    limits : iterable of ExposureLimit
        Limits of sets that were not chosen.

    Returns
    -------
    tuple of str
        A sentence for each analyte that lies above one.
    """
    others = tuple(limits)
    found = []
    for analyte, one in courses.items():
        above = [
            each
            for each in held(one, [limit for limit in others if limit.analyte == analyte])
            if each.exceeded
        ]
        if not above:
            continue
        worst = max(above, key=lambda each: each.average.value / each.limit.upper)
        limit = worst.limit
        over = "in one reading" if limit.averaging == ANY_READING else f"over {limit.averaging}"
        found.append(
            f"{analyte.upper()}: {worst.average.value:.3g} {limit.unit} {over} lies above "
            f"{limit.upper:g} of {limit.document}, and the sets that were chosen hold no limit over a "
            "time for it. Choose that set too, or a set with the limit that binds you."
        )
    return tuple(found)
