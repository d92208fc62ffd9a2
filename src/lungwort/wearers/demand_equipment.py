"""Kinds of breathing equipment and rates of work: what is published of the air they need."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any, Final

from attrs import frozen

from lungwort.errors import ExposureError

CONTINUOUS: Final = "continuous"
DEMAND: Final = "demand"
KINDS: Final = (
    "continuous_flow_tight",
    "continuous_flow_loose",
    "demand",
    "pressure_demand",
    "blasting_helmet",
    "suit",
)
WORK: Final = ("rest", "light", "moderate", "heavy", "very_heavy")
ASSUMED_WORK: Final = "heavy"

OTHER_USER_L_MIN: Final = 160.0
"""Flow by which other users are stood for when a mobile supply is tested [L/min]: EN 14594, 5.11.1
of the copy of 2023 (confirmed)."""
HIGHEST_HOSE_INLET_BAR_G: Final = 8.63
"""Pressure at the inlet of a hose above which a relief is needed [bar(g)]: 863 kN/m², 42 CFR
84.148(b) and (c) (confirmed)."""

LEAST_FLOW: Final = "least flow"
GREATEST_FLOW: Final = "greatest flow"
HOOD_PRESSURE: Final = "greatest pressure at the hood"


@frozen
class Published:
    """One published figure.

    Parameters
    ----------
    what : str
        ``least flow``, ``greatest flow`` or ``greatest pressure at the hood``.
    value : float
        The figure [L/min or kPa].
    unit : str
        Its unit.
    source, standing : str
        Where it stands, and how well that is founded.
    """

    what: str
    value: float
    unit: str
    source: str
    standing: str


@frozen
class Equipment:
    """One kind of breathing equipment.

    Parameters
    ----------
    kind, words : str
        Its key, and what it is in words.
    breathing : str
        ``continuous`` where air flows all the time, ``demand`` where it flows with each breath.
    published : tuple of Published
        What is published of it.
    """

    kind: str
    words: str
    breathing: str
    published: tuple[Published, ...] = ()

    def figure(self, what: str) -> Published | None:
        """Give one published figure by what it is; None where nothing was found."""
        return next((one for one in self.published if one.what == what), None)


@frozen
class Work:
    """A rate of work.

    Parameters
    ----------
    name : str
        Its key.
    low_l_min, high_l_min : float
        Mean volume that one person breathes in a minute [L/min].
    source, standing : str
        Where it stands, and how well that is founded.
    """

    name: str
    low_l_min: float
    high_l_min: float
    source: str
    standing: str


@cache
def _data() -> dict[str, Any]:
    file = resources.files("lungwort.wearers") / "equipment.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


@cache
def equipment(kind: str) -> Equipment:
    """Give what is published of a kind of equipment.

    Parameters
    ----------
    kind : str
        One of `KINDS`; empty for equipment whose kind is not known, of which nothing is published
        and through which air is taken to flow all the time.

    Returns
    -------
    Equipment
        The kind.

    Raises
    ------
    ExposureError
        Where the kind is not known.

    Examples
    --------
    >>> equipment("suit").words
    'ventilated suit'
    """
    if not kind:
        return Equipment("", "equipment of a kind that is not stated", CONTINUOUS)
    for entry in _data()["equipment"]:
        if entry["kind"] == kind:
            return Equipment(
                kind, entry["words"], entry["breathing"], _published(entry.get("published", ()))
            )
    raise ExposureError(
        f"equipment {kind!r} is not known. Known kinds: {', '.join(KINDS)}. Name one of them."
    )


def _published(entries: list[dict[str, Any]]) -> tuple[Published, ...]:
    return tuple(
        Published(
            one["what"],
            float(one["flow_l_min"] if "flow_l_min" in one else one["pressure_kpa"]),
            "L/min" if "flow_l_min" in one else "kPa",
            one["source"],
            one["standing"],
        )
        for one in entries
    )


@cache
def work_rate(name: str) -> Work:
    """Give what one person breathes at a rate of work.

    Parameters
    ----------
    name : str
        One of `WORK`.

    Returns
    -------
    Work
        The rate.

    Raises
    ------
    ExposureError
        Where it is not known.

    Examples
    --------
    >>> work_rate("heavy").high_l_min
    60.0
    """
    for entry in _data()["work"]:
        if entry["name"] == name:
            low, high = entry["ventilation_l_min"]
            return Work(name, float(low), float(high), entry["source"], entry["standing"])
    raise ExposureError(
        f"the rate of work {name!r} is not known. Known: {', '.join(WORK)}. Name one of them."
    )
