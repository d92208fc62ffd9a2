"""What people have breathed, as data for machines."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lungwort.wearers.averages import Average
    from lungwort.wearers.exposure import Blood, Person, Question

_MOST_POINTS: Final = 400


def data_of(
    question: Question, people: Iterable[Person], files: Iterable[tuple[str, str, str]]
) -> dict[str, Any]:
    """Give the whole result.

    Parameters
    ----------
    question : Question
        What was asked.
    people : iterable of Person
        What each has breathed.
    files : iterable of (str, str, str)
        Name, SHA-256 and outlet of each file.

    Returns
    -------
    dict
        Numbers, texts, lists and dicts only; times in UTC.
    """
    return {
        "people": [_person_data(one) for one in people],
        "files": [
            {"name": name, "sha256": digest, "outlet": outlet} for name, digest, outlet in files
        ],
        "above_ppm": question.above_ppm,
        "below_percent": question.below_percent,
        "ambient_ppm": question.ambient_ppm,
        "altitude_m": question.surroundings.altitude_m,
        "oxygen_percent": question.surroundings.oxygen_percent,
    }


def _utc(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).isoformat().replace("+00:00", "Z")


def _average_data(one: Average | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {
        "value": one.value,
        "at_least": one.at_least,
        "start": _utc(one.start_s),
        "end": _utc(one.end_s),
    }


def _blood_data(blood: Blood | None) -> dict[str, Any] | None:
    if blood is None:
        return None
    return {
        "peak_percent": dict(zip(("low", "middle", "high"), blood.peak_percent, strict=True)),
        "peak_at": _utc(blood.peak_s),
        "stays_end": _utc(blood.end_s),
        "below_h": dict(zip(("middle", "high"), blood.below_h, strict=True)),
        "unknown_taken_as_highest": blood.filled,
        "series": [
            {
                "time": _utc(float(blood.times_s[at])),
                "low": float(blood.low[at]),
                "middle": float(blood.middle[at]),
                "high": float(blood.high[at]),
            }
            for at in range(0, blood.times_s.size, -(-blood.times_s.size // _MOST_POINTS))
        ],
    }


def _person_data(one: Person) -> dict[str, Any]:
    return {
        "name": one.name,
        "assumed": one.assumed,
        "stays": [
            {
                "outlet": stay.outlet,
                "start": _utc(stay.start.timestamp()),
                "end": _utc(stay.end.timestamp()),
                "work": stay.work,
            }
            for stay in one.stays
        ],
        "co_ppm": {
            name: _average_data(getattr(one, name))
            for name in ("shift", "worst_shift", "mean", "short", "highest")
        },
        "co_dose_ppm_h": _average_data(one.dose),
        "cohb": _blood_data(one.blood),
        "limits": [
            {
                "set": finding.held.limit.set_id,
                "analyte": finding.held.limit.analyte,
                "averaging": finding.held.limit.averaging,
                "limit": finding.held.limit.upper,
                "unit": finding.held.limit.unit,
                "breathed": _average_data(finding.held.average),
                "uncertainty": finding.uncertainty,
                "exceeded": finding.held.exceeded,
                "told": finding.told,
            }
            for finding in one.findings
        ],
        "runs": [
            {
                "start": _utc(run.start_s),
                "end": _utc(run.end_s),
                "peak_ppm": run.peak,
                "dose_ppm_h": run.dose_h,
                "at_least": run.at_least,
            }
            for run in one.runs
        ],
        "oxygen_percent": None
        if one.oxygen_percent is None
        else dict(zip(("lowest", "highest"), one.oxygen_percent, strict=True)),
        "not_held": list(one.not_held),
        "holes": list(one.holes),
    }
