"""All supplies on one screen: what is said of each, and the exit code."""

from __future__ import annotations

import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve

from lungwort.errors import InputError, UnknownRecordError
from lungwort.jobs.opening import Where
from lungwort.jobs.status import SupplyRow, as_json, status, status_of
from lungwort.register.workspace import Workspace

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.plan import build_yard as yard

GOOD = yard.verdict(yard.ago(10), hand_test_ids=("test-1",))
TEST = yard.hand_test(yard.ago(10))
SERVING = yard.state("in_service", yard.ago(9))
SPARE = evolve(yard.SUPPLY, id="supply-2", name="bank")
AT_SPARE = evolve(yard.OUTLET, id="outlet-9", name="filling", supply_id="supply-2")


def _yard(**more: Any) -> Any:
    given: dict[str, Any] = {"verdicts": (GOOD,), "hand_tests": (TEST,), "states": (SERVING,)}
    return yard.yard(**(given | more))


def _row(**more: Any) -> SupplyRow:
    (row,) = status_of(_yard(**more)).rows
    return row


def test_in_service_and_conforming() -> None:
    """The row says all that the responsible person asks at a glance; the exit code is 0."""
    made = status_of(_yard(), workspace="slip")
    (row,) = made.rows

    assert made.exit_code == 0
    assert (row.site, row.supply, row.state_words, row.since) == (
        "yard",
        "compressor",
        "in service",
        "6 Jun 2026",
    )
    assert (row.verdict, row.reasons, row.findings, row.late) == ("conforms", (), (), 0)
    assert row.limit_set == yard.LIMITS.id
    assert row.weakest is not None
    assert row.weakest.text == "Oxygen at paint-1: log of 5 Jun 2026, stale on 6 Sep 2026"
    assert row.next_text == "paint-1: test by hand, by 5 Sep 2026"
    assert made.notes == ()


@pytest.mark.parametrize(
    ("more", "verdict", "code"),
    [
        ({"verdicts": (GOOD, yard.failing(yard.ago(4)))}, "does_not_conform", 1),
        ({"verdicts": ()}, "not_proven", 3),
        ({"now": yard.NOW + timedelta(days=100)}, "not_proven", 3),
        ({"newest_entry": yard.NOW + timedelta(hours=1)}, "not_proven", 3),
        ({"outlets": ()}, "not_proven", 3),
        ({"sites": (evolve(yard.SITE, limit_set=""),)}, "not_proven", 3),
        ({"sites": (evolve(yard.SITE, limit_set="no-such-set"),)}, "not_proven", 3),
        ({"sites": (evolve(yard.SITE, plan="no-such-plan"),)}, "not_proven", 3),
    ],
)
def test_anything_less_than_proof(more: dict[str, Any], verdict: str, code: int) -> None:
    """What is outside, missing, stale or cannot be judged, with a reason."""
    made = status_of(_yard(**more))
    (row,) = made.rows

    assert (row.verdict, made.exit_code) == (verdict, code)
    assert row.reasons


def test_a_rule_set_that_is_not_known_is_told_once_more() -> None:
    """What is due cannot be told then; the screen says so and stands."""
    made = status_of(_yard(sites=(evolve(yard.SITE, plan="no-such-plan"),)))

    assert "What is due cannot be told: rule set 'no-such-plan' is not known" in made.notes[0]
    assert made.rows[0].next_due is None
    assert made.rows[0].next_text == ""


def test_the_clock_behind_the_record_is_told() -> None:
    """Beside the row."""
    made = status_of(_yard(newest_entry=yard.NOW + timedelta(hours=1)))

    assert "clock is behind the record" in made.notes[0]


@pytest.mark.parametrize(
    ("states", "code", "words"),
    [
        ((), 3, "under test"),
        ((SERVING, yard.state("withdrawn", yard.ago(1))), 3, "withdrawn"),
        ((SERVING,), 0, "in service"),
    ],
)
def test_the_code_is_that_of_supplies_in_service(
    states: tuple[Any, ...], code: int, words: str
) -> None:
    """Air that nobody is given decides nothing; but without any in service nothing is proved."""
    made = status_of(_yard(states=states))

    assert made.exit_code == code
    assert made.rows[0].state_words == words
    assert ("No supply is in service, so nothing is proved here." in made.notes) == (code == 3)


def test_the_worst_in_service_decides() -> None:
    """A second supply that is not proven counts once it is in service."""
    both = (yard.SUPPLY, SPARE)
    outlets = (yard.OUTLET, AT_SPARE)
    resting = status_of(_yard(supplies=both, outlets=outlets))
    assert resting.exit_code == 0
    assert [row.supply for row in resting.rows] == ["bank", "compressor"]
    states = (SERVING, yard.state("in_service", yard.ago(8), supply_id="supply-2"))
    assert status_of(_yard(supplies=both, outlets=outlets, states=states)).exit_code == 3
    only = status_of(_yard(supplies=both, outlets=outlets, states=states), supply_id="supply-1")
    assert only.exit_code == 0
    assert len(only.rows) == 1
    assert status_of(_yard(supplies=both, outlets=outlets), site_id="site-9").rows == ()


def test_nothing_on_record() -> None:
    """No supply: nothing is proved."""
    made = status_of(yard.yard(supplies=()))

    assert made.exit_code == 3
    assert "lungwort supply add" in made.notes[0]


def test_open_findings_and_what_is_late() -> None:
    """Findings by number; what is overdue at the supply, and beside it."""
    made = status_of(
        _yard(
            findings=(yard.finding(yard.ago(1)),),
            events=(yard.event("moved", yard.ago(2)),),
            stages=(evolve(yard.STAGE, change_months=3),),
            calibrations=(),
        )
    )
    (row,) = made.rows

    assert row.findings == ("F-1",)
    assert row.late == 2
    assert row.next_text == "paint-1: test by hand, overdue since 13 Jun 2026"
    assert made.others == (
        "four-gas: bump test, never done.",
        "four-gas: calibrate, never done.",
    )


def test_an_open_finding_about_the_air_leaves_nothing_proven() -> None:
    """What earns no certificate is not shown as clean; a lost log book is no matter of the air."""
    smell = evolve(yard.finding(yard.ago(1)), analytes=(), verdict_id=None)
    for found in (yard.finding(yard.ago(1)), smell):
        made = status_of(_yard(findings=(found,)))
        (row,) = made.rows
        assert (row.verdict, made.exit_code) == ("not_proven", 3)
        assert row.reasons[0] == (
            "Finding F-1 is open: withdraw the supply, or cure and test again."
        )
    book = evolve(smell, note="Not about the air.")
    made = status_of(_yard(findings=(book,)))
    assert (made.rows[0].verdict, made.exit_code) == ("conforms", 0)
    assert made.rows[0].findings == ("F-1",)
    outside = status_of(_yard(verdicts=(yard.failing(yard.ago(4)),), findings=(smell,)))
    assert (outside.rows[0].verdict, outside.exit_code) == ("does_not_conform", 1)
    assert any("Finding F-1 is open" in why for why in outside.rows[0].reasons)


def test_a_lenient_verdict_alone_leaves_nothing_proven() -> None:
    """The reason is told; the same said in order counts, whichever of the two is on record first."""
    why = "It was judged with a least coverage of 0.5; 0.9 is asked for."
    lenient = evolve(GOOD, id="verdict-lenient", lapses=(why,))
    made = status_of(_yard(verdicts=(lenient,)))
    (row,) = made.rows
    assert (row.verdict, made.exit_code) == ("not_proven", 3)
    assert any(why in told for told in row.reasons)
    later = evolve(GOOD, seq=GOOD.seq + 1)
    assert _row(verdicts=(lenient, later)).verdict == "conforms"
    assert _row(verdicts=(GOOD, evolve(lenient, seq=GOOD.seq + 1))).verdict == "conforms"


def test_the_weakest_evidence_in_words() -> None:
    """None at all; outside; without an outlet."""
    none, outside, nowhere = (
        _row(verdicts=()).weakest,
        _row(verdicts=(yard.failing(yard.ago(4)),)).weakest,
        _row(outlets=()).weakest,
    )
    assert none is not None
    assert none.text == "Oxygen at paint-1: none"
    assert outside is not None
    assert outside.text == "Carbon monoxide at paint-1: log of 11 Jun 2026"
    assert nowhere is None


def test_json() -> None:
    """Times in UTC, days as days, and nothing missing."""
    found = as_json(status_of(_yard(), workspace="slip"))

    assert found["format"] == "lungwort-status/1"
    assert (found["now"], found["exit_code"]) == ("2026-06-15T09:00:00Z", 0)
    (row,) = found["supplies"]
    assert (row["verdict"], row["state"], row["since"]) == (
        "conforms",
        "in_service",
        "2026-06-06T09:00:00Z",
    )
    assert row["next_due"]["due"] == "2026-09-05"
    assert len(row["evidence"]) == len(yard.KEYS)
    assert row["weakest"] == row["evidence"][0]
    assert row["evidence"][0]["stale_on"] == "2026-09-06"
    empty = as_json(status_of(_yard(verdicts=(), states=(), outlets=(), stages=(), lots=())))
    assert empty["supplies"][0]["weakest"] is None
    assert empty["supplies"][0]["since"] is None
    assert empty["supplies"][0]["next_due"]["state"] == "never done"
    bare = as_json(status_of(_yard(verdicts=())))
    assert bare["supplies"][0]["evidence"][0]["time"] is None


def test_from_a_workspace(sqlite_workspace: Workspace) -> None:
    """By names, read only; an unknown one is told."""
    with sqlite_workspace.register.change(who=_anybody(sqlite_workspace), now=yard.NOW) as change:
        site = change.add(evolve(yard.SITE, id="", seq=0))
        other = change.add(evolve(yard.SITE, id="", seq=0, name="quay"))
        change.add(evolve(yard.SUPPLY, id="", seq=0, site_id=site.id))
    where = Where(sqlite_workspace.folder)

    made = status(where, now=yard.NOW, site="yard", supply="compressor")
    assert [row.supply for row in made.rows] == ["compressor"]
    assert status(where, now=yard.NOW, site=other.id).rows == ()
    assert len(status(where, now=yard.NOW).rows) == 1
    with pytest.raises(InputError, match=r"Supply compressor is not at site quay"):
        status(where, now=yard.NOW, site="quay", supply="compressor")
    with pytest.raises(UnknownRecordError, match="compresor"):
        status(where, now=yard.NOW, supply="compresor")


def _anybody(workspace: Workspace) -> str:
    from lungwort.register.model import Person

    return workspace.register.all(Person)[0].name
