"""Who was on which outlet, from when to when, and how hard the work was."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from attrs import frozen

from lungwort.errors import ExposureError, RangeError
from lungwort.wearers.uptake_people import START_PERCENT, WORK, Wearer

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

COLUMNS: Final = ("name", "outlet", "start", "end", "work")
MORE: Final = ("height_m", "weight_kg", "sex", "start_cohb_percent")
MOST_STAYS: Final = 300
MOST_BYTES: Final = 1_000_000
_LONGEST_TEXT: Final = 120
EXAMPLE: Final = "'A. Example,hall 1,2026-03-04 08:00,2026-03-04 10:30,heavy'"


@frozen
class Stay:
    """One person on one outlet.

    Parameters
    ----------
    name : str
        Who.
    outlet : str
        Where.
    start, end : datetime
        From when to when, UTC.
    work : str
        Rate of work: one of `lungwort.wearers.uptake_people.WORK`.
    wearer : Wearer
        What is known of the body.
    """

    name: str
    outlet: str
    start: datetime
    end: datetime
    work: str
    wearer: Wearer


def moment(text: str, zone: str | None, where: str) -> datetime:
    """Read a wall time of the site; a time that came twice or never is refused.

    Parameters
    ----------
    text : str
        ISO 8601, such as ``2026-03-04 08:00`` or ``2026-03-04T08:00+01:00``.
    zone : str, optional
        IANA zone of a time without an offset; None where it is not known, and such a time is refused.
    where : str
        Where it stands, for messages.

    Returns
    -------
    datetime
        The moment, UTC.

    Raises
    ------
    ExposureError
        Where it is no moment, or not one alone.

    Examples
    --------
    >>> moment("2026-07-01 08:00", "Europe/Berlin", "line 1").isoformat()
    '2026-07-01T06:00:00+00:00'
    """
    said = text.strip()
    try:
        found = datetime.fromisoformat(said)
        info = UTC if zone is None else ZoneInfo(zone)
    except ZoneInfoNotFoundError:
        raise ExposureError(
            f"{where}: time zone {zone!r} is not known. Give one like 'Europe/London'."
        ) from None
    except ValueError:
        raise ExposureError(
            f"{where}: {text!r} is no moment. Write it year first, like '2026-03-04 08:00'."
        ) from None
    if len(said) <= len("2026-03-04"):
        raise ExposureError(f"{where}: {said!r} has no time of day. Write it like '{said} 08:00'.")
    if found.tzinfo is not None:
        return found.astimezone(UTC)
    if zone is None:
        raise ExposureError(
            f"{where}: {said!r} states no time zone, and the log states one of its own. Give --zone "
            f"with the zone of the site, or write the offset with it, like '{said}+01:00'."
        )
    first, second = (found.replace(tzinfo=info, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    if first.astimezone(UTC).astimezone(info).replace(tzinfo=None) != found:
        raise ExposureError(
            f"{where}: {said!r} did not exist in {zone}: clocks were put forward over it. Check it."
        )
    offsets = " or ".join(f"'{said}{one:%z}'" for one in (first, second))
    raise ExposureError(
        f"{where}: {said!r} came twice in {zone}, as clocks were put back. Write {offsets}."
    )


def read_stays(texts: Iterable[str], zone: str | None) -> tuple[Stay, ...]:
    """Read stays as typed, one in each text.

    Parameters
    ----------
    texts : iterable of str
        ``NAME,OUTLET,START,END,WORK``, then, where known, height in m, weight in kg, sex and
        carboxyhaemoglobin at the beginning in %.
    zone : str, optional
        Time zone of the site; None where each time must state its own.

    Returns
    -------
    tuple of Stay
        In the order given.

    Raises
    ------
    ExposureError
        Where one cannot be read, or a person would be at two places at once.
    """
    found = []
    for number, text in enumerate(texts, start=1):
        where = f"stay {number}"
        rows = list(csv.reader([text], skipinitialspace=True))
        cells = [cell.strip() for cell in rows[0]] if rows else []
        if not len(COLUMNS) <= len(cells) <= len(COLUMNS) + len(MORE):
            raise ExposureError(
                f"{where}: {text!r} has {len(cells)} parts; NAME,OUTLET,START,END,WORK are needed. "
                f"Write it like {EXAMPLE}."
            )
        found.append(_stay(dict(zip((*COLUMNS, *MORE), cells, strict=False)), zone, where))
        _not_too_many(len(found), "the list")
    return _checked(found)


def read_csv(text: str, zone: str | None, name: str = "stays") -> tuple[Stay, ...]:
    """Read stays from a table with headings.

    Parameters
    ----------
    text : str
        CSV with the headings name, outlet, start, end and work, and, where known, height_m,
        weight_kg, sex and start_cohb_percent; separated by commas, semicolons or tabs.
    zone : str, optional
        Time zone of the site; None where each time must state its own.
    name : str
        Name of the file, for messages.

    Returns
    -------
    tuple of Stay
        In the file's order.

    Raises
    ------
    ExposureError
        Where it cannot be read; the line is named.
    """
    if len(text) > MOST_BYTES:
        raise ExposureError(
            f"{name} has {len(text)} characters; a table of stays has at most {MOST_BYTES}. "
            "Give the right file."
        )
    content = text.lstrip("\ufeff")
    head = content.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(content, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as failed:
        raise ExposureError(f"{name}: is no CSV: {failed}. Save it as CSV.") from None
    headings = [cell.strip().lower().replace(" ", "_") for cell in rows[0]] if rows else []
    missing = [one for one in COLUMNS if one not in headings]
    extra = [one for one in headings if one not in {*COLUMNS, *MORE}]
    if missing or extra or len(set(headings)) < len(headings):
        raise ExposureError(
            f"{name}, line 1: the headings are {', '.join(headings) or 'none'}. Needed are "
            f"{', '.join(COLUMNS)}; allowed beside them are {', '.join(MORE)}, each once."
        )
    found = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        where = f"{name}, line {number}"
        if len(row) != len(headings):
            raise ExposureError(
                f"{where}: has {len(row)} cells under {len(headings)} headings. Correct the line."
            )
        cells = {key: cell.strip() for key, cell in zip(headings, row, strict=True)}
        found.append(_stay(cells, zone, where))
        _not_too_many(len(found), name)
    if not found:
        raise ExposureError(f"{name} holds no stay below its headings. Write at least one.")
    return _checked(found)


def _stay(cells: Mapping[str, str], zone: str | None, where: str) -> Stay:
    for key in COLUMNS:
        said = cells.get(key, "")
        if not said:
            raise ExposureError(f"{where}: {key} is empty. Write it; an example is {EXAMPLE}.")
        if len(said) > _LONGEST_TEXT or not said.isprintable():
            raise ExposureError(
                f"{where}: {key} is longer than {_LONGEST_TEXT} characters, or holds one that cannot "
                "be seen. Shorten it."
            )
    work = cells["work"].lower().replace(" ", "_").replace("-", "_")
    if work not in WORK:
        raise ExposureError(
            f"{where}: work is {cells['work']!r}; allowed are {', '.join(WORK)}. Where it is not "
            "known, write very_heavy: it gives the highest result."
        )
    start, end = (moment(cells[key], zone, f"{where}, {key}") for key in ("start", "end"))
    if end <= start:
        raise ExposureError(
            f"{where}: the stay of {cells['name']} ends at {cells['end']!r}, not after its begin "
            f"{cells['start']!r}. Correct the times."
        )
    try:
        wearer = Wearer(
            height_m=_number(cells, "height_m", where),
            weight_kg=_number(cells, "weight_kg", where),
            sex=cells.get("sex", "").lower() or None,
            start_percent=_start(cells, where),
        )
    except (RangeError, ExposureError) as failed:
        raise ExposureError(
            str(failed) if str(failed).startswith(where) else f"{where}: {failed}"
        ) from None
    return Stay(" ".join(cells["name"].split()), cells["outlet"], start, end, work, wearer)


def _not_too_many(count: int, name: str) -> None:
    if count > MOST_STAYS:
        raise ExposureError(f"{name} has more than {MOST_STAYS} stays. Split it.")


def _number(cells: Mapping[str, str], key: str, where: str) -> float | None:
    said = cells.get(key, "")
    if not said:
        return None
    try:
        return float(said)
    except ValueError:
        raise ExposureError(
            f"{where}: {key} is {said!r}, a number with a point is needed. Correct it."
        ) from None


def _start(cells: Mapping[str, str], where: str) -> float:
    given = _number(cells, "start_cohb_percent", where)
    return START_PERCENT["non-smoker"] if given is None else given


def _checked(stays: list[Stay]) -> tuple[Stay, ...]:
    """Refuse a person at two places at once, or with two bodies."""
    if not stays:
        raise ExposureError(f"no stay was given. Write one like {EXAMPLE}.")
    by_name: dict[str, list[Stay]] = {}
    for one in stays:
        by_name.setdefault(one.name, []).append(one)
    for name, own in by_name.items():
        ordered = sorted(own, key=lambda one: one.start)
        for before, after in pairwise(ordered):
            if after.start < before.end:
                raise ExposureError(
                    f"{name} is on {before.outlet!r} until {before.end:%Y-%m-%d %H:%M:%S} and on "
                    f"{after.outlet!r} from {after.start:%Y-%m-%d %H:%M:%S} already (times that were "
                    "typed with an offset are told in UTC, others as typed). Correct the times, or tell "
                    "two people of one name apart."
                )
            if after.wearer != before.wearer:
                raise ExposureError(
                    f"{name} has other figures of the body in two stays. Give the same in each, or "
                    "tell two people of one name apart."
                )
    return tuple(stays)
