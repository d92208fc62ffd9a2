"""What readings look like for each cause, read from data."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.errors import LogError
from lungwort.tomlfile import Table, opened

if TYPE_CHECKING:
    from collections.abc import Mapping

OTHER: Final = "other"
OTHER_TITLE: Final = "something else, or cannot be told"

_KEYS: Final = ("format", "standing", "source", "other", "cause")
_CAUSE_KEYS: Final = (
    "id",
    "needs",
    "title",
    "why",
    "confirm",
    "first",
    "cautions",
    "likelihood",
)
_ALL: Final = 100.0
_LEAST_PERCENT: Final = 0.2
_SLACK: Final = 1e-6


@frozen
class Cause:
    """A cause of bad air.

    Parameters
    ----------
    id, title : str
        Short name; what it is, in words.
    why : str
        What it does to the air, in words.
    confirm, first, cautions : tuple of str
        What would confirm it, what to do first, and what to mind.
    needs : tuple of str
        Features without which it can hardly be told.
    likelihood : mapping of str to mapping
        For each feature the probability of each outcome, 0 to 1 [1].
    """

    id: str
    title: str
    why: str
    confirm: tuple[str, ...]
    first: tuple[str, ...]
    cautions: tuple[str, ...]
    needs: tuple[str, ...]
    likelihood: Mapping[str, Mapping[str, float]] = field(repr=False)


@frozen
class CauseTable:
    """All causes, with how they are told from anything else.

    Parameters
    ----------
    causes : tuple of Cause
        The causes.
    other : mapping of str to mapping
        For each feature the probability of each outcome where it is none of the causes [1].
    other_before : float
        Probability, before any reading, that it is none of them [1].
    standing, source : str
        How well the probabilities are founded.
    """

    causes: tuple[Cause, ...]
    other: Mapping[str, Mapping[str, float]] = field(repr=False)
    other_before: float
    standing: str
    source: str

    def cause(self, key: str) -> Cause:
        """Give a cause by its short name.

        Raises
        ------
        LogError
            Where there is no such cause.
        """
        for one in self.causes:
            if one.id == key:
                return one
        known = ", ".join(one.id for one in self.causes)
        raise LogError(f"{key!r} is no cause that is known. Known are: {known}.")


@cache
def causes() -> CauseTable:
    """Give the causes that come with lungwort.

    Returns
    -------
    CauseTable
        The causes.
    """
    text = resources.files("lungwort.insight").joinpath("causes.toml").read_text("utf-8")
    return read_causes(text, "causes.toml")


def read_causes(text: str, name: str) -> CauseTable:
    """Read causes from TOML.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    CauseTable
        The causes.

    Raises
    ------
    LogError
        Where it cannot be read; all mistakes are told together.
    """
    top = opened(text, name, _KEYS, LogError)
    base = top.values.get(OTHER)
    table = Table(base if isinstance(base, dict) else {}, (), f"[{OTHER}]", top.mistakes)
    before = table.number("share_before", 1.0, 99.0, "%")
    if before is None and "share_before" not in table.values:
        table.wrong(
            "share_before", "is missing. Write the per cent of cases that are none of these."
        )
    outcomes = _base(table)
    standing = top.standing(required=True)
    found = tuple(_cause(values, outcomes, top) for values in top.tables("cause"))
    if len({one.id for one in found}) != len(found):
        top.wrong("cause", "two causes have the same id. Give each its own.")
    top.mistakes.raise_any()
    return CauseTable(found, outcomes, (before or 0.0) / _ALL, standing, top.text("source"))


def _base(table: Table) -> dict[str, dict[str, float]]:
    made = {}
    for feature, row in table.values.items():
        if feature == "share_before":
            continue
        if not isinstance(row, dict) or not row:
            table.wrong(
                feature, "outcomes with their per cent are needed, like { yes = 20, no = 80 }."
            )
            continue
        inner = Table(row, table.names, f"{table.where} {feature}", table.mistakes)
        numbers = {one: inner.number(one, _LEAST_PERCENT, _ALL, "%") or 0.0 for one in row}
        if abs(sum(numbers.values()) - _ALL) > _SLACK:
            table.wrong(feature, f"found {sum(numbers.values()):g} % in all, 100 % are needed.")
            continue
        made[feature] = {one: number / _ALL for one, number in numbers.items()}
    return made


def _cause(
    values: Mapping[str, object], outcomes: Mapping[str, Mapping[str, float]], top: Table
) -> Cause:
    key = str(values.get("id", ""))
    table = Table(values, (key,), f"[[cause]] {key!r}", top.mistakes)
    table.known(_CAUSE_KEYS)
    for need in ("confirm", "first", "cautions"):
        if not table.texts(need):
            table.wrong(need, "is missing. No cause is named without it.")
    for feature in table.texts("needs"):
        if feature not in outcomes:
            table.wrong("needs", f"{feature!r} is no sign that [{OTHER}] knows.")
    rows = values.get("likelihood")
    likelihood = {}
    for feature, row in rows.items() if isinstance(rows, dict) else ():
        if feature not in outcomes or not isinstance(row, dict):
            table.wrong("likelihood", f"{feature!r} is no sign that [{OTHER}] knows.")
            continue
        inner = Table(row, table.names, f"{table.where} {feature}", top.mistakes)
        inner.known(tuple(outcomes[feature]))
        named = {
            one: inner.number(one, _LEAST_PERCENT, _ALL, "%") or 0.0
            for one in row
            if one in outcomes[feature]
        }
        likelihood[feature] = _filled(named, outcomes[feature], inner)
    return Cause(
        id=table.name("id"),
        title=table.text("title", required=True),
        why=table.text("why", required=True),
        confirm=table.texts("confirm"),
        first=table.texts("first"),
        cautions=table.texts("cautions"),
        needs=table.texts("needs"),
        likelihood=likelihood,
    )


def _filled(
    named: Mapping[str, float], outcomes: Mapping[str, float], table: Table
) -> dict[str, float]:
    """Share what is left to 100 evenly among the outcomes that are not named."""
    left, open_ = _ALL - sum(named.values()), [one for one in outcomes if one not in named]
    if (
        left < -_SLACK
        or (open_ and left < _LEAST_PERCENT * len(open_))
        or (not open_ and left > _SLACK)
    ):
        table.wrong(
            next(iter(named), ""),
            f"found {sum(named.values()):g} % in all for {len(named)} of {len(outcomes)} outcomes. "
            "Leave something for the others, or give all of them 100 % together.",
        )
    even = max(left, _LEAST_PERCENT) / len(open_) if open_ else 0.0
    return {one: named.get(one, even) / _ALL for one in outcomes}
