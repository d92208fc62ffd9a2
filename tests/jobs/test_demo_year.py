"""The invented year: what was put into it is what the record says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from lungwort.errors import OutputError
from lungwort.jobs.demo_year import HALL, Year, write_year, year_in
from lungwort.jobs.opening import Where, opened
from lungwort.jobs.status import status
from lungwort.register.model import CAUSE, CLOSE, CURE, Action, Certificate, HandTest, VerdictRecord
from lungwort.register.verify import verify

NOW = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Year:
    """Play the year once for all tests."""
    return write_year(tmp_path_factory.mktemp("demo"), now=NOW)


def test_every_verdict_is_the_one_that_was_put_in(year: Year) -> None:
    """Fifteen tests conform, two of them judged again for the certificate; one shift does not.

    The two months at the charging panel were judged by their log alone: oil is not in it.
    """
    with opened(year.folder, read_only=True) as workspace:
        words = [one.overall for one in workspace.register.all(VerdictRecord)]
        tests = workspace.register.all(HandTest)

    assert sorted(words) == ["conforms"] * 17 + ["does_not_conform", "not_proven"]
    assert [test.state for test in tests] == ["done"] * 15


def test_no_certificate_was_issued_while_the_supply_was_withdrawn(year: Year) -> None:
    """The two retests put the supply back into service first and are certified then."""
    with opened(year.folder, read_only=True) as workspace:
        certificates = workspace.register.all(Certificate)

    assert len(certificates) == year.certificates == 15
    assert len({one.number for one in certificates}) == 15
    out, back = NOW - timedelta(days=48, hours=6), NOW - timedelta(days=44, hours=3)
    assert not [one.number for one in certificates if out < one.issued_at < back]


def test_bad_air_went_from_cause_to_cure_to_retest(year: Year) -> None:
    """The finding has a cause, a cure after it, and was closed by a verdict after both."""
    with opened(year.folder, read_only=True) as workspace:
        actions = {one.kind: one for one in workspace.register.all(Action)}

    assert actions[CAUSE].time < actions[CURE].time < actions[CLOSE].time
    assert actions[CLOSE].verdict_id is not None


def test_the_present_state_shows_what_the_story_tells(year: Year) -> None:
    """The hall conforms, and the charging compressor is in service without fresh evidence."""
    shown = {one.supply: one for one in status(Where(year.folder), now=NOW).rows}

    assert (shown[HALL].state, shown[HALL].verdict) == ("in_service", "conforms")
    other = shown["charging-compressor"]
    assert (other.state, other.verdict) == ("in_service", "not_proven")


def test_the_whole_record_fits(year: Year) -> None:
    """Nothing in it looks altered."""
    with opened(year.folder, read_only=True) as workspace:
        checked = verify(workspace)

    assert checked.problems == ()
    assert checked.entries == year.entries


def test_the_year_is_left_as_it_is(year: Year) -> None:
    """A second run adds nothing."""
    again = year_in(year.folder.parent, now=NOW + timedelta(days=1))

    assert (again.entries, again.certificates) == (year.entries, year.certificates)
    assert "left as it is" in again.story[0]


def test_every_file_of_it_is_marked_as_invented(year: Year) -> None:
    """Logs and forms say so in their first line."""
    files = [*year.folder.parent.glob("year/*"), *year.folder.parent.glob("forms/*")]

    assert len(files) == 32
    for file in files:
        assert "invented example data" in file.read_text(encoding="utf-8").splitlines()[0]


def test_the_exhaust_reaches_the_log_as_the_balance_says(year: Year) -> None:
    """3e-4 of an exhaust with 4 % carbon monoxide adds 12 ppm (worked by hand)."""
    (bad,) = year.folder.parent.glob("year/2026-10-08-hall-1.csv")
    table = pl.read_csv(bad, skip_rows=1)
    co = table["CO [ppm]"]

    # 12 ppm, 0.2 ppm in outdoor air, and at most 0.3 ppm of noise and rounding.
    assert co.max() == pytest.approx(12.2, abs=0.3)
    assert co.head(100).max() < 1.0  # type: ignore[operator]  # numbers


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """Where a file stands in the way, the message names it."""
    (tmp_path / "taken").write_text("", encoding="utf-8")

    with pytest.raises(OutputError, match="could not be made"):
        write_year(tmp_path / "taken", now=NOW)
