"""The drawing of one channel."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import numpy as np
import polars as pl
import pytest
from attrs import evolve

from lungwort.air.gas import conversion_factor
from lungwort.limits.model import Allowed, Bound
from lungwort.logs.model import Channel, Log, Stretch
from lungwort.paper import drawing
from lungwort.paper.chart import LEGEND, Chart, charts, limit_lines
from lungwort.paper.icons import legend, verdict_shape
from lungwort.paper.text import VERDICT_WORDS, Clock

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

SVG = "{http://www.w3.org/2000/svg}"
START = datetime(2026, 3, 3, tzinfo=UTC)


def _clock(verdict: Verdict) -> Clock:
    return Clock.for_period("Europe/London", verdict.start, verdict.end)


def _drawn(verdict: Verdict, channel: str) -> Chart:
    (chart,) = [one for one in charts(verdict, _clock(verdict)) if one.channel == channel]
    return chart


def _by_class(chart: Chart, name: str) -> list[ET.Element]:
    root = ET.fromstring(chart.svg)  # noqa: S314 - our own drawing
    return [part for part in root.iter() if name in part.get("class", "").split()]


def _one_channel(values: list[float | None], flags: list[int], **changes: Any) -> Log:
    moments = [START + timedelta(seconds=10 * place) for place in range(len(values))]
    channel = Channel("co", "co", "volume_fraction", "ppm", censored=True)
    frame = pl.DataFrame(
        {
            "time": pl.Series(moments, dtype=pl.Datetime("us", "UTC")),
            "co": pl.Series(values, dtype=pl.Float64),
            "co_flag": pl.Series(flags, dtype=pl.UInt8),
            "co_censor": pl.Series([0] * len(values), dtype=pl.Int8),
        }
    )
    made = Log(
        (frame,),
        (channel,),
        rows=len(values),
        start=moments[0],
        end=moments[-1],
        interval_s=10.0,
    )
    return evolve(made, **changes)


def _of(log: Log, verdict: Verdict) -> Verdict:
    return evolve(verdict, log=log, start=log.start, end=log.end, excursions=())


def test_every_channel_is_drawn_and_those_judged_come_first(failing: Verdict) -> None:
    """Every channel is drawn and those judged come first."""
    drawn = charts(failing, _clock(failing))

    assert sorted(chart.channel for chart in drawn) == ["co", "co2", "dew", "o2", "pressure"]
    assert drawn[-1].channel == "pressure"
    assert all(ET.fromstring(chart.svg).tag == f"{SVG}svg" for chart in drawn)  # noqa: S314
    assert all(len(chart.svg) < 60_000 for chart in drawn)


def test_without_a_log_nothing_is_drawn(unproven: Verdict) -> None:
    """Without a log nothing is drawn."""
    assert charts(unproven, Clock.for_period("UTC", None, None)) == ()


def test_a_spike_of_one_reading_reaches_its_height(failing: Verdict) -> None:
    """A spike of one reading reaches its height."""
    # 14.2 ppm in a single reading among 17 280: the highest point but for the broad excursion.
    chart = _drawn(failing, "co")
    (area,) = _by_class(chart, "area")
    points = re.findall(r"(-?[\d.]+),(-?[\d.]+)", area.get("d", ""))
    spike_x = drawing.LEFT + 11.27 / (48 - 10 / 3600) * (drawing.RIGHT - drawing.LEFT)
    near = [float(y) for x, y in points if abs(float(x) - spike_x) < 1.5]
    ticks = {
        part.text: float(part.get("y", "0")) - 3.4
        for part in _by_class(chart, "ink")
        if part.get("text-anchor") == "end"
    }
    scale = (ticks["0"] - ticks["10"]) / 10

    assert (ticks["0"] - min(near)) / scale == pytest.approx(14.2, abs=0.15)


def test_excursions_are_numbered_as_in_the_table(failing: Verdict) -> None:
    """Excursions are numbered as in the table."""
    numbers = [part.text for part in _by_class(_drawn(failing, "co"), "number")]

    assert sorted(str(number) for number in numbers) == ["1", "2"]
    assert [part.text for part in _by_class(_drawn(failing, "co2"), "number")] == ["3"]
    assert len(_by_class(_drawn(failing, "co"), "shade")) == 2


def test_thousands_of_excursions_stay_a_small_drawing(failing: Verdict, factory: Any) -> None:
    """Thousands of excursions stay a small drawing."""
    many = tuple(factory.excursion(place) for place in range(5000))
    chart = _drawn(evolve(failing, excursions=many), "co")

    assert len(chart.svg) < 80_000
    xs = sorted(float(part.get("x", "0")) for part in _by_class(chart, "number"))
    assert np.diff(xs).min() >= 14.9
    edges = sorted(
        (float(part.get("x", "0")), float(part.get("width", "0")))
        for part in _by_class(chart, "shade")
    )
    assert all(left + width <= later + 0.11 for (left, width), (later, _) in pairwise(edges))


def test_a_gap_is_left_open_and_hatched(failing: Verdict) -> None:
    """A gap is left open and hatched."""
    chart = _drawn(failing, "pressure")
    width = drawing.RIGHT - drawing.LEFT
    gap = [drawing.LEFT + hour / 48 * width for hour in (20.0, 22.5)]
    (area,) = _by_class(chart, "area")
    runs = area.get("d", "").removesuffix("Z").split("Z")
    spans = [
        (min(xs), max(xs))
        for run in runs
        for xs in [[float(x) for x, _ in re.findall(r"([\d.]+),([\d.]+)", run)]]
    ]

    assert len(runs) == 2
    assert spans[0][1] <= gap[0] + 1.0
    assert spans[1][0] >= gap[1] - 1.0
    hatched = [
        (float(part.get("x", "0")), float(part.get("width", "0")))
        for part in _by_class(chart, "unusable")
    ]
    assert any(
        x == pytest.approx(gap[0], abs=1.0) and x + w == pytest.approx(gap[1], abs=1.0)
        for x, w in hatched
    )


def test_settling_is_hatched_one_way_and_unusable_both_ways(failing: Verdict) -> None:
    """Settling is hatched one way and unusable both ways."""
    chart = _drawn(failing, "o2")
    root = ET.fromstring(chart.svg)  # noqa: S314 - our own drawing
    strokes = {part.get("id", "")[0]: len(list(part)) for part in root.iter(f"{SVG}pattern")}

    assert strokes == {"s": 1, "u": 2}
    assert len(_by_class(chart, "settling")) == 1
    assert len(_by_class(chart, "unusable")) == 2
    assert {"settling", "unusable", "aside", "trace", "limit"} == chart.marks


def test_settling_up_to_the_first_usable_reading_leaves_nothing_unusable(clean: Verdict) -> None:
    """Settling up to the first usable reading leaves nothing unusable."""
    settling = Stretch(START, START + timedelta(seconds=490), "settling", "", 2, 50)
    log = _one_channel([1.0] * 400, [2] * 50 + [1] * 350, stretches=(settling,))
    chart = _drawn(_of(log, clean), "co")

    assert "settling" in chart.marks
    assert "unusable" not in chart.marks


def test_a_bad_reading_of_a_code_does_not_set_the_scale(clean: Verdict) -> None:
    """A bad reading of a code does not set the scale."""
    values: list[float | None] = [1.0] * 200
    flags = [1] * 200
    values[50], flags[50] = 9999.0, 4
    chart = _drawn(_of(_one_channel(values, flags), clean), "co")

    assert "9999" not in chart.description
    assert "from 1 to 1 ppm" in chart.description


def test_a_short_bad_stretch_is_a_filled_sliver(clean: Verdict) -> None:
    """A short bad stretch is a filled sliver."""
    bad = Stretch(
        START + timedelta(seconds=500), START + timedelta(seconds=510), "range", "co", 4, 2
    )
    log = _one_channel([1.0] * 3000, [1] * 3000, stretches=(bad,))
    (mark,) = _by_class(_drawn(_of(log, clean), "co"), "unusable")

    assert float(mark.get("width", "0")) >= 1.5
    assert not mark.get("fill", "").startswith("url")


def test_stretches_outside_the_drawn_period_are_not_drawn(clean: Verdict) -> None:
    """Stretches outside the drawn period are not drawn."""
    day = timedelta(days=1)
    early = Stretch(START - 2 * day, START - day, "settling", "", 2, 9)
    near = Stretch(START - 2 * day, START + timedelta(seconds=60), "settling", "", 2, 9)
    log = _one_channel([1.0] * 100, [1] * 100, stretches=(early,))
    assert _by_class(_drawn(_of(log, clean), "co"), "settling") == []

    both = _one_channel([1.0] * 100, [1] * 100, stretches=(early, near))
    assert len(_by_class(_drawn(_of(both, clean), "co"), "settling")) == 1


def test_suspect_and_over_range_readings_are_marked_by_shape(clean: Verdict) -> None:
    """Suspect and over range readings are marked by shape."""
    log = _one_channel([1.0] * 100, [1] * 40 + [3] * 20 + [1] * 40)
    frame = log.frame.with_columns(
        pl.Series("co_censor", [0] * 99 + [1], dtype=pl.Int8),
    )
    chart = _drawn(_of(evolve(log, parts=(frame,)), clean), "co")

    assert {"suspect", "over_range"} <= chart.marks
    assert len(_by_class(chart, "suspect")) == 1
    assert len(_by_class(chart, "over")) == 1


def test_a_log_without_usable_readings_says_so(clean: Verdict) -> None:
    """A log without usable readings says so."""
    chart = _drawn(_of(_one_channel([None] * 50, [9] * 50), clean), "co")

    assert "No usable readings" in chart.description
    assert "trace" not in chart.marks
    assert len(_by_class(chart, "unusable")) == 1


def test_one_reading_and_nothing_else_can_be_drawn(clean: Verdict) -> None:
    """One reading and nothing else can be drawn."""
    log = evolve(_one_channel([0.0], [1]), interval_s=None)
    chart = _drawn(evolve(_of(log, clean), findings=()), "co")

    assert "from 0 to 0 ppm" in chart.description
    assert len(_by_class(chart, "trace")) == 1
    nothing = _of(evolve(_one_channel([None], [9]), interval_s=None), clean)
    assert "No usable" in _drawn(evolve(nothing, findings=()), "co").description


def test_lines_stand_at_the_limits_with_their_signs(clean: Verdict, factory: Any) -> None:
    """Lines stand at the limits with their signs."""
    lines, remarks = limit_lines(clean, factory.channels[0])

    assert [(line.value, line.text) for line in lines] == [(3.0, "< 3 ppm"), (5.0, "≤ 5 ppm")]
    assert remarks == ()
    lines, _ = limit_lines(clean, factory.channels[2])
    assert [line.text for line in lines] == ["≥ 20 %", "≤ 22 %"]


def test_a_limit_in_mass_is_drawn_in_the_unit_of_the_plot(clean: Verdict, factory: Any) -> None:
    """A limit in mass is drawn in the unit of the plot."""
    # 1 ppm CO is 1.1644 mg/m3 at 20 °C (computed from R = 8.314462618 and M = 28.010 g/mol).
    channel = evolve(factory.channels[0], quantity="mass_concentration", unit="mg/m3")
    lines, remarks = limit_lines(clean, channel)

    assert lines[-1].value == pytest.approx(5 * 1.1644, abs=5 * 0.00006)
    assert lines[-1].value == pytest.approx(
        5 * conversion_factor("ppm", "mg/m3", gas="co", temperature_c=20.0)
    )
    assert lines[-1].text == "≤ 5.822 mg/m³"
    assert "The limit ≤ 5 ppm is drawn at 5.822 mg/m³." in remarks


def test_a_limit_of_another_kind_is_named_and_not_drawn(clean: Verdict, factory: Any) -> None:
    """A limit of another kind is named and not drawn."""
    channel = evolve(factory.channels[0], quantity="relative_humidity", unit="%RH")
    lines, remarks = limit_lines(clean, channel)

    assert lines == ()
    assert "The limit ≤ 5 ppm is not drawn" in remarks[0]


def test_an_unsettled_limit_is_marked_as_such(clean: Verdict, factory: Any) -> None:
    """An unsettled limit is marked as such."""
    findings = list(clean.findings)
    findings[1] = evolve(
        findings[1],
        limit=evolve(findings[1].limit, averaging="8 h"),
        allowed=Allowed(
            upper=Bound(5.0),
            open_reason="The supply pressure is not given.",
            surely_outside_above=7.0,
        ),
    )
    lines, remarks = limit_lines(evolve(clean, findings=tuple(findings)), factory.channels[0])

    assert "≤ 7 ppm, 8 h" in [line.text for line in lines]
    assert any("outside in any case. The supply pressure is not given." in one for one in remarks)


def test_dates_do_not_run_into_each_other(clean: Verdict) -> None:
    """Dates do not run into each other."""
    start = datetime(2026, 3, 2, 23, tzinfo=UTC)
    log = clean.log
    assert log is not None
    verdict = evolve(
        clean,
        start=start,
        end=start + timedelta(hours=12),
        log=evolve(log, start=start, end=start + timedelta(hours=12)),
    )
    dates = [
        part
        for part in _by_class(_drawn(verdict, "co"), "quiet")
        if (part.text or "").endswith("Mar 2026")
    ]

    assert [part.text for part in dates] == ["2 Mar 2026", "3 Mar 2026"]
    assert [part.get("text-anchor") for part in dates] == ["end", "middle"]


def test_the_drawing_tells_in_words_what_it_shows(failing: Verdict) -> None:
    """The drawing tells in words what it shows."""
    said = _drawn(failing, "co").description

    assert "Carbon monoxide in ppm" in said
    assert "times in Europe/London" in said
    assert "Limits: < 3 ppm, ≤ 5 ppm. 2 excursions." in said


def test_the_legend_explains_what_appears_and_nothing_else() -> None:
    """The legend explains what appears and nothing else."""
    assert [words for _, words in legend(frozenset(LEGEND))] == list(LEGEND.values())
    assert [words for _, words in legend(frozenset({"limit"}))] == ["Limit"]
    for sample, _ in legend(frozenset(LEGEND)):
        ET.fromstring(sample)  # noqa: S314 - our own drawing


def test_each_verdict_has_a_shape_that_differs_without_colour() -> None:
    """Each verdict has a shape that differs without colour."""
    shapes = {
        key: re.sub(r"#[0-9a-f]{6}|class=\"[^\"]*\"", "", verdict_shape(key))
        for key in VERDICT_WORDS
    }

    assert shapes.pop("not_proven") == shapes["undecided"]
    assert len(set(shapes.values())) == len(shapes)
