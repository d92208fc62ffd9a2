"""The invented site as it is written: the same bytes everywhere, and what was promised in them."""

from __future__ import annotations

import csv
import gzip
import hashlib
import os
import shlex
import subprocess
import sys
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from attrs import frozen

from lungwort.demo.site import SEED, write_site
from lungwort.errors import OutputError

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.demo.model import Case, Site

CHANNELS = ("co", "co2", "o2", "water", "pressure")

# EN 12021:2014: O2 21 ± 1 %, CO 5 mL/m³, CO2 500 mL/m³, water 35 mg/m³ above 200 bar (secondary
# sources); water 160 mg/m³ up to 10 bar (from memory).
AIRLINE = {"co": (0.0, 5.0), "co2": (0.0, 500.0), "o2": (20.0, 22.0), "water": (0.0, 160.0)}
CHARGING = {**AIRLINE, "water": (0.0, 35.0)}


@frozen
class Layout:
    """How a file is laid out, written down apart from the code that writes it."""

    encoding: str
    delimiter: str
    decimal: str
    times: int
    pattern: str


LAYOUTS = {
    "01-clean-day.csv": Layout("cp1252", ";", ",", 2, "%d.%m.%Y %H:%M:%S"),
    "02-intake-exhaust.csv": Layout("utf-8", ",", ".", 1, "%Y-%m-%dT%H:%M:%S%z"),
    "03-drier-going-off.csv.gz": Layout("utf-8", ",", ".", 1, "%Y-%m-%d %H:%M:%S"),
    "04-short-spike.txt": Layout("utf-8-sig", "\t", ".", 1, "%d/%m/%Y %I:%M:%S %p"),
    "05-o2-cell-drift-a.csv": Layout("utf-8", ",", ".", 2, "%Y-%m-%d %H:%M:%S"),
    "05-o2-cell-drift-b.csv": Layout("utf-8", ",", ".", 2, "%Y-%m-%d %H:%M:%S"),
    "06-frozen-logger.txt": Layout("utf-16", "\t", ".", 1, "%Y-%m-%d %H:%M:%S"),
    "07-clock-change.csv": Layout("utf-8", ",", ".", 2, "%d/%m/%Y %H:%M:%S"),
    "08-settling.csv": Layout("utf-8", ";", ",", 2, "%d/%m/%Y %H:%M:%S"),
    "09-charging-panel.csv": Layout("utf-8-sig", "|", ".", 1, "%d.%m.%Y %H.%M.%S"),
}


@frozen
class Table:
    """Times in UTC and readings by channel."""

    times: list[datetime]
    columns: dict[str, np.ndarray]


def read_plainly(file: Path) -> Table:
    """Read a file by its known layout with the standard library alone."""
    layout = LAYOUTS[file.name]
    content = file.read_bytes()
    if file.suffix == ".gz":
        content = gzip.decompress(content)
    lines = content.decode(layout.encoding).splitlines()
    rows = [
        row
        for row in csv.reader(lines, delimiter=layout.delimiter)
        if len(row) > 5 and row[0][:1].isdigit()
    ]
    zone = ZoneInfo("Europe/London")
    times = []
    for row in rows:
        time_ = datetime.strptime(" ".join(row[: layout.times]), layout.pattern)  # noqa: DTZ007 - zone follows
        if time_.tzinfo is None:
            time_ = time_.replace(tzinfo=zone)
        times.append(time_.astimezone(UTC))
    fields = [row[layout.times : layout.times + 5] for row in rows]
    values = np.array(
        [[float(field.replace(layout.decimal, ".")) for field in row] for row in fields]
    )
    return Table(times, {name: values[:, index] for index, name in enumerate(CHANNELS)})


def read_case(case: Case) -> Table:
    """Read all files of a case, taking what they share once."""
    tables = [read_plainly(file) for file in case.files]
    merged = {
        (moment, index if len(tables) == 1 else 0): tuple(
            table.columns[name][index] for name in CHANNELS
        )
        for table in tables
        for index, moment in enumerate(table.times)
    }
    keys = list(merged)
    values = np.array(list(merged.values()))
    return Table(
        [moment for moment, _ in keys],
        {name: values[:, index] for index, name in enumerate(CHANNELS)},
    )


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Write the site once."""
    return write_site(tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="module", params=[SEED, 0, 2**40 + 1])
def read(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> list[tuple[Case, Table]]:
    """Write the site from several seeds and read it plainly."""
    site = write_site(tmp_path_factory.mktemp("any"), seed=request.param)
    return [(case, read_case(case)) for case in site.cases]


def digest(folder: Path) -> str:
    """Give one digest of all files with their names."""
    total = hashlib.sha256()
    for file in sorted(folder.iterdir(), key=lambda path: path.name):
        total.update(file.name.encode() + b"\0" + hashlib.sha256(file.read_bytes()).digest())
    return total.hexdigest()


def test_two_runs_give_the_same_bytes(site: Site, tmp_path: Path) -> None:
    """Also into a folder that has to be made."""
    again = write_site(tmp_path / "a" / "b")
    assert digest(again.folder) == digest(site.folder)


def test_another_process_zone_and_hash_seed_give_the_same_bytes(site: Site, tmp_path: Path) -> None:
    """Nothing of the surroundings enters."""
    program = (
        "import pathlib, sys\n"
        "from lungwort.demo.site import write_site\n"
        "write_site(pathlib.Path(sys.argv[1]))\n"
    )
    subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "other")],
        check=True,
        env={**os.environ, "PYTHONHASHSEED": "77", "TZ": "Pacific/Kiritimati", "PYTHONUTF8": "0"},
    )
    assert digest(tmp_path / "other") == digest(site.folder)


def test_another_seed_gives_other_readings(site: Site, tmp_path: Path) -> None:
    """The seed reaches every logger's file."""
    other = write_site(tmp_path, seed=SEED + 1)
    for file in LAYOUTS:
        assert (site.folder / file).read_bytes() != (other.folder / file).read_bytes()


def test_bytes_are_those_of_every_other_platform(site: Site) -> None:
    """Own output, pinned so that a platform that computes otherwise is found."""
    assert digest(site.folder) == OWN_DIGEST


OWN_DIGEST = "6864ef289dc2a6805f183c7c344c1cdce7ab9fefc8d4d13afeadd49441a482c1"


def test_it_is_small_and_quick(tmp_path: Path) -> None:
    """Promised: under 25 MB, and quick enough that a newcomer does not wait."""
    begin = time.perf_counter()
    site = write_site(tmp_path)
    assert time.perf_counter() - begin < 10.0
    assert sum(file.stat().st_size for file in site.folder.iterdir()) < 25_000_000


def test_every_file_says_that_it_is_invented(site: Site) -> None:
    """In the first lines, whatever the encoding."""
    for file in site.folder.iterdir():
        content = file.read_bytes()
        if file.suffix == ".gz":
            content = gzip.decompress(content)
        encoding = LAYOUTS[file.name].encoding if file.name in LAYOUTS else "utf-8"
        assert "invented" in content[:600].decode(encoding, errors="ignore"), file.name


def test_every_row_has_a_cell_a_heading(site: Site) -> None:
    """Counted by the csv module; lines above the headings may have fewer."""
    for name, layout in LAYOUTS.items():
        content = (site.folder / name).read_bytes()
        if name.endswith(".gz"):
            content = gzip.decompress(content)
        lines = content.decode(layout.encoding).splitlines()
        rows = list(csv.reader(lines, delimiter=layout.delimiter))
        head = next(row for row in rows if any(cell.startswith("CO2") for cell in row))
        assert {len(row) for row in rows if row[:1] and row[0][:1].isdigit()} == {len(head)}, name


def test_line_ends_are_those_of_the_layout(site: Site) -> None:
    """CRLF only where a logger's program would write it."""
    with_crlf = {"01-clean-day.csv", "06-frozen-logger.txt"}
    for file in site.folder.iterdir():
        content = file.read_bytes().replace(b"\0", b"")
        assert (b"\r\n" in content) == (file.name in with_crlf), file.name


def test_what_a_case_names_is_there(site: Site) -> None:
    """Files, keys, and a command line that says the same as the options."""
    assert {file.name for case in site.cases for file in case.files} == set(LAYOUTS)
    for case in site.cases:
        assert site.case(case.key) is case
        names = [file.name for file in case.files]
        assert shlex.split(case.command) == ["lungwort", "judge", *names, *case.options]
        assert case.command in site.readme.read_text(encoding="utf-8")
    with pytest.raises(KeyError, match="no-such"):
        site.case("no-such")


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """No traceback of the system's."""
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with pytest.raises(OutputError, match=r"folder could not be made .* Choose another one\.$"):
        write_site(tmp_path / "taken")


def test_a_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A folder stands where a file should go."""
    (tmp_path / "02-intake-exhaust.csv").mkdir()
    with pytest.raises(OutputError, match=r"could not be written .* Choose another folder\.$"):
        write_site(tmp_path)


def outside(case: Case, table: Table, channel: str) -> np.ndarray:
    """Tell which readings are outside, by comparing."""
    low, high = (CHARGING if "charging" in case.limit_set else AIRLINE)[channel]
    values = table.columns[channel]
    return (values < low) | (values > high)


def test_readings_are_as_many_as_promised(read: list[tuple[Case, Table]]) -> None:
    """Counted by the standard library's reader."""
    for case, table in read:
        assert len(table.times) == case.expected.readings, case.key


def test_nothing_is_outside_but_what_was_seeded(read: list[tuple[Case, Table]]) -> None:
    """Brute force over every reading of every case, whatever the seed."""
    for case, table in read:
        allowed = np.zeros(len(table.times), dtype=bool)
        for stretch in case.expected.stretches:
            if stretch.outside:
                allowed |= np.array(
                    [stretch.start <= moment < stretch.end for moment in table.times]
                )
                for analyte in stretch.outside:
                    assert np.any(outside(case, table, analyte) & allowed), (case.key, analyte)
        seeded = {excursion.analyte for excursion in case.expected.excursions}
        assert seeded == set(case.expected.not_conforming)
        for channel in AIRLINE:
            if channel not in seeded:
                assert not np.any(outside(case, table, channel) & ~allowed), (case.key, channel)


def test_seeded_excursions_are_where_they_are_promised(read: list[tuple[Case, Table]]) -> None:
    """First and last reading outside, peak and count, from the files by brute force."""
    for case, table in read:
        for promised in case.expected.excursions:
            rows = np.flatnonzero(outside(case, table, promised.analyte))
            step = (table.times[1] - table.times[0]).total_seconds()
            begin, end = table.times[rows[0]], table.times[rows[-1]]
            assert abs((begin - promised.start).total_seconds()) <= promised.tolerance_s
            assert abs((end - promised.end).total_seconds() + step) <= promised.tolerance_s
            values = table.columns[promised.analyte][rows]
            peak = np.max(values) if promised.direction == "above" else np.min(values)
            assert peak == pytest.approx(promised.peak, abs=promised.peak_tolerance)
            if promised.single:
                assert np.max(np.diff(rows)) < 3
            if promised.samples is not None:
                assert len(rows) == promised.samples
            assert (rows[-1] == len(table.times) - 1) == (promised.ended_by == "log_ended")


def test_exhaust_lasts_40_minutes_and_moves_carbon_dioxide_not_oxygen(site: Site) -> None:
    """The story's numbers, from the file: 12 ppm CO, +140 ppm CO2, oxygen down by 0.02 %."""
    case = site.case("intake-exhaust")
    table = read_case(case)
    minutes = (case.expected.excursions[0].end - case.expected.excursions[0].start).seconds / 60
    assert minutes == pytest.approx(40.0, abs=1.0)
    during = table.columns["co"] > 11.0
    before = np.arange(len(during)) < 1_500
    change = {
        name: float(np.mean(table.columns[name][during]) - np.mean(table.columns[name][before]))
        for name in ("co", "co2", "o2")
    }
    # 1.2e-3 x (10 000 - 0), x (120 000 - 430), x (3.5 - 20.9) %
    assert change["co"] == pytest.approx(12.0, abs=0.2)
    assert change["co2"] == pytest.approx(143.5, abs=8.0)
    assert change["o2"] == pytest.approx(-0.021, abs=0.003)


def test_spike_is_four_readings_in_forty_seconds(site: Site) -> None:
    """Shorter than a minute, and certain whatever the noise."""
    (spike,) = site.case("short-spike").expected.excursions
    assert (spike.samples, (spike.end - spike.start).total_seconds()) == (4, 40.0)


def test_frozen_logger_repeats_every_channel_while_time_goes_on(site: Site) -> None:
    """And no channel does so elsewhere."""
    case = site.case("frozen-logger")
    table = read_case(case)
    (stretch,) = case.expected.stretches
    held = np.array([stretch.start <= moment <= stretch.end for moment in table.times])
    assert held.sum() == 4.25 * 360
    for name in CHANNELS:
        assert len(set(table.columns[name][held])) == 1
    moving = np.any([np.diff(table.columns[name]) != 0.0 for name in CHANNELS], axis=0)
    assert np.mean(moving[~held[1:]]) > 0.99


def test_clock_change_repeats_an_hour(site: Site) -> None:
    """Local times from 01:00 to 02:00 stand twice in the file, all others once."""
    (file,) = site.case("clock-change").files
    rows = [line.split(",")[:2] for line in file.read_text(encoding="utf-8").splitlines()[2:]]
    stamps = [" ".join(row) for row in rows]
    twice = {stamp for stamp in stamps if stamps.count(stamp) == 2}
    assert len(twice) == 120
    assert all(stamp.startswith("26/10/2025 01:") for stamp in twice)
    assert len(stamps) == len(set(stamps)) + 120


def test_two_files_share_six_hours(site: Site) -> None:
    """With the same readings in both."""
    first, second = (read_plainly(file) for file in site.case("o2-cell-drift").files)
    shared = sorted(set(first.times) & set(second.times))
    assert len(shared) == 360
    at = first.times.index(shared[0])
    for name in CHANNELS:
        assert np.array_equal(first.columns[name][at : at + 360], second.columns[name][:360])
