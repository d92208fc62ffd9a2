"""Rule sets for intervals: those that come with lungwort, and those that users write.

A rule set is a TOML file. Every number in it names its document, clause and source, or says that
it is common practice without one.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import PlanError
from lungwort.limits.entries import Mistakes, Table, near
from lungwort.plan import files

if TYPE_CHECKING:
    from collections.abc import Mapping

DEFAULT: Final = "uk-guidance"
"""Rule set of a site that names none: the one with the shortest interval that holds by itself."""

TEST: Final = "test"
TEST_UNASSESSED: Final = "test_unassessed"
ASSESSMENT: Final = "assessment"
EVENTS: Final = "events"
RETENTION: Final = "retention"
CALIBRATION: Final = "calibration"
BUMP_TEST: Final = "bump_test"
WARNING: Final = "warning"
LOW_STOCK: Final = "low_stock"

CARTRIDGE_CHANGE: Final = "cartridge_change"
DOUBT: Final = "doubt"
EVENTS_KNOWN: Final = ("maintenance", "moved", DOUBT, "other", CARTRIDGE_CHANGE)

NO_SOURCE: Final = "common practice, no source"
OWN: Final = "own rule"
STATUSES: Final = ("confirmed", "confirmed (secondary)", "from memory", NO_SOURCE, OWN)

_RANGES: Final[dict[str, tuple[int, int, str]]] = {
    TEST: (1, 12, "months"),
    TEST_UNASSESSED: (1, 12, "months"),
    ASSESSMENT: (1, 60, "months"),
    RETENTION: (1, 100, "years"),
    CALIBRATION: (1, 60, "months"),
    BUMP_TEST: (0, 366, "days"),
    WARNING: (1, 366, "days"),
    LOW_STOCK: (0, 1000, "pieces"),
}
_REQUIRED: Final = (TEST, EVENTS, RETENTION, CALIBRATION, BUMP_TEST, WARNING, LOW_STOCK)
_SET_KEYS: Final = ("format", "id", "title", "remarks", "rule")
_RULE_KEYS: Final = (
    "key",
    "value",
    "events",
    "document",
    "clause",
    "source",
    "status",
    "remark",
)


@frozen
class Rule:
    """One rule of a set.

    Parameters
    ----------
    key : str
        What it rules.
    value : int
        Its number [unit]; 0 for a list of events.
    unit : str
        ``months``, ``days``, ``years`` or ``pieces``; empty for a list of events.
    events : tuple of str
        Events after which a test is due at once.
    document, clause, source : str
        Where it stands, and where it was seen; empty where there is none.
    status : str
        One of `STATUSES`.
    remark : str
        What a reader must know beside it.
    """

    key: str
    value: int = 0
    unit: str = ""
    events: tuple[str, ...] = ()
    document: str = ""
    clause: str = ""
    source: str = ""
    status: str = NO_SOURCE
    remark: str = ""

    @property
    def standing(self) -> str:
        """Document, clause and standing in one line."""
        where = ", ".join(part for part in (self.document, self.clause) if part)
        return f"{where}; {self.status}" if where else self.status


@frozen
class RuleSet:
    """Rules for intervals.

    Parameters
    ----------
    id, title : str
        Short name that commands and records use; what it is, in words.
    rules : tuple of Rule
        The rules.
    remarks : tuple of str
        What a user of the set must know.
    origin : str
        ``shipped`` or the name of the user's file.
    """

    id: str
    title: str
    rules: tuple[Rule, ...]
    remarks: tuple[str, ...] = ()
    origin: str = "shipped"

    def find(self, key: str) -> Rule | None:
        """Find a rule by its key; None where the set has none."""
        return next((rule for rule in self.rules if rule.key == key), None)

    def rule(self, key: str) -> Rule:
        """Find a rule by its key.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        Rule
            The rule.

        Raises
        ------
        KeyError
            Where the set has no such rule.
        """
        found = self.find(key)
        if found is None:
            raise KeyError(key)
        return found

    def said(self, key: str) -> str:
        """Name the set, a rule's document and its standing in one line."""
        return f"{self.id}: {self.rule(key).standing}"


@cache
def plan_ids() -> tuple[str, ...]:
    """Name the rule sets that come with lungwort.

    Returns
    -------
    tuple of str
        Ids in alphabetical order.
    """
    return files.shipped_ids("library")


def load_plan(id_or_path: str) -> RuleSet:
    """Load a rule set by its id, or a user's own by its file.

    Parameters
    ----------
    id_or_path : str
        An id such as ``uk-guidance``, or the path of a TOML file; empty for `DEFAULT`.

    Returns
    -------
    RuleSet
        The set.

    Raises
    ------
    PlanError
        Where the id is not known, or the file cannot be read or has mistakes (all are named).

    Examples
    --------
    >>> load_plan("six-monthly-diving").rule("test").value
    6
    """
    name = id_or_path or DEFAULT
    if name in plan_ids():
        return _shipped(name)
    if not files.is_file_name(name):
        listed = ", ".join(plan_ids())
        raise PlanError(
            f"rule set {name!r} is not known.{near(name, plan_ids())} Those that come with "
            f"lungwort: {listed}. A set of your own is given by its file, like my-plan.toml."
        )
    return read_plan(files.file_text(name, "rule set"), Path(name).name)


@cache
def _shipped(name: str) -> RuleSet:
    return read_plan(files.shipped_text("library", name), f"{name}.toml", shipped=True)


def read_plan(text: str, name: str, *, shipped: bool = False) -> RuleSet:
    """Read a rule set from TOML text.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.
    shipped : bool
        Whether the set is one that comes with lungwort.

    Returns
    -------
    RuleSet
        The set.

    Raises
    ------
    PlanError
        Where the text has mistakes; all are named.
    """
    data = files.parse(text, name)
    mistakes = Mistakes(name)
    top = Table(data, "", files.no_line, mistakes)
    top.known(_SET_KEYS)
    set_id = top.name("id")
    if set_id in plan_ids() and not shipped:
        top.wrong("id", f"{set_id!r} is a set that comes with lungwort. Give yours another id.")
    rules: dict[str, Rule] = {}
    for number, values in enumerate(files.tables(top, "rule")):
        rule = _read_rule(values, number, mistakes)
        if rule.key in rules:
            mistakes.add(f"rule {rule.key!r} stands twice. Leave one out.")
        if rule.key:
            rules[rule.key] = rule
    for key in _REQUIRED:
        if key not in rules and "rule" in data:
            mistakes.add(f"rule {key!r} is missing. Write it, as the sets of lungwort have it.")
    _check_together(rules, mistakes)
    title = top.text("title", required=True)
    remarks = top.texts("remarks")
    files.raise_any(mistakes)
    return RuleSet(set_id, title, tuple(rules.values()), remarks, "shipped" if shipped else name)


def _read_rule(values: Mapping[str, object], number: int, mistakes: Mistakes) -> Rule:
    key = values.get("key")
    where = f"rule {key!r}" if isinstance(key, str) else f"rule {number + 1}"
    table = Table(values, where, files.no_line, mistakes)
    table.known(_RULE_KEYS)
    name = table.text("key", required=True)
    known = (*_RANGES, EVENTS)
    if name and name not in known:
        hint = near(name, known) or f" Known rules: {', '.join(known)}."
        table.wrong("key", f"{name!r} is no rule.{hint}")
        name = ""
    value, unit = 0, ""
    events: tuple[str, ...] = ()
    if name == EVENTS:
        events = _read_events(table)
    elif name:
        low, high, unit = _RANGES[name]
        value = files.whole(table, "value", low, high, unit) or 0
        if "events" in values:
            table.wrong("events", f"only the rule {EVENTS!r} lists events. Leave it out.")
    status = table.choice("status", STATUSES, "")
    if "status" not in values:
        table.wrong("status", f"is missing. State one of: {', '.join(STATUSES)}.")
    rule = Rule(
        key=name,
        value=value,
        unit=unit,
        events=events,
        document=table.text("document"),
        clause=table.text("clause"),
        source=table.text("source"),
        status=status,
        remark=table.text("remark"),
    )
    if status and status not in {NO_SOURCE, OWN}:
        for needed in ("document", "clause", "source"):
            if needed not in values:
                table.wrong(needed, f"is missing, and the rule is said to be {status}. Name it.")
    return rule


def _read_events(table: Table) -> tuple[str, ...]:
    events = table.texts("events")
    for event in events:
        if event not in EVENTS_KNOWN:
            known = ", ".join(EVENTS_KNOWN)
            table.wrong("events", f"{event!r} is no event. Known events: {known}.")
    if DOUBT not in events:
        table.wrong("events", f"{DOUBT!r} must be among them: a doubt always asks for a test.")
    if "value" in table.values:
        table.wrong("value", "a list of events has no value. Leave it out.")
    return events


def _check_together(rules: Mapping[str, Rule], mistakes: Mistakes) -> None:
    unassessed, longest = rules.get(TEST_UNASSESSED), rules.get(TEST)
    if unassessed and longest and unassessed.value > longest.value:
        mistakes.add(
            f"rule {TEST_UNASSESSED!r}: {unassessed.value} months are longer than the longest "
            f"interval, {longest.value} months (rule {TEST!r}). Shorten it."
        )
