"""What was breathed, from a file or the record to the calculation. All logs and people are invented."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from attrs import evolve

from lungwort.errors import ExposureError, UnknownRecordError
from lungwort.jobs.exposure import Request, exposure, logs_of
from lungwort.jobs.exposure_log import taken_from
from lungwort.jobs.exposure_words import CAUTIONS
from lungwort.jobs.opening import Where
from lungwort.jobs.reading import Reading
from lungwort.logs.model import (
    ABOVE,
    BAD,
    GOOD,
    NOT_EVALUATED,
    PLAIN,
    SUSPECT,
    UNREADABLE,
    Channel,
    Log,
    Source,
)
from lungwort.logs.options import ReadOptions
from lungwort.paper.calculation import ESTIMATE, FAILS, NOT_PROVEN, Calculation
from lungwort.paper.calculation_sheet import calculation_pdf, json_text
from lungwort.paper.plot import plot_svg
from lungwort.register.model import Outlet, Person, Site, Supply
from lungwort.register.store import import_log
from lungwort.register.workspace import create_workspace, open_workspace
from lungwort.wearers.averages import dose, peak
from lungwort.wearers.exposure_limits import exposure_limits

NOW = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)
START = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)
NOWHERE = Where(Path("/nowhere"))
ZONE = Reading(zone="Europe/London", settle="0")
STAY = "A. Example,hall 1,2026-03-04 08:00,2026-03-04 10:00,heavy"


def _levels(hours: float, top: float) -> list[float]:
    """Give invented readings every 30 s: 2 ppm, and from 8:00 to 9:00 up to the top, never still."""
    count = round(hours * 120) + 1
    noise = np.random.default_rng(7).uniform(-0.5, 0.5, count)
    at = 6.0 + np.arange(count) / 120.0
    swell = np.where((at >= 8) & (at <= 9), np.sin(np.pi * (at - 8)), 0.0)
    return [round(float(one), 2) for one in 2.0 + noise + (top - 2.0) * swell]


def _file(folder: Path, top: float = 2.0, *, hours: float = 6.0, name: str = "shift.csv") -> Path:
    path = folder / name
    lines = ["time,CO [ppm]"]
    lines += [
        f"{START + timedelta(seconds=30 * at):%Y-%m-%d %H:%M:%S},{value:.2f}"
        for at, value in enumerate(_levels(hours, top))
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _done(path: Path, *stays: str, **more: Any) -> Calculation:
    request = Request(**{"files": (path,), "stays": stays, "reading": ZONE, **more})
    return exposure(NOWHERE, request, now=NOW)


def test_estimate_clears_nobody(tmp_path: Path) -> None:
    """Low readings without a hole are an estimate, and every word of caution stands there."""
    made = _done(_file(tmp_path), STAY)
    assert made.state == ESTIMATE
    assert "clears nobody" in made.answer
    assert made.cautions == CAUTIONS
    assert "never medical advice" in made.cautions[0]
    assert "doctor at once" in made.next_steps[0]
    assert not any(word in json_text(made).lower() for word in ("healthy", '"safe"', "harmless"))


def test_fails_above_a_limit(tmp_path: Path) -> None:
    """A swell to 300 ppm: above 100 ppm over 15 min and the ceiling of 200 ppm, not above IDLH."""
    made = _done(_file(tmp_path, 300.0), STAY)
    assert made.state == FAILS
    (person,) = made.data["people"]
    exceeded = {(one["set"], one["averaging"]) for one in person["limits"] if one["exceeded"]}
    assert exceeded == {
        ("uk-eh40-2020", "15 min"),
        ("eu-exposure-limits", "15 min"),
        ("niosh-rel", "any reading"),
        ("uk-eh40-2020", "8 h"),
        ("eu-exposure-limits", "8 h"),
    }
    # Half a sine of 298 ppm over an hour is 298 * 2/pi ppm h, and 2 h of 2 ppm (by hand).
    assert person["co_dose_ppm_h"]["value"] == pytest.approx(298 * 2 / np.pi + 4, rel=0.01)
    assert person["co_ppm"]["shift"]["value"] == pytest.approx((298 * 2 / np.pi + 4) / 8, rel=0.01)
    assert made.answer.startswith("A. Example:")
    assert "finding" in made.next_steps[1]


def test_immediately_dangerous(tmp_path: Path) -> None:
    """Above 1200 ppm (IDLH, from memory) the paper says that life was in danger."""
    made = _done(_file(tmp_path, 1500.0), STAY, limits=("osha-pel",))
    assert made.state == FAILS
    assert "immediately dangerous to life" in " ".join((made.answer, *made.reasons))


def test_holes_are_not_proven(tmp_path: Path) -> None:
    """A stay past the end of the log, readings while the cells settle: nothing is proven."""
    path = _file(tmp_path)
    late = _done(path, "A. Example,hall 1,2026-03-04 11:00,2026-03-04 13:00,rest")
    assert late.state == NOT_PROVEN
    assert "nothing is known of 60.0 min" in late.answer
    assert "at least" in late.answer
    settling = _done(
        path,
        "A. Example,hall 1,2026-03-04 06:00,2026-03-04 07:00,rest",
        reading=Reading(zone="Europe/London"),
    )
    assert settling.state == NOT_PROVEN
    assert "are doubted" in settling.answer
    (why,) = (grid for grid in settling.grids if grid.title.startswith("Why readings"))
    assert any("settl" in str(row[-1]) for row in why.rows)


def test_hole_does_not_hide_what_is_exceeded(tmp_path: Path) -> None:
    """A limit exceeded in the part that is known is exceeded, whatever the rest was."""
    made = _done(_file(tmp_path, 300.0), "A. Example,hall 1,2026-03-04 08:00,2026-03-04 14:00,rest")
    assert made.state == FAILS
    assert "at least" in made.answer


def test_worst_case_without_stays(tmp_path: Path) -> None:
    """Nobody named: somebody there all the time, at heavy work and at rest."""
    made = _done(_file(tmp_path, 150.0), outlets=("hall 1",), begin="2026-03-04 07:00")
    assert [one["assumed"] for one in made.data["people"]] == [True, True]
    assert any("Nobody said who was where" in one.text for one in made.assumptions)
    heavy, rest = (one["cohb"]["peak_percent"]["middle"] for one in made.data["people"])
    assert heavy > rest
    assert made.data["people"][0]["stays"][0]["start"] == "2026-03-04T07:00:00Z"


def test_several_outlets_and_a_table(tmp_path: Path) -> None:
    """One went from an outlet to the other; the table is read, each log counts where it belongs."""
    table = tmp_path / "stays.csv"
    table.write_text(
        "name;outlet;start;end;work\n"
        "A. Example;hall 1;2026-03-04 07:00;2026-03-04 08:00;light\n"
        "A. Example;hall 2;2026-03-04 08:00;2026-03-04 09:00;heavy\n",
        encoding="utf-8",
    )
    clean, bad = _file(tmp_path), _file(tmp_path, 300.0, name="hall2.csv")
    made = _done(clean, stays_file=table, more=logs_of([f"hall 2={bad}"]))
    assert made.state == FAILS
    (person,) = made.data["people"]
    assert person["co_dose_ppm_h"]["value"] == pytest.approx(298 * 2 / np.pi + 4, rel=0.01)


def test_all_faces_can_show_it(tmp_path: Path) -> None:
    """JSON of this form, each drawing, and a PDF."""
    made = _done(_file(tmp_path, 300.0), STAY, "B. Example" + STAY[10:])
    assert json.loads(json_text(made))["format"] == "lungwort-exposure/1"
    assert len(made.plots) == 4
    for plot in made.plots:
        assert plot_svg(plot, made.zone).startswith("<svg")
    assert calculation_pdf(made).startswith(b"%PDF")


def test_same_question_same_answer(tmp_path: Path) -> None:
    """The draws begin at one seed: the same question gets the same answer to the last digit."""
    path = _file(tmp_path, 300.0)
    assert json_text(_done(path, STAY)) == json_text(_done(path, STAY))


def test_chosen_limits(tmp_path: Path) -> None:
    """Only the set that was chosen, and what endangers life."""
    made = _done(_file(tmp_path), STAY, limits=("osha-pel",))
    (person,) = made.data["people"]
    assert {one["set"] for one in person["limits"]} == {"osha-pel", "niosh-idlh"}


def test_zone_of_the_stays_is_never_guessed(tmp_path: Path) -> None:
    """A file whose times state an offset does not tell the clock that people went by."""
    path = _file(tmp_path)
    path.write_text(path.read_text().replace(":00,", ":00Z,").replace(":30,", ":30Z,"))
    with pytest.raises(ExposureError, match="Give --zone"):
        _done(path, STAY, reading=Reading(settle="0"))
    made = _done(
        path,
        STAY.replace(" 08:00", "T08:00Z").replace(" 10:00", "T10:00Z"),
        reading=Reading(settle="0"),
    )
    assert made.state == ESTIMATE
    plain = _done(_file(tmp_path), STAY, reading=Reading(settle="0"))
    assert any("times of one clock" in one.text for one in plain.assumptions)


# --- from the record ------------------------------------------------------------------------------


def _log(values: list[float], **more: Any) -> Log:
    times = [START + timedelta(seconds=30 * at) for at in range(len(values))]
    channel = more.pop("channel", Channel("co", "co", "volume_fraction", "ppm", heading="CO"))
    columns: dict[str, Any] = {
        "time": pl.Series(times, dtype=pl.Datetime("us", "UTC")),
        channel.name: pl.Series(values, dtype=pl.Float64),
        f"{channel.name}_flag": pl.Series(more.pop("flags", [GOOD] * len(values)), dtype=pl.UInt8),
    }
    if channel.censored:
        columns[f"{channel.name}_censor"] = pl.Series(more.pop("censor"), dtype=pl.Int8)
    return Log(
        parts=(pl.DataFrame(columns),),
        channels=(channel,),
        sources=(Source("log.csv", hashlib.sha256(b"invented").hexdigest(), 8, 1, 1),),
        rows=len(values),
        start=times[0],
        end=times[-1],
        interval_s=30.0,
        zone="Europe/London",
        zone_stated=True,
        **more,
    )


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace whose outlet 'panel' has an invented log; never change it."""
    folder = tmp_path_factory.mktemp("exposure") / "workspace"
    who = "Wenna Harkle"
    with create_workspace(folder, name="slip", person=who, now=START) as workspace:
        with workspace.register.change(who=who, now=START) as change:
            person = change.get(Person, who)
            site = change.add(
                Site(name="slip", zone="Europe/London", limit_set="en12021-2014-airline")
            )
            supply = change.add(Supply(site_id=site.id, name="hall"))
            outlet = change.add(Outlet(supply_id=supply.id, name="panel"))
            change.add(Outlet(supply_id=supply.id, name="bare"))
        with workspace.register.change(who=who, now=NOW) as change:
            import_log(
                workspace,
                change,
                _log(_levels(6.0, 300.0)),
                outlet=outlet,
                instrument=None,
                files=[("log.csv", b"invented")],
                options=ReadOptions(),
                by=person,
            )
    return folder


def _on_record(record: Path, **asked: Any) -> Calculation:
    return exposure(Where(record), Request(**asked), now=NOW)


def test_record_is_as_the_file(record: Path, tmp_path: Path) -> None:
    """The outlet on record, with the stays in the site's zone, gives what the file gives."""
    stay = STAY.replace("hall 1", "panel")
    kept = _on_record(record, stays=(stay,))
    read = _done(_file(tmp_path, 300.0), stay)
    assert kept.state == read.state == FAILS
    mine, its = (one.data["people"][0] for one in (kept, read))
    assert mine["co_dose_ppm_h"]["value"] == pytest.approx(its["co_dose_ppm_h"]["value"], rel=1e-6)
    assert mine["cohb"]["peak_percent"] == pytest.approx(its["cohb"]["peak_percent"], rel=1e-3)
    assert kept.zone == "Europe/London"
    # An outlet that is chosen beside, by its id, is that of the stays.
    with open_workspace(record, read_only=True) as workspace:
        outlet_id = workspace.register.get(Outlet, "panel").id
    both = _on_record(record, outlets=(outlet_id,), stays=(stay,))
    assert both.subject == "panel"


def test_nothing_is_recorded(record: Path) -> None:
    """What a person breathed goes on paper only: no file and no entry of the record changes."""

    def state() -> tuple[int, dict[str, str]]:
        with open_workspace(record, read_only=True) as workspace:
            size = workspace.register.head().size
        digests = {
            str(one.relative_to(record)): hashlib.sha256(one.read_bytes()).hexdigest()
            for one in sorted(record.rglob("*"))
            if one.is_file() and one.suffix not in {".db-shm", ".db-wal"}
        }
        return size, digests

    before = state()
    _on_record(record, stays=(STAY.replace("hall 1", "panel"),))
    assert state() == before


def test_record_refuses(record: Path) -> None:
    """An outlet without a log, one that is not there, a time without readings."""
    with pytest.raises(ExposureError, match="no log of the outlet 'bare' is on record"):
        _on_record(record, outlets=("bare",))
    with pytest.raises(UnknownRecordError):
        _on_record(record, outlets=("nowhere",))
    with pytest.raises(ExposureError, match="no reading of the outlet"):
        _on_record(record, stays=("A,panel,2026-01-04 08:00,2026-01-04 09:00,rest",))
    with pytest.raises(ExposureError, match="no log was given"):
        _on_record(record)
    with pytest.raises(ExposureError, match="how a file is to be read"):
        _on_record(record, outlets=("panel",), reading=ZONE)


# --- from a log to the air ------------------------------------------------------------------------


def test_flags_of_readings() -> None:
    """Bad and unreadable readings are holes; doubted ones and '>' count and are told."""
    channel = Channel("co", "co", "volume_fraction", "ppm", heading="CO", censored=True)
    taken = taken_from(
        _log(
            [5.0] * 8,
            channel=channel,
            flags=[GOOD, BAD, GOOD, SUSPECT, GOOD, GOOD, GOOD, NOT_EVALUATED],
            censor=[PLAIN, PLAIN, PLAIN, PLAIN, PLAIN, ABOVE, UNREADABLE, PLAIN],
        ),
        "hall 1",
        exposure_limits(),
    )
    co = taken.air.courses["co"]
    assert co.unknown_s == 4 * 30
    assert co.doubtful_s == 2 * 30
    assert co.at_least


def test_rows_of_other_channels_are_no_hole() -> None:
    """A row in which only another channel was read does not make a hole of 30 s."""
    log = _log([5.0, 5.0, 5.0, 5.0, 5.0])
    frame = log.frame
    thinned = frame.with_columns(
        pl.when(pl.int_range(pl.len()) % 2 == 0).then(pl.col("co")).alias("co"),
        pl.Series("co_flag", [GOOD, 9, GOOD, 9, GOOD], dtype=pl.UInt8),
    )
    air = taken_from(_with(log, thinned), "hall 1", exposure_limits()).air
    assert air.courses["co"].unknown_s == 0
    assert air.interval_s["co"] == 60.0


def _with(log: Log, frame: pl.DataFrame) -> Log:
    return evolve(log, parts=(frame,))


def test_mass_is_converted() -> None:
    """5.822 mg/m3 of CO at 20 °C are 5 ppm: 28.010 g/mol over 24.05512 L/mol (computed)."""
    channel = Channel("co", "co", "mass_concentration", "mg/m3", heading="CO")
    air = taken_from(_log([5.822] * 5, channel=channel), "hall 1", exposure_limits()).air
    found = peak(air.courses["co"])
    assert found is not None
    assert found.value == pytest.approx(5.0, rel=1e-3)


def test_the_higher_of_two_sensors_counts() -> None:
    """Two sensors of one gas: at every moment the higher one, and one fills the other's hole."""
    one = _log([5.0, 5.0, 5.0, 5.0])
    other = Channel("co_2", "co", "volume_fraction", "ppm", heading="CO 2")
    frame = one.frame.with_columns(
        pl.Series("co_2", [8.0, 8.0, 1.0, 1.0]),
        pl.Series("co_2_flag", [GOOD, GOOD, GOOD, BAD], dtype=pl.UInt8),
    )
    log = evolve(one, parts=(frame,), channels=(one.channels[0], other))
    co = taken_from(log, "hall 1", exposure_limits()).air.courses["co"]
    assert co.unknown_s == 0
    # Steps of 30 s: max(5, 8), max(5, 4.5), max(5, nothing) (by hand).
    assert dose(co).value == pytest.approx((8.0 + 5.0 + 5.0) * 30 / 3600)


def test_readings_without_a_time() -> None:
    """Readings whose time nobody knows are told with the highest of them."""
    log = _log([5.0] * 5)
    lost = log.frame.with_columns(pl.lit(400.0).alias("co"))
    taken = taken_from(evolve(log, unplaced=lost), "hall 1", exposure_limits())
    assert "5 readings of CO have no time" in taken.air.doubts[0]
    assert "400" in taken.air.doubts[0]


def test_log_without_a_gas() -> None:
    """A log of the dew point alone says nothing of what was breathed."""
    dew = Channel("dew", "water", "atmospheric_dew_point", "°C", heading="Dew")
    with pytest.raises(ExposureError, match="none of them has an exposure limit"):
        taken_from(_log([-40.0] * 5, channel=dew), "hall 1", exposure_limits())


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"stays": (STAY,), "stays_file": Path("x.csv")}, "with --stay and with --stays"),
        ({"stays": (STAY,), "begin": "2026-03-04 08:00"}, "period of the worst case"),
        ({"outlets": ("a", "b")}, "files are of one outlet"),
        ({"stays": (STAY.replace("2026-03-04", "2026-04-04"),)}, "lies ahead"),
        (
            {"stays": (STAY, STAY.replace("hall 1", "hall 2").replace("A.", "B."))},
            "several outlets",
        ),
        ({"stays": (STAY,), "outlets": ("hall 9",)}, "of which there is no log"),
        ({"begin": "2026-03-04 11:00", "end": "2026-03-04 10:00"}, "before it begins"),
        ({"stays_file": Path("none.csv")}, "does not exist"),
    ],
)
def test_refuses(tmp_path: Path, more: dict[str, Any], said: str) -> None:
    """What contradicts itself or cannot be is refused, with what to do."""
    path = _file(tmp_path)
    with pytest.raises(ExposureError, match=said):
        _done(path, **more)


def test_refuses_two_logs_of_one_outlet(tmp_path: Path) -> None:
    """Each outlet has one log, and --log names outlet and file."""
    path = _file(tmp_path)
    with pytest.raises(ExposureError, match="two logs of the outlet"):
        _done(path, outlets=("hall 1",), more=(("hall 1", path),))
    with pytest.raises(ExposureError, match="names no outlet with its file"):
        logs_of(["hall2.csv"])


# --- cells that cannot be believed, oxygen, and sets that are silent ------------------------------


def _columns(folder: Path, heading: str, *columns: list[float], name: str = "more.csv") -> Path:
    path = folder / name
    lines = [f"time,{heading}"]
    lines += [
        f"{START + timedelta(seconds=30 * at):%Y-%m-%d %H:%M:%S}," + ",".join(map(str, row))
        for at, row in enumerate(zip(*columns, strict=True))
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(("level", "said"), [(0.0, "dead cell"), (3.0, "dead, frozen")])
def test_cell_that_never_moved(tmp_path: Path, level: float, said: str) -> None:
    """A cell that stood still over the whole log proves nothing, until it is known to answer."""
    path = _columns(tmp_path, "CO [ppm]", [level] * 721)
    made = _done(path, STAY)
    assert made.state == NOT_PROVEN
    assert said in made.answer
    assert "--trust co. " in made.answer
    sure = _done(path, STAY, reading=evolve(ZONE, trust=("co",)))
    assert sure.state == ESTIMATE
    assert any("--trust" in one.text and "CO" in one.text for one in sure.assumptions)


def test_zero_in_the_stay_alone_is_clean_air(tmp_path: Path) -> None:
    """A cell that moves elsewhere in the log is alive: an honest zero in the stay is no doubt."""
    levels = [1.0 if at % 7 == 0 else 0.0 for at in range(120)] + [0.0] * 100 + [1.0]
    path = _columns(tmp_path, "CO [ppm]", levels)
    made = _done(path, "A. Example,hall 1,2026-03-04 07:05,2026-03-04 07:45,light")
    assert made.state == ESTIMATE


def test_other_gases_at_zero_are_remarked_on(tmp_path: Path) -> None:
    """Clean air holds no hydrogen sulphide: 0 throughout is said and doubts nothing."""
    path = _columns(tmp_path, "CO [ppm],H2S [ppm]", _levels(6.0, 2.0), [0.0] * 721)
    made = _done(path, STAY)
    assert made.state == ESTIMATE
    assert any("H2S" in one.text and "dead cell" in one.text for one in made.assumptions)
    frozen = _columns(tmp_path, "CO [ppm],H2S [ppm]", _levels(6.0, 2.0), [2.0] * 721)
    assert _done(frozen, STAY).state == NOT_PROVEN


def test_two_cells_of_which_one_moves() -> None:
    """A dead cell beside one that moves takes nothing away: the higher reading counts."""
    log = _log(_levels(1.0, 2.0))
    frame = log.frame.with_columns(
        pl.lit(0.0).alias("co_2"), pl.lit(GOOD, dtype=pl.UInt8).alias("co_2_flag")
    )
    other = Channel("co_2", "co", "volume_fraction", "ppm", heading="CO 2")
    both = evolve(log, parts=(frame,), channels=(log.channels[0], other))
    assert taken_from(both, "hall 1", exposure_limits()).air.doubts == ()


def test_trust_on_record(record: Path) -> None:
    """What is known of a cell may be said of readings on record, too; a wrong name is refused."""
    stay = STAY.replace("hall 1", "panel")
    made = _on_record(record, stays=(stay,), reading=Reading(trust=("co",)))
    assert made.state == FAILS
    with pytest.raises(ExposureError, match="is no analyte"):
        _on_record(record, stays=(stay,), reading=Reading(trust=("kohle",)))


def test_doubts_of_the_log_are_sentences() -> None:
    """Reasons that come from the log end with a full stop; what --trust settles is left out."""
    log = evolve(
        _log(_levels(1.0, 2.0)),
        doubts=("the clock was reset",),
        channel_doubts=(("co", "it looks odd. If it is right, say so with --trust co"),),
    )
    doubts = taken_from(log, "hall 1", exposure_limits()).air.doubts
    assert doubts == (
        "the clock was reset.",
        "CO: it looks odd. If it is right, say so with --trust co.",
    )
    assert taken_from(log, "hall 1", exposure_limits(), ("co",)).air.doubts == doubts[:1]


def test_lack_of_oxygen_is_told(tmp_path: Path) -> None:
    """12 % in the log: never an estimate, the danger and what to do come first, in every state."""
    low = [12.0 + 0.1 * (at % 3) for at in range(721)]
    made = _done(_columns(tmp_path, "CO [ppm],O2 [%]", _levels(6.0, 2.0), low), STAY)
    assert made.state == NOT_PROVEN
    assert made.answer.startswith(
        "Nothing is proven: A. Example: O2: oxygen was logged as low as 12"
    )
    assert "out of use" in made.next_steps[1]
    assert made.data["people"][0]["oxygen_percent"]["lowest"] == pytest.approx(12.0)
    assert any(one.name.startswith("oxygen logged") for one in made.inputs)
    bad = _done(_columns(tmp_path, "CO [ppm],O2 [%]", _levels(6.0, 300.0), low), STAY)
    assert bad.state == FAILS
    assert "suffocation" in bad.reasons[0]


def test_ordinary_oxygen_changes_nothing(tmp_path: Path) -> None:
    """20.8 to 21.0 % beside clean readings is an estimate; without oxygen that is said."""
    usual = [20.8 + 0.1 * (at % 3) for at in range(721)]
    made = _done(_columns(tmp_path, "CO [ppm],O2 [%]", _levels(6.0, 2.0), usual), STAY)
    assert made.state == ESTIMATE
    plain = _done(_file(tmp_path), STAY)
    assert any(" O2" in one for one in plain.left_out)
    assert not any("Not logged" in one and " O2" in one for one in made.left_out)


def test_set_that_is_silent(tmp_path: Path) -> None:
    """Oil against EH40, which holds no limit for it as shipped: high is not proven, low is said."""
    high = [50.0 + at % 5 for at in range(721)]
    path = _columns(tmp_path, "CO [ppm],oil [mg/m3]", _levels(6.0, 2.0), high)
    made = _done(path, STAY, limits=("uk-eh40-2020",))
    assert made.state == NOT_PROVEN
    assert "the sets that were chosen hold no limit over a time for it" in made.answer
    low = [0.05 + 0.01 * (at % 3) for at in range(721)]
    path = _columns(tmp_path, "CO [ppm],oil [mg/m3]", _levels(6.0, 2.0), low, name="low.csv")
    said = _done(path, STAY, limits=("uk-eh40-2020",))
    assert said.state == ESTIMATE
    assert "OIL: logged, but the sets held against" in said.reasons[0]


def test_marks_for_the_blood_stand_in_the_headline(tmp_path: Path) -> None:
    """80 ppm for half an hour: no average is exceeded, the blood is, and so is breathing air."""
    made = _done(_columns(tmp_path, "CO [ppm]", _levels(6.0, 45.0)), STAY)
    assert made.state == ESTIMATE, (made.answer, made.reasons)
    blood = made.data["people"][0]["cohb"]["peak_percent"]
    assert blood["high"] > 2.5
    assert ("above the 2.5 % of WHO" in made.answer) is (blood["low"] > 2.5 or blood["high"] > 2.5)
    assert "No limit held against was exceeded" not in made.answer
    assert any("5 ppm that breathing air may hold" in text for text in made.reasons)


def test_a_quiet_stay_names_no_mark(tmp_path: Path) -> None:
    """2 ppm leave the blood where it is."""
    levels = [2.0 + 0.1 * (at % 3) for at in range(721)]
    made = _done(_columns(tmp_path, "CO [ppm]", levels), STAY)
    assert made.state == ESTIMATE
    assert "WHO" not in made.answer
    assert not any("breathing air may hold" in text for text in made.reasons)


def test_who_breathed_most_is_not_hidden_by_who_passed_more_limits(tmp_path: Path) -> None:
    """Ann passes limits of carbon dioxide that several sets share; Bo has four times her blood."""
    count = 721
    noise = [0.1 * (at % 3) for at in range(count)]
    ann = _columns(
        tmp_path,
        "CO [ppm],CO2 [ppm]",
        [36.0 + one for one in noise],
        [16_000.0 + 10 * one for one in noise],
    )
    bo = tmp_path / "bo"
    bo.mkdir()
    other = _columns(bo, "CO [ppm]", [260.0 + one for one in noise])
    made = _done(
        ann,
        "Ann,hall 1,2026-03-04 08:00,2026-03-04 10:00,rest",
        "Bo,hall 2,2026-03-04 08:00,2026-03-04 09:00,very_heavy",
        outlets=("hall 1",),
        more=(("hall 2", other),),
    )
    assert made.state == FAILS
    named = {one.name: one.value for one in made.results}
    assert named["hardest hit by carbon monoxide"] == "Bo"
    assert float(named["carboxyhaemoglobin, highest, Bo"]) > 15  # type: ignore[arg-type]  # a number
    assert float(named["CO, highest reading, Bo"]) > 250  # type: ignore[arg-type]  # a number
    assert "Carboxyhaemoglobin of Bo rises to" in made.answer
    assert "above the 2.5 % of WHO" in made.answer
