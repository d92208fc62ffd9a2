"""Invented logs and verdicts for the paper tests. Every name and number here is made up."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
import pytest
from attrs import evolve, frozen

from lungwort.air.interval import Interval
from lungwort.limits.model import Allowed, Bound, Conditions, Limit, LimitSet
from lungwort.logs.model import Channel, Log, Refusal, Source, Stretch
from lungwort.spot.model import SpotTest
from lungwort.verdict.model import (
    Coverage,
    Excursion,
    Finding,
    NotJudged,
    Options,
    Verdict,
    Worst,
)

if TYPE_CHECKING:
    from collections.abc import Callable

START = datetime(2026, 3, 3, 0, 0, tzinfo=UTC)
INTERVAL_S = 10
CHANNELS = (
    Channel("co", "co", "volume_fraction", "ppm", "CO [ml/m³]", "ppm"),
    Channel("co2", "co2", "volume_fraction", "ppm", "CO2 (ppm)", "ppm"),
    Channel("o2", "o2", "volume_fraction", "%", "O2 %", "%"),
    Channel(
        "dew",
        "water",
        "atmospheric_dew_point",
        "°C",
        "Dew point",
        "°C",
        basis="Below 0 °C it is taken as a frost point.",
    ),
    Channel("pressure", "pressure", "pressure", "bar(g)", "p", "bar(g)"),
)
EXTRA = (
    Channel("no2", "no2", "volume_fraction", "ppm", "NO2", "ppm"),
    Channel("voc", "voc", "volume_fraction", "ppm", "VOC", "ppb"),
    Channel("temperature", "temperature", "temperature", "°C", "T", "°C"),
)
LIMITS = (
    Limit(
        "oxygen",
        "o2",
        "volume_fraction",
        "%",
        lower=Bound(20.0),
        upper=Bound(22.0),
        clause="table 1",
        source="invented for the tests",
        status="confirmed",
    ),
    Limit(
        "carbon_monoxide",
        "co",
        "volume_fraction",
        "ppm",
        upper=Bound(5.0),
        clause="table 1",
        source="invented for the tests",
        remark="As low as possible.",
    ),
    Limit(
        "carbon_dioxide",
        "co2",
        "volume_fraction",
        "ppm",
        upper=Bound(500.0),
        clause="table 1",
        source="invented for the tests",
        status="confirmed",
    ),
    Limit(
        "water",
        "water",
        "mass_concentration",
        "mg/m3",
        kind="pressure_table",
        clause="table 2",
        source="invented for the tests",
    ),
    Limit(
        "oil",
        "oil",
        "mass_concentration",
        "mg/m3",
        upper=Bound(0.5),
        clause="table 1",
        source="invented for the tests",
        status="confirmed",
    ),
    Limit(
        "odour",
        "odour",
        "wording",
        "",
        kind="wording",
        wording="without significant odour or taste",
        clause="4.3",
        source="invented for the tests",
    ),
    Limit(
        "advice_co",
        "co",
        "volume_fraction",
        "ppm",
        upper=Bound(3.0, included=False),
        required=False,
        clause="note 2",
        source="invented for the tests",
    ),
)
LIMIT_SET = LimitSet(
    "invented-airline",
    "Invented limits for airline air",
    "Document X 1",
    "2014",
    "airline",
    LIMITS,
    digest="5e" * 32,
    remarks=("Invented for the tests.",),
)
_LEVELS = {
    "co": (0.6, 0.15),
    "co2": (418.0, 9.0),
    "o2": (20.9, 0.02),
    "dew": (-32.0, 0.6),
    "pressure": (6.9, 0.08),
    "no2": (0.02, 0.01),
    "voc": (0.2, 0.05),
    "temperature": (17.0, 1.5),
}
ZONE = "Europe/London"


def make_log(
    hours: float = 48.0,
    channels: tuple[Channel, ...] = CHANNELS,
    *,
    faults: bool = True,
    name: str = "hall-3_week-10.csv",
    parts: int = 2,
) -> Log:
    """Make an invented log with a settling stretch, a gap and exhaust in the intake."""
    rng = np.random.default_rng(20260303)
    rows = round(hours * 3600 / INTERVAL_S)
    seconds = np.arange(rows) * float(INTERVAL_S)
    columns: dict[str, object] = {
        "time": pl.Series(
            np.datetime64(START.replace(tzinfo=None), "us")
            + (seconds * 1e6).astype("timedelta64[us]")
        ).dt.replace_time_zone("UTC")
    }
    flags = np.full(rows, 1, dtype=np.uint8)
    flags[seconds < 1800] = 2
    for channel in channels:
        level, spread = _LEVELS[channel.name]
        daily = np.sin(seconds / 86400 * 2 * np.pi)
        values = level + spread * (0.6 * daily + 0.4 * rng.standard_normal(rows))
        if faults and channel.name == "co":
            values += 21.0 * np.exp(-(((seconds - 30.4 * 3600) / 700) ** 2))
            values[round(11.27 * 360)] = 14.2
        marks = flags.copy()
        if faults and channel.name == "co2":
            marks[5000:5200] = 3
        if faults and channel.name == "o2":
            marks[9000:9900] = 4
        columns[channel.name] = np.maximum(values, 0.0) if level > 0 else values
        columns[f"{channel.name}_flag"] = marks
        if channel.censored:
            columns[f"{channel.name}_censor"] = np.zeros(rows, dtype=np.int8)
    frame = pl.DataFrame(columns)
    if faults:
        frame = frame.filter(
            ~pl.col("time").is_between(START + timedelta(hours=20), START + timedelta(hours=22.5))
        )
    size = -(-frame.height // parts)
    pieces = tuple(frame.slice(at, size) for at in range(0, frame.height, size))
    return Log(
        pieces,
        channels,
        sources=(
            Source(
                name,
                "ab" * 32,
                4_210_337,
                frame.height + 7,
                frame.height,
                (
                    Refusal("no time in the row", 4, (812, 813, 4409, 4410), ";;;"),
                    Refusal("last line cut short", 3, (16987,), "03/03/26;14:"),
                )
                if faults
                else (),
            ),
        ),
        rows=frame.height,
        start=START,
        end=START + timedelta(seconds=float(seconds[-1])),
        interval_s=float(INTERVAL_S),
        zone=ZONE,
        zone_stated=True,
        settle_s=1800.0,
        stretches=(
            Stretch(START, START + timedelta(minutes=30), "settling", "", 2, 180, "cells settle"),
            *(
                (
                    Stretch(
                        START + timedelta(hours=20),
                        START + timedelta(hours=22.5),
                        "gap",
                        text="no rows",
                    ),
                    Stretch(
                        START + timedelta(hours=40),
                        START + timedelta(hours=40, seconds=20),
                        "range",
                        "pressure",
                        4,
                        3,
                    ),
                )
                if faults
                else ()
            ),
        ),
        notes=("The decimal sign is a comma.",),
        columns_not_used=("Battery V", "Status"),
        outlet="Blasting hall, outlet 3",
    )


def _coverage(channel: str, share: float = 0.985) -> Coverage:
    return Coverage(channel, share, 17280, 17020, settling=180, bad=60, missing=20)


def _finding(limit: Limit, verdict: str, reason: str, **changes: object) -> Finding:
    text = {
        "oxygen": "20 to 22 %",
        "carbon_monoxide": "≤ 5 ppm",
        "carbon_dioxide": "≤ 500 ppm",
        "water": "≤ 160 mg/m3",
        "oil": "≤ 0.5 mg/m3",
        "odour": "without significant odour or taste",
        "advice_co": "< 3 ppm",
    }[limit.key]
    made = Finding(limit, Allowed(limit.lower, limit.upper), verdict, reason, text)
    return evolve(made, **changes)  # type: ignore[arg-type]  # checked by the callers


OIL = SpotTest(
    "oil",
    "mass_concentration",
    Interval.between(0.1, 0.5, "mg/m3"),
    means="banded oil indicator",
    time=START + timedelta(hours=9),
    given="oil=0.1..0.5 mg/m3",
)
NOSE = SpotTest("odour", "wording", perceived=False, means="by nose", given="odour=none")


def _clean_findings() -> tuple[Finding, ...]:
    oxygen, co, co2, water, oil, odour, advice = LIMITS
    check = "Limit from memory: check against your own copy."
    return (
        _finding(
            oxygen,
            "conforms",
            "All 17 020 usable readings are inside.",
            worst=Worst(20.84, "%", START + timedelta(hours=14), "20.84 %"),
            margin=0.84,
            share_outside=0.0,
            probability=0.998,
            uncertainty=0.3,
            uncertainty_source="assumed for an electrochemical cell",
            coverage=_coverage("o2"),
            channels=("o2",),
        ),
        _finding(
            co,
            "conforms",
            "All 17 020 usable readings are inside.",
            worst=Worst(0.98, "ppm", START + timedelta(hours=7, minutes=11), "0.98 ppm"),
            margin=4.02,
            share_outside=0.0,
            probability=0.9999,
            uncertainty=1.0,
            uncertainty_source="assumed for an electrochemical cell",
            coverage=_coverage("co"),
            channels=("co",),
            remarks=(check,),
        ),
        _finding(
            co2,
            "conforms",
            "All 17 020 usable readings are inside.",
            worst=Worst(441.0, "ppm", START + timedelta(hours=6), "441 ppm"),
            margin=59.0,
            share_outside=0.0,
            coverage=_coverage("co2"),
            channels=("co2",),
        ),
        _finding(
            water,
            "conforms",
            "All 17 020 usable readings are inside.",
            allowed=Allowed(upper=Bound(160.0), how="row up to 10 bar(g)"),
            worst=Worst(61.0, "mg/m3", START + timedelta(hours=8), "61 mg/m3", -41.2, "°C"),
            margin=99.0,
            share_outside=0.0,
            coverage=_coverage("dew"),
            channels=("dew",),
            remarks=(check,),
        ),
        _finding(
            oil,
            "conforms",
            "The indicator showed the band above 0.1 up to 0.5 mg/m3.",
            worst=Worst(0.5, "mg/m3", START + timedelta(hours=9), "> 0.1 to 0.5 mg/m3"),
            margin=0.0,
            spots=(OIL,),
            remarks=("Nothing is in hand: the band ends at the limit.",),
        ),
        _finding(odour, "conforms", "No odour was noticed.", spots=(NOSE,), remarks=(check,)),
        _finding(
            advice,
            "conforms",
            "All 17 020 usable readings are inside.",
            worst=Worst(0.98, "ppm", START + timedelta(hours=7, minutes=11), "0.98 ppm"),
            margin=2.02,
            share_outside=0.0,
            coverage=_coverage("co"),
            channels=("co",),
            remarks=(check,),
        ),
    )


CAUTIONS = (
    (
        "This report holds readings against the limits of one document. It does not replace the "
        "document, local codes or the judgement of a competent person."
    ),
    (
        "Numbers marked 'from memory' were not checked against the document. Check them against "
        "your own copy before anyone relies on this report."
    ),
)


def make_clean(**changes: object) -> Verdict:
    """Make a verdict in which everything conforms."""
    log = make_log(faults=False)
    made = Verdict(
        overall="conforms",
        reasons=("All 6 required limits conform.",),
        limit_set=LIMIT_SET,
        conditions=Conditions(supply_pressure_bar_g=7.0),
        options=Options(),
        log=log,
        spots=(OIL, NOSE),
        start=log.start,
        end=log.end,
        coverage=tuple(_coverage(channel.name) for channel in log.channels),
        findings=_clean_findings(),
        excursions=(),
        not_judged=(
            NotJudged(
                "settling",
                "",
                START,
                START + timedelta(minutes=30),
                180,
                "Cells adjust after connection; readings are not judged for 30 min.",
            ),
        ),
        notes=("Zone as given by the user: Europe/London.",),
        cautions=CAUTIONS,
        judged_at=datetime(2026, 3, 6, 8, 15, 30, tzinfo=UTC),
        version="0.1.0",
    )
    return evolve(made, **changes)  # type: ignore[arg-type]  # checked by the callers


def excursion(number: int = 0, **changes: object) -> Excursion:
    """Make an excursion of carbon monoxide."""
    start = START + timedelta(hours=30, minutes=3, seconds=5 + number)
    made = Excursion(
        limit_key="carbon_monoxide",
        analyte="co",
        channel="co",
        direction="above",
        start=start,
        end=start + timedelta(minutes=43, seconds=20),
        duration_s=2600.0,
        peak=21.9,
        peak_time=start + timedelta(minutes=21),
        mean=14.3,
        limit=5.0,
        unit="ppm",
        integral=6.72,
        samples=260,
        ended_by="returned",
        clear_of_uncertainty=True,
    )
    return evolve(made, **changes)  # type: ignore[arg-type]  # checked by the callers


def make_failing(name: str = "hall-3_week-10.csv", **changes: object) -> Verdict:
    """Make a verdict with excursions, a gap, suspect readings and refused rows."""
    log = make_log(name=name)
    findings = list(_clean_findings())
    findings[1] = evolve(
        findings[1],
        verdict="does_not_conform",
        reason="270 readings are above 5 ppm, in 2 excursions.",
        worst=Worst(21.9, "ppm", START + timedelta(hours=30, minutes=24), "21.9 ppm"),
        margin=-16.9,
        share_outside=0.0158,
        probability=0.0,
    )
    findings[6] = evolve(findings[6], verdict="does_not_conform", margin=-18.9)
    spike = START + timedelta(hours=11, minutes=16, seconds=10)
    made = make_clean(
        overall="does_not_conform",
        reasons=(
            (
                "Carbon monoxide was above 5 ppm in 2 excursions, 43 min 30 s in all; the highest "
                "reading was 21.9 ppm on 4 Mar 2026 at 06:24."
            ),
        ),
        log=log,
        end=log.end,
        findings=tuple(findings),
        excursions=(
            excursion(
                start=spike,
                end=spike + timedelta(seconds=10),
                duration_s=10.0,
                peak=14.2,
                peak_time=spike,
                mean=14.2,
                integral=0.0256,
                samples=1,
                suspect_samples=1,
            ),
            excursion(
                begins_after_gap=True,
                may_have_begun=START + timedelta(hours=29),
                ended_by="data_gap",
                may_have_lasted=START + timedelta(hours=31),
                clear_of_uncertainty=False,
            ),
            excursion(60, channel="co2", analyte="co2", limit_key="carbon_dioxide", limit=500.0),
        ),
        not_judged=(
            NotJudged(
                "settling",
                "",
                START,
                START + timedelta(minutes=30),
                180,
                "Cells adjust after connection; readings are not judged for 30 min.",
                ("carbon_monoxide",),
            ),
            NotJudged(
                "gap",
                "",
                START + timedelta(hours=20),
                START + timedelta(hours=22.5),
                0,
                "No rows in the file.",
            ),
            NotJudged("bad", "o2", None, None, 900, "Flagged bad: the cell read the same."),
        ),
    )
    return evolve(made, **changes)  # type: ignore[arg-type]  # checked by the callers


def make_unproven(**changes: object) -> Verdict:
    """Make a verdict from hand tests alone that is not proven."""
    findings = [
        evolve(
            finding,
            verdict="no_evidence",
            reason="Nothing usable was measured for this limit.",
            worst=None,
            margin=None,
            share_outside=None,
            probability=None,
            uncertainty=None,
            coverage=None,
            channels=(),
            spots=(),
        )
        for finding in _clean_findings()
    ]
    findings[3] = evolve(
        findings[3],
        verdict="not_applicable",
        allowed=Allowed(open_reason="The supply pressure is not given."),
    )
    findings[4] = evolve(
        findings[4],
        verdict="undecided",
        reason="The band straddles the limit.",
        worst=Worst(float("inf"), "mg/m3", None, "> 0.1 mg/m3"),
        spots=(OIL,),
    )
    made = make_clean(
        overall="not_proven",
        reasons=(
            "Oxygen, carbon monoxide, carbon dioxide and odour are without evidence.",
            "Oil is undecided.",
        ),
        log=None,
        start=None,
        end=None,
        coverage=(),
        not_judged=(),
        findings=tuple(findings),
        spots=(evolve(OIL, value=Interval.more_than(0.1, "mg/m3"), time=None),),
        conditions=Conditions(),
        notes=(),
    )
    return evolve(made, **changes)  # type: ignore[arg-type]  # checked by the callers


@frozen
class Factory:
    """What the tests build verdicts with."""

    log: Callable[..., Log] = make_log
    clean: Callable[..., Verdict] = make_clean
    failing: Callable[..., Verdict] = make_failing
    unproven: Callable[..., Verdict] = make_unproven
    excursion: Callable[..., Excursion] = excursion
    channels: tuple[Channel, ...] = CHANNELS
    extra: tuple[Channel, ...] = EXTRA
    limit_set: LimitSet = LIMIT_SET


@pytest.fixture(scope="session")
def factory() -> Factory:
    """Give builders of invented logs and verdicts."""
    return Factory()


@pytest.fixture(scope="session")
def failing() -> Verdict:
    """Give a verdict with excursions."""
    return make_failing()


@pytest.fixture(scope="session")
def clean() -> Verdict:
    """Give a verdict in which everything conforms."""
    return make_clean()


@pytest.fixture(scope="session")
def unproven() -> Verdict:
    """Give a verdict that is not proven, from hand tests alone."""
    return make_unproven()
