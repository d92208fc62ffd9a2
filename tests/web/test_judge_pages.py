"""Judging on pages: what would come of it, then for the record."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.web.kit import NOW, Clock, Visitor, app_on, text_of, visitor_on
from tests.web.test_logs import OUTSIDE, bring, followed, settled, taken

from lungwort.jobs.opening import Where, opened
from lungwort.register.model import Certificate, Finding, Outlet, SupplyState, VerdictRecord
from lungwort.web.pages import judge as pages


def outlet_id(folder: Path, name: str) -> str:
    """Find an outlet of the year."""
    with opened(Where(workspace=folder), read_only=True) as workspace:
        return workspace.register.get(Outlet, name).id


def counts(folder: Path) -> tuple[int, int, int, int]:
    """Count verdicts, certificates, findings and states on record."""
    with opened(Where(workspace=folder), read_only=True) as workspace:
        kinds = (VerdictRecord, Certificate, Finding, SupplyState)
        found = [len(workspace.register.all(kind)) for kind in kinds]
        return (found[0], found[1], found[2], found[3])


@pytest.fixture
def hall(folder: Path) -> str:
    """Give the outlet of the hall, whose evidence is fresh and clean at the end of the year."""
    return outlet_id(folder, "hall-1")


def test_looking_records_nothing(visitor: Visitor, hall: str, folder: Path) -> None:
    """The page shows the verdict with its limits, and says that nothing is on record."""
    before = counts(folder)
    told = text_of(visitor.page(f"/judge/{hall}"))
    assert "Nothing is on record yet" in told
    assert "Conforms" in told
    assert "Record the verdict and issue the certificate" in told
    assert "Carbon monoxide ≤ 5 ppm" in told
    assert "Before acting on this" in told
    assert counts(folder) == before


def test_clean_air_gets_its_certificate(visitor: Visitor, hall: str, folder: Path) -> None:
    """With the way to the paper; the same page is there again later and after a new start."""
    before = counts(folder)
    answer = visitor.post(f"/judge/{hall}", {})
    assert answer.status_code == 303
    where = answer.headers["location"]
    html = visitor.page(where)
    told = text_of(html)
    assert "Conforms" in told
    assert re.search(r"Certificate MERROWGATE-2026-\d{4} was issued", told)
    assert re.search(r'href="/certificates/MERROWGATE-2026-\d{4}/pdf"', html)
    assert "Note the tree head down" in told
    after = counts(folder)
    assert (after[0] - before[0], after[1] - before[1]) == (1, 1)
    with visitor_on(app_on(folder)) as again:
        told = text_of(again.page(where))
        assert "Conforms" in told
        assert "was issued" in told


def test_a_verdict_alone(visitor: Visitor, hall: str, folder: Path) -> None:
    """Without a certificate where none is wanted."""
    before = counts(folder)
    assert "issue the certificate" not in text_of(visitor.page(f"/judge/{hall}?only=yes"))
    told = visitor.done(f"/judge/{hall}", {"only": "yes"})
    assert "Conforms" in told
    assert "was issued" not in told
    assert counts(folder)[1] == before[1]


@pytest.fixture
def bad(visitor: Visitor, hall: str) -> str:
    """Bring in a log that is outside; give its id."""
    address = bring(visitor, hall, OUTSIDE.replace("20.11.2026", "24.11.2026"))
    settled(visitor, address, zone="Europe/London")
    where, _ = taken(visitor, address)
    return where.rsplit("/")[-1]


def test_bad_air_opens_a_finding_and_is_withdrawn(
    visitor: Visitor, hall: str, bad: str, folder: Path
) -> None:
    """In one press; the page says stop before and after."""
    told = text_of(visitor.page(f"/judge/{hall}"))
    assert "Does not conform" in told
    assert "Let nobody breathe this air" in told
    assert "Withdraw the supply at once" in told
    before = counts(folder)
    told = visitor.done(f"/judge/{hall}", {"withdraw": "yes"})
    assert "Does not conform" in told
    assert re.search(r"Finding F-2026-\d{4} was opened", told)
    assert "The supply was withdrawn." in told
    after = counts(folder)
    assert [one - other for one, other in zip(after, before, strict=True)] == [1, 0, 1, 1]
    assert bad
    told = text_of(visitor.page("/logs"))
    assert "Does not conform" in told


def test_a_conforming_verdict_without_certificate_says_why(
    visitor: Visitor, folder: Path, clock: Clock
) -> None:
    """Evidence that went stale certifies nothing, and what would come of it is told before."""
    panel = outlet_id(folder, "panel-1")
    told = text_of(visitor.page(f"/judge/{panel}"))
    assert "No certificate would be issued" in told
    assert "went stale" in told
    assert "issue the certificate" not in told
    told = visitor.done(f"/judge/{panel}", {})
    assert "No certificate was issued" in told
    assert "went stale" in told
    assert clock.now == NOW


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"coverage": "much"}, "is no number"),
        ({"coverage": "900"}, "overage"),
        ({"test": "hand-test-none"}, "There is no test by hand"),
        ({"begin": "2026-13-01T10:00"}, "2026-13-01"),
        ({"decision": "generous"}, "generous"),
        ({"no_tests": "yes", "no_logs": "yes"}, "nothing of what is on record"),
    ],
)
def test_choices_that_cannot_be_meant(
    visitor: Visitor, hall: str, folder: Path, fields: dict[str, str], says: str
) -> None:
    """They are told, and nothing is recorded; looking tells the same."""
    before = counts(folder)
    told = visitor.refused(f"/judge/{hall}", fields)
    assert says.lower() in told.lower()
    query = "&".join(f"{key}={value}" for key, value in fields.items())
    assert says.lower() in text_of(visitor.page(f"/judge/{hall}?{query}")).lower()
    assert counts(folder) == before


def test_much_evidence_is_judged_in_a_task(
    visitor: Visitor, hall: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looking and recording alike."""
    monkeypatch.setattr(pages, "AT_ONCE_READINGS", 0)
    before = counts(folder)
    assert "Nothing is on record yet" in text_of(followed(visitor, f"/judge/{hall}"))
    assert counts(folder) == before
    answer = visitor.post(f"/judge/{hall}", {})
    assert answer.headers["location"].startswith("/tasks/")
    assert "was issued" in text_of(followed(visitor, answer.headers["location"]))
    assert counts(folder)[1] == before[1] + 1


def test_what_came_in_meanwhile_is_judged_too(
    visitor: Visitor, hall: str, folder: Path, clock: Clock
) -> None:
    """Somebody looks and sees clean air, a bad log comes in, then it is recorded: no certificate."""
    assert "issue the certificate" in text_of(visitor.page(f"/judge/{hall}"))
    with visitor_on(app_on(folder, clock=clock)) as other:
        other.post("/who", {"person": "Idris Pellow"})
        address = bring(other, hall, OUTSIDE.replace("20.11.2026", "24.11.2026"))
        settled(other, address, zone="Europe/London")
        taken(other, address)
    before = counts(folder)
    told = visitor.done(f"/judge/{hall}", {})
    assert "Does not conform" in told
    assert counts(folder)[1] == before[1]


def test_an_outlet_that_is_not_there(reader: Visitor) -> None:
    """Neither it nor a verdict."""
    reader.page("/judge/nowhere", status=404)
    reader.page("/judge/verdicts/verdict-none", status=404)


@pytest.fixture
def nobody(folder: Path) -> Iterator[Visitor]:
    """Give a visitor who has not said who they are."""
    with visitor_on(app_on(folder, clock=Clock(datetime(2026, 11, 25, 9, tzinfo=UTC)))) as one:
        yield one


def test_whoever_judges_says_who_they_are(nobody: Visitor, hall: str, folder: Path) -> None:
    """The record knows who did it."""
    before = counts(folder)
    assert "Who makes this change?" in nobody.refused(f"/judge/{hall}", {})
    assert counts(folder) == before
