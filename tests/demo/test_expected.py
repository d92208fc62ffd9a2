"""Reading and judging every case of the invented site against what was seeded in it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from lungwort.air.units import parse_quantity
from lungwort.demo.site import write_site
from lungwort.errors import AmbiguityError
from lungwort.limits.load import limit_set
from lungwort.limits.model import Conditions
from lungwort.logs.read import read_log
from lungwort.spot.parse import parse_spot
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from lungwort.demo.model import Case, ExpectedExcursion, Site
    from lungwort.logs.model import Log
    from lungwort.verdict.model import Excursion, Verdict

KEYS = (
    "clean-day",
    "intake-exhaust",
    "drier-going-off",
    "short-spike",
    "o2-cell-drift",
    "frozen-logger",
    "clock-change",
    "settling",
    "charging-panel",
)


def value_in(text: str, unit: str) -> float | None:
    """Read the number of a quantity that is given in a known unit."""
    if not text:
        return None
    value, found = parse_quantity(text)
    assert found == unit
    return value


def read_case(case: Case) -> Log:
    """Read a case's files with the case's options."""
    return read_log(
        list(case.files),
        zone=case.zone or None,
        date_order=case.date_order or None,
        units=dict(case.units) or None,
    )


def judge_case(case: Case) -> Verdict:
    """Read and judge a case with the case's options."""
    return judge(
        read_case(case),
        limit_set(case.limit_set),
        spots=tuple(parse_spot(spot) for spot in case.spots),
        supply=Conditions(
            supply_pressure_bar_g=value_in(case.supply_pressure, "bar(g)"),
            lowest_temperature_c=value_in(case.lowest_temperature, "°C"),
        ),
        now=datetime(2026, 6, 1, tzinfo=UTC),
    )


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Write the site once."""
    return write_site(tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="module")
def judged(site: Site) -> dict[str, Verdict]:
    """Judge every case once."""
    return {case.key: judge_case(case) for case in site.cases}


def test_every_case_is_here(site: Site) -> None:
    """The list that the tests go through is the site's."""
    assert tuple(case.key for case in site.cases) == KEYS


@pytest.mark.parametrize("key", KEYS)
def test_verdict_is_the_seeded_one(site: Site, judged: dict[str, Verdict], key: str) -> None:
    """Overall, and limit by limit."""
    expected, verdict = site.case(key).expected, judged[key]
    assert verdict.overall == expected.overall, verdict.reasons
    required = [finding for finding in verdict.findings if finding.limit.required]
    advice = [finding for finding in verdict.findings if not finding.limit.required]

    def kept(verdict_: str) -> set[str]:
        return {finding.limit.analyte for finding in required if finding.verdict == verdict_}

    assert kept("does_not_conform") == set(expected.not_conforming)
    assert kept("undecided") == set(expected.undecided)
    assert kept("no_evidence") == set()
    not_met = {finding.limit.analyte for finding in advice if finding.verdict == "does_not_conform"}
    assert not_met == set(expected.advice_not_met)


@pytest.mark.parametrize("key", KEYS)
def test_every_reading_is_there(site: Site, judged: dict[str, Verdict], key: str) -> None:
    """None lost, none twice, every channel known by its analyte."""
    log = judged[key].log
    assert log is not None
    assert log.rows == site.case(key).expected.readings
    assert {channel.analyte for channel in log.channels} == {
        "co",
        "co2",
        "o2",
        "water",
        "pressure",
    }


def belongs(excursion: Excursion, promised: ExpectedExcursion) -> bool:
    """Tell whether an excursion lies within a promised one and its tolerance."""
    return (
        (excursion.analyte, excursion.direction) == (promised.analyte, promised.direction)
        and (promised.start - excursion.start).total_seconds() <= promised.tolerance_s
        and (excursion.end - promised.end).total_seconds() <= promised.tolerance_s
    )


@pytest.mark.parametrize("key", KEYS)
def test_excursions_are_the_seeded_ones(site: Site, judged: dict[str, Verdict], key: str) -> None:
    """Each that was seeded is found, and no other."""
    expected = site.case(key).expected
    required = {finding.limit.key for finding in judged[key].findings if finding.limit.required}
    left = [found for found in judged[key].excursions if found.limit_key in required]
    for promised in expected.excursions:
        mine = [found for found in left if belongs(found, promised)]
        left = [found for found in left if found not in mine]
        assert mine, promised
        assert abs((mine[0].start - promised.start).total_seconds()) <= promised.tolerance_s
        assert abs((mine[-1].end - promised.end).total_seconds()) <= promised.tolerance_s
        longest = max(mine, key=lambda found: found.duration_s)
        assert longest.peak == pytest.approx(promised.peak, abs=promised.peak_tolerance)
        assert mine[-1].ended_by == promised.ended_by
        length = (promised.end - promised.start).total_seconds()
        assert length - 2.0 * promised.tolerance_s <= longest.duration_s
        if promised.single:
            assert len(mine) == 1
        if promised.samples is not None:
            assert sum(found.samples for found in mine) == promised.samples
    assert left == []


@pytest.mark.parametrize("key", ["frozen-logger", "settling"])
def test_what_was_not_judged_is_told(site: Site, judged: dict[str, Verdict], key: str) -> None:
    """Cause, when, and what was outside in it."""
    for promised in site.case(key).expected.stretches:
        found = [item for item in judged[key].not_judged if item.cause == promised.cause]
        assert found, [item.cause for item in judged[key].not_judged]
        starts = [item.start for item in found if item.start is not None]
        ends = [item.end for item in found if item.end is not None]
        assert abs((min(starts) - promised.start).total_seconds()) <= promised.tolerance_s
        assert abs((max(ends) - promised.end).total_seconds()) <= promised.tolerance_s
        told = " ".join(key for item in found for key in item.outside)
        for analyte in promised.outside:
            assert analyte in told


def test_frozen_time_is_not_covered(judged: dict[str, Verdict]) -> None:
    """4.25 of 12 hours stand still and half an hour settles, so 60 % are covered.

    Half an hour more is left for how soon standing still is noticed.
    """
    verdict = judged["frozen-logger"]
    for name in ("co", "co2", "o2", "water"):
        (finding,) = [
            item
            for item in verdict.findings
            if item.limit.analyte == name and item.limit.required and item.coverage is not None
        ]
        assert finding.coverage is not None
        assert finding.coverage.share == pytest.approx(7.25 / 12.0, abs=0.5 / 12.0)


def test_short_spike_stands_whatever_its_flags(judged: dict[str, Verdict]) -> None:
    """Four readings in forty seconds are one excursion of full length."""
    (spike,) = judged["short-spike"].excursions
    assert (spike.samples, spike.duration_s) == (4, 40.0)


def test_the_repeated_hour_is_told(judged: dict[str, Verdict]) -> None:
    """Twice 120 readings of 30 s, put in order and said so; time then runs without a gap."""
    log = judged["clock-change"].log
    assert log is not None
    assert any("240 readings" in note and "twice" in note for note in log.notes)
    steps = log.frame["time"].diff().drop_nulls().dt.total_seconds()
    assert (steps.min(), steps.max()) == (30, 30)


@pytest.mark.parametrize(
    ("key", "remedy"), [("short-spike", "--date-order dmy"), ("charging-panel", "--unit co=ppm")]
)
def test_what_the_options_settle_is_never_guessed(site: Site, key: str, remedy: str) -> None:
    """Without its option the file is refused, and the option is named."""
    case = site.case(key)
    with pytest.raises(AmbiguityError, match=remedy):
        read_log(list(case.files), zone=case.zone)


def test_clean_day_states_what_it_rests_on(judged: dict[str, Verdict]) -> None:
    """Oil and odour from hand tests, water by the row of the table."""
    findings = {
        item.limit.analyte: item
        for item in judged["clean-day"].findings
        if item.verdict == "conforms"
    }
    assert {"o2", "co", "co2", "oil", "odour", "water"} <= set(findings)
    assert findings["oil"].spots
    assert findings["odour"].spots
    assert "160" in findings["water"].limit_text
