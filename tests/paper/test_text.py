"""Words, numbers and times as shown."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.paper import text


@given(st.floats(min_value=1e-300, max_value=1.0, exclude_max=True))
@settings(deadline=None, max_examples=300)
def test_a_share_that_is_neither_none_nor_all_is_never_shown_as_such(share: float) -> None:
    """A share that is neither none nor all is never shown as such."""
    assert text.percent(share) not in {"0 %", "100 %"}


@given(st.floats(min_value=0.0, max_value=1.0))
@settings(deadline=None, max_examples=300)
def test_a_share_is_never_rounded_up(share: float) -> None:
    """A share is never rounded up."""
    shown = text.percent(share)
    if shown[0].isdigit():
        assert float(shown.removesuffix(" %")) / 100 <= share + 1e-9


def test_a_coverage_just_below_the_minimum_does_not_read_as_the_minimum() -> None:
    """A coverage just below the minimum does not read as the minimum."""
    assert text.percent(0.8999) == "89.9 %"
    assert text.percent(None) == "–"
    assert text.percent(float("nan")) == "–"


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0"),
        (-0.0, "0"),
        (5.0, "5"),
        (-41.25, "−41.25"),
        (12345.6, "12346"),
        (0.00012, "0.00012"),
        (1e-5, "1e-05"),
        (float("inf"), "∞"),
        (float("-inf"), "−∞"),
        (float("nan"), "–"),
        (None, "–"),
    ],
)
def test_numbers(value: float | None, shown: str) -> None:
    """Numbers."""
    assert text.number(value) == shown


@given(st.floats(min_value=-9e5, max_value=9e5))
@settings(deadline=None, max_examples=300)
def test_a_number_reads_back_to_four_figures(value: float) -> None:
    """A number reads back to four figures."""
    back = float(text.number(value).replace("−", "-"))
    assert back == pytest.approx(value, rel=5.1e-4)


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0.0, "0 s"),
        (0.25, "0.25 s"),
        (59.6, "1 min"),
        (3600.0, "1 h"),
        (3601.0, "1 h"),
        (90061.0, "1 d 1 h"),
    ],
)
def test_durations(seconds: float, shown: str) -> None:
    """Durations."""
    assert text.duration(seconds) == shown


def test_counts_and_names() -> None:
    """Counts and names."""
    assert text.count(1, "row") == "1 row"
    assert text.grouped(3_153_600) == "3\u202f153\u202f600"
    assert text.analyte_name("co") == "Carbon monoxide"
    assert text.analyte_name("some_thing") == "Some thing"


def test_times_carry_their_offset_where_the_clocks_change_in_the_period() -> None:
    """Times carry their offset where the clocks change in the period."""
    # Summer time in the EU and the UK begins at 01:00 UTC on the last Sunday of March
    # (Directive 2000/84/EC, article 2): 29 March 2026.
    before, after = (
        datetime(2026, 3, 29, 0, 59, 59, tzinfo=UTC),
        datetime(2026, 3, 29, 1, 0, tzinfo=UTC),
    )
    clock = text.Clock.for_period("Europe/London", before, after)
    assert clock.time(before) == "29 Mar 2026 00:59:59 +00:00"
    assert clock.time(after) == "29 Mar 2026 02:00:00 +01:00"
    assert clock.span(before, after) == "29 Mar 2026 00:59:59 +00:00 to 02:00:00 +01:00"


def test_a_summer_inside_the_period_is_seen_though_both_ends_are_in_winter() -> None:
    """A summer inside the period is seen though both ends are in winter."""
    start, end = datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 12, 1, tzinfo=UTC)

    assert text.Clock.for_period("Europe/London", start, end).with_offset
    assert not text.Clock.for_period("UTC", start, end).with_offset


def test_times_without_a_change_carry_no_offset() -> None:
    """Times without a change carry no offset."""
    start = datetime(2026, 3, 3, 8, tzinfo=UTC)
    clock = text.Clock.for_period("Asia/Kathmandu", start, start + timedelta(days=2))
    assert clock.time(start) == "3 Mar 2026 13:45:00"
    assert clock.time(None) == "–"
    assert clock.span(start, start) == "3 Mar 2026 13:45:00"
    assert clock.span(None, start) == "–"
    assert clock.span(start, start + timedelta(days=1)).count("Mar 2026") == 2


@pytest.mark.parametrize("name", ["Nowhere/Land", "../etc", "", "Europe"])
def test_an_unknown_zone_becomes_utc_and_says_so(name: str) -> None:
    """An unknown zone becomes UTC and says so."""
    assert text.Clock.for_period(name, None, None).zone_name == "UTC"


def test_controls_and_marks_of_direction_are_made_visible() -> None:
    """Controls and marks of direction are made visible."""
    assert text.visible("a\tb\nc") == "a b c"
    assert text.visible("inv\u202eexe.csv") == "inv[U+202E]exe.csv"
    assert text.visible("x\x00y") == "x[U+0000]y"
    assert text.visible("log\udcff.csv") == "log\\udcff.csv"
    assert text.visible("שלום é") == "שלום é"


def test_sentences() -> None:
    """Sentences."""
    assert text.sentence("ppm is a unit") == "ppm is a unit."
    assert text.sentence("done, at last") == "Done, at last."
    assert text.typeset("to -5 °C, (UTC-0500), 2026-03-04, oil=-1") == (
        "to −5 °C, (UTC-0500), 2026-03-04, oil=−1"
    )
    assert text.unit_text("ug/m3") == "µg/m³"
