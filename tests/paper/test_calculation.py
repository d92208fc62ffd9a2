"""A calculation says the same on paper, as data and on a screen."""

from __future__ import annotations

import io
import json
import math
import re
from xml.etree import ElementTree as ET

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.paper.calculation_kit import MADE_AT, invented

from lungwort.errors import OutputError
from lungwort.paper import calculation as c
from lungwort.paper.calculation_sheet import calculation_pdf, json_text, left_off, numeric_columns
from lungwort.paper.plot import BOTTOM, LEFT, NARROW, TOP, WIDTH, plot_svg

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (1234.5, 3, "1234"),
        (0.012345, 3, "0.0123"),
        (0.0, 3, "0"),
        (-2.5, 2, "−2.5"),
        (99.96, 3, "100"),
        (1e-9, 2, "0.0000000010"),
        (12, 2, "12"),
        ("words", 3, "words"),
        (None, 3, "–"),
        (math.inf, 3, "no end"),
    ],
)
def test_figures(value: c.Cell, digits: int, text: str) -> None:
    """Significant digits, and no powers of ten."""
    assert c.figure(value, digits) == text


def test_what_is_no_number_is_never_shown() -> None:
    """NaN on a paper would be a result that is none."""
    with pytest.raises(OutputError, match="not a number"):
        c.figure(math.nan)


@given(st.floats(min_value=-1e9, max_value=1e9, allow_nan=False), st.integers(2, 6))
@settings(max_examples=80)
def test_a_figure_is_near_its_number(value: float, digits: int) -> None:
    """Within half of its last digit."""
    shown = float(c.figure(value, digits).replace("−", "-"))

    assert shown == pytest.approx(value, rel=0.51 * 10.0 ** (1 - digits), abs=1e-300)


def test_intervals_have_one_or_two_ends() -> None:
    """Each in words."""
    assert c.shown(c.Quantity("a", 5.0, "h", low=4.0)) == "5.00 h (at least 4.00 h)"
    assert c.shown(c.Quantity("a", 5.0, "h", high=9.0)) == "5.00 h (at most 9.00 h)"
    assert c.shown(c.Quantity("a", None, "h")) == "–"


def test_a_calculation_without_a_caution_or_with_another_state_is_refused() -> None:
    """A person may act on every one of them."""
    with pytest.raises(ValueError, match="cautions"):
        invented(cautions=())
    with pytest.raises(ValueError, match="state"):
        invented(state="fine")


def test_the_paper_is_the_same_each_time_and_carries_its_data() -> None:
    """PDF/A-3b with the JSON that `--json` writes."""
    made = invented()
    pdf = calculation_pdf(made)

    assert pdf == calculation_pdf(made)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert list(opened.attachments) == ["lungwort-invented.json"]
        attached = opened.attachments["lungwort-invented.json"].get_file().read_bytes()
        with opened.open_metadata() as meta:
            assert meta["pdfaid:part"] == "3"
            assert made.title in meta["dc:title"]
    assert attached.decode() == json_text(made)


def test_the_data_have_no_endless_numbers() -> None:
    """JSON has none; the state, the cautions and the moment are there."""
    said = json.loads(json_text(invented()))

    assert said["data"] == {"margin_l_min": 180.0, "endless": None}
    assert said["state"] == "not_proven"
    assert said["made_at"] == "2026-11-25T09:00:00Z"
    assert said["cautions"]
    assert MADE_AT.tzinfo is not None


def test_tables_tell_what_they_leave_off() -> None:
    """No row is dropped in silence."""
    grid = c.Grid("t", ("a", "b"), tuple((float(n), "x") for n in range(50)), most=40)

    assert left_off(grid) == "10 more rows are in the attached data."
    assert numeric_columns(grid) == [0]
    assert len(json.loads(json_text(invented(grids=(grid,))))["grids"][0]["rows"]) == 50


def _drawn(plot: c.Plot) -> ET.Element:
    return ET.fromstring(plot_svg(plot, "Europe/London"))  # noqa: S314 - our own drawing


def test_a_plot_keeps_within_its_frame_and_says_what_is_seen() -> None:
    """With levels and bands; every text escaped."""
    plot = invented().plots[0]
    root = _drawn(plot)

    assert root.attrib["aria-label"] == "Pressure over time. It falls below the least."
    texts = [one.text for one in root.iter(f"{SVG}text")]
    assert {"pressure [bar(g)]", "least", "stopped", "likely", "Europe/London"} <= set(texts)
    for line in root.iter(f"{SVG}path"):
        if line.attrib.get("class", "").startswith("line-") and "h26" not in line.attrib["d"]:
            pairs = [pair.split(",") for pair in line.attrib["d"].strip("M").split("L")]
            assert all(
                LEFT <= float(x) <= WIDTH - 10.0 and TOP <= float(y) <= BOTTOM for x, y in pairs
            )


def test_a_gap_breaks_the_line() -> None:
    """What was not measured is not drawn."""
    plot = c.Plot("t", "x", "", "y", "", (c.Curve("a", (0, 1, 2, 3), (1.0, math.nan, 2.0, 3.0)),))
    lines = [
        one
        for one in _drawn(plot).iter(f"{SVG}path")
        if one.attrib.get("class") == "line-trace" and "h26" not in one.attrib["d"]
    ]

    assert len(lines) == 2


def test_a_peak_is_drawn_however_many_points_there_are() -> None:
    """Thinning keeps both ends of the values of each step."""
    ys = [1.0] * 20_000
    ys[12_345] = 9.0
    plot = c.Plot("t", "x", "", "y", "", (c.Curve("a", tuple(range(20_000)), tuple(ys)),))
    line = next(one for one in _drawn(plot).iter(f"{SVG}path") if one.get("class") == "line-trace")
    heights = [float(pair.split(",")[1]) for pair in line.attrib["d"].strip("M").split("L")]

    assert len(heights) < 4000
    assert min(heights) < TOP + 0.1 * (BOTTOM - TOP)
    assert max(heights) > BOTTOM - 0.2 * (BOTTOM - TOP)


def test_names_cannot_break_out_of_the_drawing() -> None:
    """They may come from a file."""
    plot = c.Plot(
        "<b>", "x", "", "</text><script>", "", (c.Curve("</svg>", (0.0, 1.0), (0.0, 1.0)),)
    )

    assert "<script" not in plot_svg(plot)
    assert _drawn(plot).attrib["aria-label"].startswith("<b>")


@pytest.mark.parametrize("curves", [(), (c.Curve("a", (0.0,), (math.nan,)),)])
def test_nothing_to_draw_is_told(curves: tuple[c.Curve, ...]) -> None:
    """An empty frame would look like a clean stretch."""
    with pytest.raises(OutputError, match="nothing to draw"):
        plot_svg(c.Plot("t", "x", "", "y", "", curves))


def test_one_value_has_an_axis() -> None:
    """A flat line is not an error."""
    assert "<svg" in plot_svg(c.Plot("t", "x", "", "y", "", (c.Curve("a", (1.0,), (0.0,)),)))


def test_a_narrow_drawing_keeps_to_its_width() -> None:
    """Letters are as large as in the wide one, so there are fewer ticks; nothing lies beyond."""
    made = invented()
    for plot in made.plots:
        wide, narrow = plot_svg(plot, made.zone), plot_svg(plot, made.zone, width=NARROW)
        assert f'viewBox="0 0 {NARROW:g} ' in narrow
        places = [float(x) for x in re.findall(r' (?:x|cx|x1)="(-?[\d.]+)"', narrow)]
        assert max(places) <= NARROW
        assert narrow.count('text-anchor="middle"') <= wide.count('text-anchor="middle"')
        ids = [re.findall(r'clipPath id="(\w+)"', svg) for svg in (wide, narrow)]
        assert ids[0] != ids[1]
