"""Random tables, written by plain Python: what was written is what is read."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.logs.made import write

from lungwort.air import units
from lungwort.logs.read import read_log

# How each channel can be headed, with the unit of its numbers.
CO = [("CO [ppm]", "ppm"), ("Kohlenmonoxid (ml/m³)", "ppm"), ("Monoxyde de carbone [ppm]", "ppm"), ("Monóxido de carbono ppb", "ppb"), ("Karbonmonoksid [µmol/mol]", "ppm"), ("CO_ppm", "ppm")]  # fmt: skip
O2 = [("O2 [%]", "%"), ("Sauerstoff (Vol.-%)", "%"), ("Oxygène [% vol]", "%"), ("Oxígeno [mol/mol]", "mol/mol"), ("Oksygen %", "%")]  # fmt: skip
WATER = [("Water [mg/m3]", "mg/m3"), ("Drucktaupunkt [°C]", "°C"), ("Pressure dew point (°F)", "°F"), ("Punto de rocío a presión [°C]", "°C"), ("Vanninnhold [g/m³]", "g/m3")]  # fmt: skip
TIME = ["Time", "Zeit", "Horodatage", "Fecha y hora", "Tidspunkt", "Timestamp"]
PREAMBLES = [
    "",
    "Logger 7\n",
    "Report; all well\nSite: hall, bay 3\n\n",
    "# CO limit 5 ppm\n# O2 20.9 %\n",
]
CANONICAL = {"co": "ppm", "o2": "%", "water_mass": "mg/m3", "water_dew": "°C"}


@st.composite
def numbers(draw: st.DrawFn, places: int, low: int, high: int) -> Decimal:
    """Draw a number with a fixed count of decimals, as a logger writes it."""
    return Decimal(draw(st.integers(low * 10**places, high * 10**places))).scaleb(-places)


def stamp(moment: datetime, form: str, offset_min: int) -> str:
    """Write a moment with its offset."""
    local = moment.astimezone(timezone(timedelta(minutes=offset_min)))
    sign = "-" if offset_min < 0 else "+"
    zone = f"{sign}{abs(offset_min) // 60:02d}:{abs(offset_min) % 60:02d}"
    return {
        "iso": f"{local:%Y-%m-%dT%H:%M:%S}{zone}",
        "blank": f"{local:%Y-%m-%d %H:%M:%S}{zone}",
        "tight": f"{local:%Y-%m-%dT%H:%M:%S}{zone.replace(':', '')}",
        "dots": f"{local:%d.%m.%Y %H:%M:%S}{zone}",
        "utc": f"{moment:%Y-%m-%dT%H:%M:%SZ}",
        "slashes": f"{local:%Y/%m/%d %H:%M:%S}{zone}",
    }[form]


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_what_is_written_is_what_is_read(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Property: delimiter, decimal sign, encoding, language, date format, zone, preamble, line end."""
    draw = data.draw
    sign = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","]))
    assume(not (sign == decimal == ","))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"]))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    form = draw(st.sampled_from(["iso", "blank", "tight", "dots", "utc", "slashes"]))
    offset = draw(st.sampled_from([0, 60, -300, 330, 720, -570]))
    step = draw(st.sampled_from([1, 10, 60, 3600]))
    start = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=draw(st.integers(0, 300 * 86400)))
    picked = [draw(st.sampled_from(some)) for some in (CO, O2, WATER)]
    head = [draw(st.sampled_from(TIME)), *(heading for heading, _ in picked)]
    quoted = draw(st.booleans())
    count = draw(st.integers(3, 25))
    rows = [
        [draw(numbers(2, 0, 90)), draw(numbers(3, 0, 1)), draw(numbers(1, -20, 60))]
        for _ in range(count)
    ]
    # a decimal sign shows itself only where a number has one that is no group of three
    rows[0][0] = Decimal("1.25")
    moments = [start + timedelta(seconds=step * i) for i in range(count)]
    mark = '"' if quoted else ""
    lines = [sign.join(f"{mark}{cell}{mark}" for cell in head)]
    for moment, row in zip(moments, rows, strict=True):
        cells = [stamp(moment, form, offset), *(f"{cell:f}".replace(".", decimal) for cell in row)]
        lines.append(sign.join(f"{mark}{cell}{mark}" for cell in cells))
    text = draw(st.sampled_from(PREAMBLES)).replace("\n", end) + end.join(lines) + end
    path = write(tmp_path_factory.mktemp("any"), text, encoding=encoding)

    log = read_log(path)

    assert log.frame["time"].to_list() == moments
    assert log.sources[0].rows_used == count
    assert log.sources[0].rows_refused == 0
    for place, channel in enumerate(log.channels):
        written = [float(row[place]) for row in rows]
        unit = picked[place][1]
        wanted = [units.scale(value, unit, channel.unit) for value in written]
        assert log.frame[channel.name].to_list() == pytest.approx(wanted, rel=1e-12, abs=1e-9)
    assert [channel.analyte for channel in log.channels] == ["co", "o2", "water"]


@settings(max_examples=40, deadline=None)
@given(
    order=st.permutations(["co", "co2", "o2", "junk"]),
    rows=st.lists(
        st.tuples(st.integers(0, 50), st.integers(300, 900), st.integers(18, 22)),
        min_size=3,
        max_size=20,
    ),
)
def test_the_order_of_columns_changes_nothing(
    order: list[str], rows: list[tuple[int, int, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Property: channels follow their headings."""
    heads = {"co": "CO [ppm]", "co2": "CO2 [ppm]", "o2": "O2 [%]", "junk": "Status"}
    start = datetime(2026, 3, 17, tzinfo=UTC)
    lines = [";".join(["Time", *(heads[key] for key in order)])]
    for i, row in enumerate(rows):
        cells = dict(zip(("co", "co2", "o2"), map(str, row), strict=True)) | {"junk": "ok"}
        moment = start + timedelta(seconds=10 * i)
        lines.append(";".join([f"{moment:%Y-%m-%dT%H:%M:%SZ}", *(cells[key] for key in order)]))
    log = read_log(write(tmp_path_factory.mktemp("any"), "\n".join(lines) + "\n"))
    for place, key in enumerate(("co", "co2", "o2")):
        assert log.frame[key].to_list() == [float(row[place]) for row in rows]
