"""What is kept of sites, supplies, outlets, instruments, persons and lots."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import (
    InputError,
    LimitSetError,
    LungwortError,
    RegisterError,
    UnknownRecordError,
)
from lungwort.jobs.catalogue import (
    assess,
    channels,
    chosen,
    instrument,
    lot,
    outlet,
    person,
    quantities,
    site,
    supply,
    treatment,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.judging import limits_of
from lungwort.jobs.opening import Where
from lungwort.plan.snapshot import take
from lungwort.register.model import (
    KINDS,
    Calibration,
    CalibrationRow,
    CartridgeChange,
    Event,
    Instrument,
    Lot,
    LotUse,
    Outlet,
    Person,
    RiskAssessment,
    RunningHours,
    Site,
    Stage,
    Supply,
    WearerEquipment,
)
from lungwort.register.workspace import Workspace, create_workspace, open_workspace

NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
OWN_SET = (
    'format = 1\nid = "mine"\ntitle = "Ours"\nextends = ["en12021-2014-airline"]\n'
    'use = "airline"\ndocument = "house rule"\nedition = "2026"\n'
)


def at(workspace: Workspace, *, by: str | None = None, hours: float = 0) -> Session:
    """Say where and when: some hours after noon on 4 March 2026 UTC."""
    return Session(NOW + timedelta(hours=hours), Where(workspace.folder), by)


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of a furnished workspace (invented), to be copied."""
    folder = tmp_path_factory.mktemp("template") / "workspace"
    with create_workspace(
        folder, name="Merrowgate Slipway (invented)", person="Wenna Harkle", now=NOW
    ) as workspace:
        furnish(workspace)
    return folder


@pytest.fixture
def yard(template: Path, tmp_path: Path) -> Iterator[Workspace]:
    """Give a workspace with a site, a supply, an outlet, an instrument and a lot (invented)."""
    with open_workspace(Path(shutil.copytree(template, tmp_path / "yard"))) as workspace:
        yield workspace


def furnish(workspace: Workspace) -> None:
    """Record one of each (invented)."""
    session = at(workspace)
    site.add(
        session,
        "slipway",
        site.SiteFacts(zone="Europe/London", limit_set="en12021-2014-airline", plan="uk-guidance"),
    )
    supply.add(
        session,
        "hall",
        supply.SupplyFacts(
            kind="airline-compressor",
            pressure_bar_g="7 bar(g)",
            lowest_temperature_c="5 °C",
            oil_lubricated="yes",
        ),
    )
    outlet.add(session, "hall-1", outlet.OutletFacts(place="north wall"))
    instrument.add(
        session,
        "analyser-1",
        instrument.InstrumentFacts(channels=("co=0-100 ppm ± 2 ppm", "o2=0-25 % ± 0.3 %")),
    )
    lot.add(
        session,
        "co-tubes",
        lot.LotFacts(kind="tube", analyte="co", expires="2027-12-31", stock="10"),
    )


# What is typed.


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "NAME is empty"),
        ("hall 1", r"has a blank in it.*Write it like 'hall-1'"),
        ("hall/1", r"has '/' in it"),
        ("-hall", "begin and end with a letter or a digit"),
        ("hall.", "begin and end with a letter or a digit"),
        ("x" * 65, "65 letters"),
        ("supply-abcdefghijklmnop", "looks like the id"),
        ("hall\x00", "has '.x00' in it"),
    ],
)
def test_short_names_are_letters_digits_and_three_signs(text: str, message: str) -> None:
    """A name is typed in commands: no blanks, no slashes, nothing that looks like an option."""
    with pytest.raises(InputError, match=message):
        typed.short_name(text, "NAME")


@given(st.text(max_size=70))
@settings(deadline=None, max_examples=300)
def test_a_short_name_that_is_taken_can_be_typed(text: str) -> None:
    """Whatever is taken has no blank, does not look like an option, and is taken again as it is."""
    try:
        name = typed.short_name(text, "NAME")
    except InputError:
        return
    assert name
    assert not name.startswith("-")
    assert all(char.isalnum() or char in "-._" for char in name)
    assert typed.short_name(name, "NAME") == name


def test_person_names_are_as_written() -> None:
    """Letters of any script, blanks, hyphens and apostrophes; no more."""
    for name in ("Wenna Harkle", "Seán O’Brien-Núñez", "Ægir Þórsson (night shift)", "李娜"):
        assert typed.person_name(f"  {name} ", "NAME") == name
    for bad, message in (
        ("", "no letter"),
        ("1234", "no letter"),
        ("Wenna=Harkle", "has '=' in it"),
    ):
        with pytest.raises(InputError, match=message):
            typed.person_name(bad, "NAME")


@pytest.mark.parametrize(
    ("name", "letter"),
    [
        ("W\u0435nna Harkle", r"Cyrillic letter '\u0435' \(U\+0435\) in the word"),
        ("Wenna \u041darkle", r"Cyrillic letter '\u041d' \(U\+041D\) in the word"),
        ("\u0392rock", r"Greek letter '\u0392' \(U\+0392\) in the word"),
        ("slip-\u0430", r"Cyrillic letter '\u0430' \(U\+0430\) in the word"),
        ("И\u0061анова", r"Latin letter 'a' \(U\+0061\) in the word"),
    ],
)
def test_a_name_that_only_looks_like_another_is_refused(name: str, letter: str) -> None:
    """Letters that look alike in two scripts (Unicode Technical Standard 39, section 4)."""
    with pytest.raises(InputError, match=letter):
        typed.person_name(name, "NAME")
    if " " not in name:
        with pytest.raises(InputError, match=letter):
            typed.short_name(name, "NAME")


def test_a_name_in_one_script_is_taken() -> None:
    """Any script, and signs and digits beside it; another word may be of another."""
    for name in ("Мария Иванова", "Νίκος", "Seán O’Brien", "José (Иван) 2", "李娜"):
        assert typed.person_name(name, "NAME") == name
    assert typed.short_name("зал-1", "NAME") == "зал-1"


@pytest.mark.parametrize(
    ("text", "expected"),
    [("48,5", "48.5"), ("0.50", "0.50"), ("−3", "-3"), ("12345", "12345"), (".5", "0.5")],
)
def test_numbers_keep_their_decimals(text: str, expected: str) -> None:
    """A comma is a decimal sign, and what was written stays to the last decimal."""
    found = quantities.decimal_number(text, "--row", text)
    assert (found, str(found)) == (Decimal(expected), str(Decimal(expected)))


@pytest.mark.parametrize("text", ["1,234", "1.234", "12,000", "999.500"])
def test_a_sign_that_can_part_thousands_is_refused(text: str) -> None:
    """1,234 can be 1234 or 1.234: the message gives both ways to write it."""
    digits = re.sub(r"[.,]", "", text)
    with pytest.raises(InputError, match=f"can be read as {digits} or as"):
        quantities.decimal_number(text, "--row", text, "ppm")


def test_percent_with_three_decimals_is_no_thousand() -> None:
    """Oxygen of 20.946 % is read, as no percentage has thousands; with a comma it is refused."""
    assert quantities.decimal_number("20.946", "--row", "20.946 %", "%") == Decimal("20.946")
    with pytest.raises(InputError, match=r"20946 or as 20\.946"):
        quantities.decimal_number("20,946", "--row", "20,946 %", "%")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("4/3/2026", "one way only"),
        ("2026-3-4", "Write year, month, day, like 2026-03-04"),
        ("2026-02-30", "no day of the calendar"),
        ("0026-03-04", "cannot be meant"),
        ("20260304", "one way only"),
    ],
)
def test_days_are_iso_8601_only(text: str, message: str) -> None:
    """ISO 8601 puts the year first (ISO 8601-1:2019, 5.2.2.1: 1985-04-12); all else is refused."""
    with pytest.raises(InputError, match=message):
        typed.day(text, "--expires")
    assert typed.day("1985-04-12", "--expires") == date(1985, 4, 12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("Europe/Londn", "Did you mean 'Europe/London'"),
        ("London", "Did you mean 'Europe/London'"),
        ("GMT+99", "is no time zone"),
        ("", "is no time zone"),
    ],
)
def test_an_unknown_zone_is_refused_with_near_ones(text: str, message: str) -> None:
    """Names of the tz database only."""
    with pytest.raises(InputError, match=message):
        chosen.zone(text, "--zone")
    assert chosen.zone("europe/london", "--zone") == "Europe/London"


def test_limit_set_and_plan_are_held_against_those_that_are_there(tmp_path: Path) -> None:
    """An unknown id is refused with near ones; a file of one's own is kept with its full path."""
    with pytest.raises(InputError, match=r"--limits: .*en12021-2014-airline"):
        chosen.limit_set("en12021-2014-airlin", "--limits")
    with pytest.raises(InputError, match=r"--plan: .*quarterly"):
        chosen.plan_id("quartely", "--plan")
    with pytest.raises(InputError, match="does not exist"):
        chosen.limit_set(str(tmp_path / "mine.toml"), "--limits")
    assert chosen.limit_set("none", "--limits") == ""
    assert chosen.plan_id("quarterly", "--plan") == "quarterly"
    mine = tmp_path / "mine.toml"
    mine.write_text(OWN_SET, encoding="utf-8")
    assert chosen.limit_set(str(mine), "--limits") == str(mine.resolve())
    assert "file of your own" in " ".join(chosen.limit_set_remarks(str(mine)))
    assert "not for breathing air" in " ".join(chosen.limit_set_remarks("osha-pel"))


def test_a_limit_set_in_the_workspace_goes_where_the_workspace_goes(
    yard: Workspace, tmp_path: Path
) -> None:
    """It is recorded relative to the workspace; an absolute path of old still works."""
    mine = yard.folder / "limits" / "yard.toml"
    mine.parent.mkdir()
    mine.write_text(OWN_SET, encoding="utf-8")
    elsewhere = tmp_path / "elsewhere.toml"
    elsewhere.write_text(OWN_SET.replace('"mine"', '"other"'), encoding="utf-8")

    made = site.change(at(yard), "slipway", site.SiteFacts(limit_set=str(mine)), "Ours.")
    supply.change(at(yard), "hall", supply.SupplyFacts(limit_set=str(elsewhere)), "Another.")
    supply.add(
        at(yard),
        "pier",
        supply.SupplyFacts(kind="airline-compressor", limit_set="limits/yard.toml"),
    )

    assert yard.register.get(Site, "slipway").limit_set == "limits/yard.toml"
    assert "file of your own" in " ".join(made.remarks)
    moved = Path(shutil.copytree(yard.folder, tmp_path / "moved"))
    shutil.rmtree(yard.folder / "limits")
    with open_workspace(moved) as workspace:
        snapshot = take(workspace.register, NOW)
        hall, pier = (workspace.register.get(Supply, one) for one in ("hall", "pier"))
        assert pier.limit_set == "limits/yard.toml"
        assert limits_of(snapshot, pier).id == "mine"
        assert limits_of(snapshot, hall).id == "other"
        assert snapshot.limit_set_name(pier.id) == "limits/yard.toml"
    # The same entries, in a folder that lacks the file: nothing is judged by the other's.
    with pytest.raises(LimitSetError, match=r"supply pier cannot be used: .*does not exist"):
        limits_of(take(yard.register, NOW), pier)


@pytest.mark.parametrize("content", [None, "format = 1\n"])
def test_a_limit_set_in_the_workspace_must_be_there_and_sound(
    yard: Workspace, content: str | None
) -> None:
    """Neither a name without a file nor one with mistakes is put in force."""
    if content is not None:
        (yard.folder / "limits").mkdir()
        (yard.folder / "limits" / "yard.toml").write_text(content, encoding="utf-8")
    with pytest.raises(
        InputError, match=r"(?s)--limits: .*yard\.toml.*(does not exist|is missing)"
    ):
        site.change(at(yard), "slipway", site.SiteFacts(limit_set="limits/yard.toml"), "Ours.")


def test_pressure_temperature_and_flow_carry_units() -> None:
    """100 psi is 6.894757 bar (NIST SP 811, B.8: 1 psi = 6.894 757 E+03 Pa)."""
    assert quantities.pressure_bar_g("7 bar(g)", "--pressure") == (Decimal(7), "")
    psi, _ = quantities.pressure_bar_g("100 psi(g)", "--pressure")
    assert abs(psi - Decimal("6.894757")) < Decimal("0.000001")
    assert "taken as gauge" in quantities.pressure_bar_g("7 bar", "--pressure")[1]
    assert quantities.temperature_c("-20 °C", "--lowest-temperature") == Decimal(-20)
    assert quantities.flow_l_min("10.2 m3/h", "--minimum-flow") == Decimal(170)  # 170 L x 60 / 1000
    for call, text, message in (
        (quantities.pressure_bar_g, "7", "has no unit"),
        (quantities.pressure_bar_g, "1,000 bar(g)", "1000 or as 1.0"),
        (quantities.flow_l_min, "170", "has no unit"),
        (quantities.flow_l_min, "0 L/min", "above 0 L/min"),
        (quantities.temperature_c, "300 °C", "300"),
    ):
        with pytest.raises(InputError, match=message):
            call(text, "--option")


def test_every_kind_of_supply_stage_lot_and_event_can_be_typed() -> None:
    """With hyphens as in the help; a slip is answered with what is near."""
    from lungwort.register import model

    for kinds in (model.SUPPLY_KINDS, model.STAGE_KINDS, model.LOT_KINDS, model.EVENT_KINDS):
        for one in kinds:
            assert typed.choice(typed.dashed(one), kinds, "--kind") == one
    with pytest.raises(InputError, match="Did you mean 'ring-main'"):
        typed.choice("rign-main", model.SUPPLY_KINDS, "--kind")


# Channels and rows.


def test_a_channel_says_range_and_uncertainty() -> None:
    """Range and uncertainty keep the decimals that were written; both may be left out."""
    one, two, three, four = channels.channels(
        [
            "carbon monoxide=0–100 ml/m³ ± 2 ppm",
            "o2=0 to 25,0 % +/- 0,30 %",
            "water=-80-20 °C pressure dew point",
            "co2=ppm",
        ],
        "--channel",
    )
    assert (one.analyte, one.unit, one.low, one.high) == ("co", "ppm", Decimal(0), Decimal(100))
    assert str(two.high) == "25.0"
    assert str(two.uncertainty) == "0.30"
    assert (three.unit, three.low, three.high) == (
        "°C pressure dew point",
        Decimal(-80),
        Decimal(20),
    )
    assert (four.low, four.uncertainty) == (None, None)
    assert channels.channel_words(three) == "water: −80 to 20 °C pressure dew point"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("co", "not of the form name=value"),
        ("cobalt=0-1 ppm", "analyte 'cobalt' is not known"),
        ("carbon monoxid=0-1 ppm", "Did you mean 'carbon monoxide'"),
        ("co=0-100", "co has no unit"),
        ("co=0-100 pmm", r"unit 'pmm' is not known. Did you mean 'ppm'"),
        ("co=0-100 bar(g)", "carbon monoxide is not measured in bar"),
        ("co=100 ppm", "a range has two ends"),
        ("co=100-0 ppm", "does not rise"),
        ("co=0-1,000 ppm", "1000 or as 1.0"),
        ("co=0-100 ppm ± 2", "the number after ± has no unit"),
        ("co=0-100 ppm ± 2 %", "'%' after ± is not ppm"),
        ("co=0-100 ppm ± 0 ppm", "uncertainty is above 0"),
        ("co=0-100 ppm ± 2 ppm ± 3 ppm", "more than one ±"),
        ("water=-80-20 °C", "at which pressure"),
        ("co=0-1 °C pressure dew point", "a dew point is a temperature of water"),
        ("pressure=0-10 bar", "gauge or absolute"),
        ("odour=0-1 ppm", "told in words"),
    ],
)
def test_a_channel_that_is_not_clear_is_refused(text: str, message: str) -> None:
    """Analyte, unit and numbers are held against what they can be."""
    with pytest.raises(InputError, match=message):
        channels.channels([text], "--channel")


def test_a_channel_twice_is_refused() -> None:
    """One analyte may be measured in two units, not twice in one."""
    assert len(channels.channels(["co=ppm", "co=mg/m3"], "--channel")) == 2
    with pytest.raises(InputError, match="there twice"):
        channels.channels(["co=0-100 ppm", "carbon monoxide=0-500 ppm"], "--channel")


KNOWN = channels.channels(["co=0-100 ppm", "o2=0-25 %"], "--channel")


def test_a_row_says_reference_found_left_and_tolerance() -> None:
    """A tolerance as a share of the reference is worked out: 10 % of 50 ppm is 5 ppm."""
    row, bump, plain = channels.rows(
        ["co=50/48.5/50,1 ppm ± 2 ppm", "co=50/46 ppm ± 10 % of reference", "o2=20.9/20.7 %"],
        "--row",
        KNOWN,
    )
    assert row == CalibrationRow(
        analyte="co",
        unit="ppm",
        reference=Decimal(50),
        as_found=Decimal("48.5"),
        as_left=Decimal("50.1"),
        tolerance=Decimal(2),
    )
    assert bump.tolerance == Decimal(5)
    assert plain.tolerance is None
    assert channels.row_words(row) == (
        "co at 50 ppm (± 2 ppm): as found 48.5 ppm, as left 50.1 ppm"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("co=50 ppm", "write what was offered, what was shown before"),
        ("co=50/48.5", "co has no unit"),
        ("co2=50/48.5 ppm", "no channel for co2. On record: co, o2"),
        ("co=50/48.5 mg/m3", "shows co in ppm, not in mg/m3"),
        ("co=150/148 ppm", r"150 ppm lies outside the range of the channel, 0 to 100 ppm"),
        ("co=50/48.5 ppm ± -2 ppm", "below zero cannot be"),
        ("co=50/48.5 ppm ± x", "is no number"),
        ("co=1,050/48.5 ppm", "1050 or as 1.05"),
    ],
)
def test_a_row_that_is_not_clear_is_refused(text: str, message: str) -> None:
    """Each row belongs to a channel of the instrument, in its unit and its range."""
    with pytest.raises(InputError, match=message):
        channels.rows([text], "--row", KNOWN)


@given(
    reference=st.decimals(0, 100, places=1),
    shows=st.decimals(0, 200, places=1),
    tolerance=st.decimals(0, 50, places=1),
    adjusted=st.booleans(),
)
@settings(deadline=None, max_examples=200)
def test_a_row_fails_just_where_it_is_off_by_more_than_its_tolerance(
    *, reference: Decimal, shows: Decimal, tolerance: Decimal, adjusted: bool
) -> None:
    """What counts is what it showed last: as left where it was adjusted, else as found."""
    row = CalibrationRow(
        analyte="co",
        unit="ppm",
        reference=reference,
        as_found=reference if not adjusted else reference + 2 * tolerance + 1,
        as_left=shows if adjusted else None,
        tolerance=tolerance,
    )
    last = shows if adjusted else reference
    outside = last > reference + tolerance or last < reference - tolerance
    assert bool(channels.failing(row)) == outside


WORDS = st.lists(
    st.sampled_from(
        [
            *"=-/±.,% ",
            "co",
            "o2",
            "water",
            "50",
            "1,234",
            "-80",
            "9" * 5000,
            "ppm",
            "mg/m3",
            "°C",
            "pressure dew point",
            "% of reference",
            "+-",
            "bar",
            "bar(g)",
            "none",
            "L/min",
            "h",
        ]
    ),
    max_size=12,
).map("".join)


@given(text=st.one_of(st.text(max_size=40), WORDS))
@settings(deadline=None, max_examples=300)
def test_whatever_is_typed_is_read_or_refused_with_a_sentence(text: str) -> None:
    """No text makes anything but a value or a message that ends with a full stop."""
    for read in (
        lambda: channels.channels([text], "--channel"),
        lambda: channels.rows([text], "--row", KNOWN),
        lambda: quantities.pressure_bar_g(text, "--pressure"),
        lambda: quantities.temperature_c(text, "--lowest-temperature"),
        lambda: quantities.flow_l_min(text, "--minimum-flow"),
        lambda: quantities.hours(text, "--hours"),
        lambda: typed.whole(text, "--count", 1, 1000),
        lambda: typed.day(text, "--expires"),
        lambda: typed.words(text, "--note"),
        lambda: typed.person_name(text, "NAME"),
        lambda: typed.analyte(text, "--analyte"),
        lambda: typed.choice(text, ("ring_main",), "--kind"),
    ):
        try:
            read()
        except InputError as error:
            assert str(error).rstrip().endswith((".", "?")), str(error)  # noqa: PT017 - any of them


# Adding, changing, voiding: on both databases.


def test_a_catalogue_is_kept_on_both_databases(workspace: Workspace) -> None:
    """One of each is added, shown, changed, retired; every version stays."""
    furnish(workspace)
    register = workspace.register
    assert register.get(Supply, "hall").pressure_bar_g == Decimal(7)
    assert register.get(Outlet, "HALL-1").place == "north wall"

    done = supply.change(
        at(workspace, hours=1),
        "hall",
        supply.SupplyFacts(pressure_bar_g="8 bar(g)", serves="blasting hall"),
        "new regulator",
    )
    assert "Highest supply pressure: 7 bar(g) → 8 bar(g)" in done.said
    assert "Serves: – → blasting hall" in done.said
    assert any("lungwort supply event hall" in one for one in done.remarks)
    kept = register.history(Supply, done.record.id)
    assert [one.pressure_bar_g for one in kept] == [Decimal(7), Decimal(8)]
    assert kept[1].reason == "new regulator"

    view = supply.show(Where(workspace.folder), "hall", now=NOW, history=True)
    (history,) = [one for one in view.sections if one.title == "History"]
    assert [row[0] for row in history.rows] == ["1", "2"]
    assert history.rows[1][2:] == (
        "Wenna Harkle",
        "Serves: – → blasting hall; Highest supply pressure: 7 bar(g) → 8 bar(g)",
        "new regulator",
    )
    assert history.rows[1][1] == "4 Mar 2026 13:00:00"
    assert [one["recorded_at"] for one in view.plain["history"]] == [
        "2026-03-04T12:00:00.000000Z",
        "2026-03-04T13:00:00.000000Z",
    ]
    json.dumps(view.plain)


def test_names_are_unique_whatever_the_case(yard: Workspace) -> None:
    """HALL is hall; a voided name is free again."""
    with pytest.raises(RegisterError, match="hall"):
        supply.add(at(yard), "HALL", supply.SupplyFacts(kind="ring-main"))
    outlet.add(at(yard), "hall-2", outlet.OutletFacts())
    outlet.void(at(yard), "hall-2", "typed twice")
    assert outlet.add(at(yard), "hall-2", outlet.OutletFacts()).record.version == 1


def test_a_change_needs_contents_a_reason_and_a_difference(yard: Workspace) -> None:
    """Nothing is replaced by the same, by nothing, or for no reason; nothing is then recorded."""
    size = yard.register.head().size
    for facts, reason, message in (
        (site.SiteFacts(), "why", "Nothing is given that would change.*--zone"),
        (site.SiteFacts(title="Yard"), None, "--reason is missing"),
        (site.SiteFacts(title="Yard"), "  ", "--reason is missing"),
        (site.SiteFacts(zone="Europe/London"), "why", "on record like that already"),
    ):
        with pytest.raises(InputError, match=message):
            site.change(at(yard), "slipway", facts, reason)
    assert yard.register.head().size == size


def test_a_name_that_is_not_there_is_answered_with_near_ones(yard: Workspace) -> None:
    """By every verb."""
    for call in (
        lambda: site.change(at(yard), "slipwy", site.SiteFacts(title="x"), "y"),
        lambda: site.show(Where(yard.folder), "slipwy"),
        lambda: site.void(at(yard), "slipwy", "x"),
    ):
        with pytest.raises(UnknownRecordError, match="slipway"):
            call()


def test_retiring_hides_and_in_use_brings_back(yard: Workspace) -> None:
    """A retired outlet is not listed, and it is told that something is not shown."""
    outlet.change(at(yard), "hall-1", outlet.OutletFacts(in_use=False), "pipe cut off")
    found = outlet.listed(Where(yard.folder))
    assert found.table.rows == ()
    assert found.remarks == ("1 no longer in use is not shown: add --all.",)
    assert found.plain == {"outlets": [], "not_shown": 1}
    (row,) = outlet.listed(Where(yard.folder), retired_too=True).table.rows
    assert row[0] == "hall-1 (retired)"
    done = outlet.change(at(yard), "hall-1", outlet.OutletFacts(in_use=True), "pipe mended")
    assert "in use: no → yes" in done.said


def test_a_site_with_supplies_in_use_is_not_retired(yard: Workspace) -> None:
    """Else its supplies would fall out of all lists of what is due."""
    with pytest.raises(RegisterError, match="still has supplies in use: hall"):
        site.change(at(yard), "slipway", site.SiteFacts(in_use=False), "given up")
    supply.change(at(yard), "hall", supply.SupplyFacts(in_use=False), "sold")
    site.change(at(yard), "slipway", site.SiteFacts(in_use=False), "given up")
    with pytest.raises(InputError, match="Site slipway is retired"):
        supply.add(at(yard), "dock", supply.SupplyFacts(kind="ring-main", site="slipway"))


def test_the_last_person_stays(yard: Workspace) -> None:
    """Without anybody in use nothing could be recorded any more."""
    with pytest.raises(RegisterError, match=r"only person in use.*person add"):
        person.change(at(yard), "Wenna Harkle", person.PersonFacts(in_use=False), "left")
    with pytest.raises(RegisterError, match="only person in use"):
        person.void(at(yard), "Wenna Harkle", "mistake")


def test_competence_that_is_missing_or_over_is_said(yard: Workspace) -> None:
    """A person without competence may be recorded; the day it ends still counts."""
    add = person.add(at(yard), "Idris Pellow", person.PersonFacts())
    assert "proves nothing" in " ".join(add.remarks)
    for day, told in (("2026-03-03", True), ("2026-03-04", False)):
        done = person.change(
            at(yard, by="Wenna Harkle"),
            "Idris Pellow",
            person.PersonFacts(competent_until=day),
            "course",
        )
        assert any("ended on" in one for one in done.remarks) is told
    gone = person.change(
        at(yard, by="Wenna Harkle"),
        "Idris Pellow",
        person.PersonFacts(competent_until="none"),
        "withdrawn",
    )
    assert isinstance(gone.record, Person)
    assert gone.record.competent_until is None
    assert "4 Mar 2026 → no competence on record" in gone.said


# Void.


def test_what_is_referred_to_is_not_voided(yard: Workspace) -> None:
    """A supply with an outlet stays; with the outlet void, it goes, and its versions stay."""
    with pytest.raises(
        RegisterError, match=r"Supply hall cannot be voided: outlet hall-1.*--retire"
    ):
        supply.void(at(yard), "hall", "mistake")
    outlet.void(at(yard), "hall-1", "mistake")
    done = supply.void(at(yard), "hall", "mistake")
    assert "stays in the record" in done.said
    assert yard.register.find(Supply, "hall") is None
    assert [one.voided for one in yard.register.history(Supply, done.record.id)] == [False, True]

    view = supply.show(Where(yard.folder), done.record.id, now=NOW, history=True)
    assert ("Voided", "yes: recorded by mistake; it counts no more") in view.facts
    assert view.sections[-1].rows[-1][3:] == ("voided: recorded by mistake", "mistake")
    site.void(at(yard), "slipway", "mistake")
    assert dict(supply.show(Where(yard.folder), done.record.id, now=NOW).facts)["Site"] == "slipway"
    (gone,) = [one for one in yard.register.rows(Outlet) if one.voided]
    assert dict(outlet.show(Where(yard.folder), gone.id).facts)["Supply"] == "hall"


def test_a_person_who_did_something_is_not_voided(yard: Workspace) -> None:
    """An event names who said so."""
    person.add(at(yard), "Idris Pellow", person.PersonFacts())
    treatment.event(at(yard, by="Idris Pellow"), "hall", kind="doubt", what="smell of oil")
    with pytest.raises(RegisterError, match="Idris Pellow cannot be voided: event"):
        person.void(at(yard, by="Wenna Harkle"), "Idris Pellow", "mistake")


@pytest.mark.parametrize("noun", ["site", "supply", "outlet", "instrument", "person", "lot"])
def test_void_needs_a_reason(yard: Workspace, noun: str) -> None:
    """For every kind of thing."""
    module: Any = {
        m.__name__.rpartition(".")[2]: m for m in (site, supply, outlet, instrument, person, lot)
    }[noun]
    with pytest.raises(InputError, match="--reason is missing"):
        module.void(at(yard), "hall", None)


def test_what_was_recorded_of_a_thing_is_voided_by_its_id(yard: Workspace) -> None:
    """A reading, an event, a cartridge change, a calibration, a use, a stage, equipment."""
    treatment.stage(at(yard), "hall", "fine", treatment.StageFacts(kind="filter"), None)
    done = [
        (supply, treatment.hours(at(yard), "hall", "100"), RunningHours),
        (supply, treatment.event(at(yard), "hall", kind="moved", what="to the dock"), Event),
        (supply, treatment.cartridge(at(yard), "hall", "fine"), CartridgeChange),
        (
            instrument,
            instrument.bump(at(yard), "analyser-1", instrument.CalibrationFacts(passed=True)),
            Calibration,
        ),
        (lot, lot.use(at(yard), "co-tubes", "2", why="broken"), LotUse),
        (
            outlet,
            outlet.equipment(at(yard), "hall-1", "hood", outlet.EquipmentFacts(), None),
            WearerEquipment,
        ),
    ]
    for module, made, kind in done:
        assert len(yard.register.all(kind)) == 1
        module.void(at(yard), made.record.id, "mistake")
        assert yard.register.all(kind) == []
    done_stage = supply.void(at(yard), "hall/fine", "mistake")
    assert done_stage.said.startswith(f"Stage fine ({done_stage.record.id}) is void.")
    assert yard.register.all(Stage) == []
    with pytest.raises(UnknownRecordError, match="is an outlet, and a supply is needed"):
        supply.void(at(yard), yard.register.get(Outlet, "hall-1").id, "mistake")


# Supplies and their treatment.


def test_a_supply_says_what_is_missing_for_a_verdict(yard: Workspace) -> None:
    """Pressure, temperature, lubrication, limit set: each missing one is named with its option."""
    site.add(at(yard), "dock", site.SiteFacts(zone="Europe/London"))
    done = supply.add(at(yard), "crane", supply.SupplyFacts(kind="ring-main", site="dock"))
    said = " ".join(done.remarks)
    for option in ("--limits", "--pressure", "--lowest-temperature", "--oil-lubricated"):
        assert option in said
    bank = supply.add(
        at(yard),
        "bank",
        supply.SupplyFacts(
            kind="cylinder_bank",
            site="slipway",
            pressure_bar_g="10 bar(g)",
            lowest_temperature_c="-5 °C",
            limit_set="en12021-2014-charging",
        ),
    )
    assert not any("--" in one for one in bank.remarks)


def test_cylinders_do_not_take_the_limits_of_hoses_in_silence(yard: Workspace) -> None:
    """The site's limit set is for air through a hose: that it holds for cylinders too is told."""
    facts = supply.SupplyFacts(
        kind="charging-compressor", site="slipway", pressure_bar_g="300 bar(g)"
    )
    said = " ".join(supply.add(at(yard), "filling", facts).remarks)

    assert "for air through a hose" in said
    assert 'lungwort supply change "filling" --limits ID' in said


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        (supply.SupplyFacts(), "What kind of supply is it"),
        (supply.SupplyFacts(kind="compressor"), "Did you mean '(airline|charging)-compressor'"),
        (supply.SupplyFacts(kind="ring-main", oil_lubricated="maybe"), "yes, no or unknown"),
        (
            supply.SupplyFacts(kind="ring-main", oil_lubricated="no", lubricant="mineral oil"),
            "contradict each other",
        ),
        (supply.SupplyFacts(kind="ring-main", limit_set="en99"), "--limits: .*is not known"),
        (supply.SupplyFacts(kind="ring-main", site="none-such"), "no site 'none-such' on record"),
        (supply.SupplyFacts(kind="ring-main", title="a\x07b"), "control characters"),
    ],
)
def test_a_supply_that_is_not_clear_is_refused(
    yard: Workspace, facts: supply.SupplyFacts, message: str
) -> None:
    """And nothing is recorded."""
    size = yard.register.head().size
    with pytest.raises(LungwortError, match=message):
        supply.add(at(yard), "dock", facts)
    assert yard.register.head().size == size


def test_several_sites_need_a_name(yard: Workspace) -> None:
    """The only site is taken and said; of two none is guessed."""
    done = supply.add(at(yard), "dock", supply.SupplyFacts(kind="ring-main"))
    assert "Taken for site slipway, the only one in use." in done.remarks
    site.add(at(yard), "island", site.SiteFacts())
    with pytest.raises(InputError, match=r"Which site .*--site NAME. On record: island, slipway"):
        supply.add(at(yard), "boat", supply.SupplyFacts(kind="ring-main"))


def test_another_site_is_a_move_and_asks_for_a_test(yard: Workspace) -> None:
    """The event is recorded in the same change."""
    site.add(at(yard), "island", site.SiteFacts())
    done = supply.change(at(yard), "hall", supply.SupplyFacts(site="island"), "shipped over")
    (event,) = yard.register.all(Event)
    assert (event.kind, event.text) == ("moved", "shipped over")
    assert "site: slipway → island" in done.said
    assert any("recorded as an event" in one for one in done.remarks)


def test_an_outlet_stays_with_its_supply(yard: Workspace) -> None:
    """Else tests of the one supply would speak for the other's air."""
    supply.add(at(yard), "dock", supply.SupplyFacts(kind="ring-main"))
    with pytest.raises(InputError, match=r"stays with its supply.*--retire"):
        outlet.change(at(yard), "hall-1", outlet.OutletFacts(supply="dock"), "moved")
    with pytest.raises(InputError, match="Which supply"):
        outlet.add(at(yard), "x", outlet.OutletFacts())


def test_stages_are_added_in_the_airs_way_and_changed_with_a_reason(yard: Workspace) -> None:
    """The second call with the same name is a change."""
    add = treatment.stage(
        at(yard),
        "hall",
        "fine",
        treatment.StageFacts(kind="filter", change_hours="1000", change_months="6 months"),
        None,
    )
    second = treatment.stage(at(yard), "hall", "carbon", treatment.StageFacts(kind="carbon"), None)
    assert isinstance(add.record, Stage)
    assert isinstance(second.record, Stage)
    assert (add.record.place, second.record.place) == (1, 2)
    assert any("--change-hours" in one for one in second.remarks)
    changed = treatment.stage(
        at(yard),
        "hall",
        "FINE",
        treatment.StageFacts(change_hours="none", change_months="3"),
        "by its maker",
    )
    assert (
        "Changed after hours: 1000 h → –; Changed after months: 6 months → 3 months" in changed.said
    )
    for name, facts, reason, message in (
        ("new", treatment.StageFacts(), None, "What kind of stage"),
        ("new", treatment.StageFacts(name="newer"), "x", "no stage 'new'.*On record: carbon, fine"),
        ("fine", treatment.StageFacts(), "x", "nothing is given that would change"),
        ("fine", treatment.StageFacts(place="2"), None, "--reason is missing"),
        ("fine", treatment.StageFacts(place="0"), "x", "from 1 to 50"),
        ("fine", treatment.StageFacts(change_hours="0"), "x", "hours from 1"),
        ("fine", treatment.StageFacts(change_months="1.5"), "x", "no whole number of months"),
    ):
        with pytest.raises(InputError, match=message):
            treatment.stage(at(yard), "hall", name, facts, reason)


def test_a_cartridge_change_counts_hours_and_stock(yard: Workspace) -> None:
    """It is a reading of the hour meter as well, and uses up one of the lot."""
    treatment.stage(
        at(yard), "hall", "fine", treatment.StageFacts(kind="filter", change_hours="1000"), None
    )
    lot.add(at(yard), "filters", lot.LotFacts(kind="filter", stock="1", expires="2026-03-01"))
    bare = treatment.cartridge(at(yard), "hall", "fine", time="2026-03-03 10:00")
    assert any("no --hours were given" in one for one in bare.remarks)
    done = treatment.cartridge(at(yard), "hall", "fine", hours="1234,5 h", lot="filters")
    assert isinstance(done.record, CartridgeChange)
    assert done.record.running_hours == Decimal("1234.5")
    assert done.record.by_id == yard.register.get(Person, "Wenna Harkle").id
    assert any("expired on 1 Mar 2026" in one for one in done.remarks)
    (hours,) = yard.register.all(RunningHours)
    assert hours.hours == Decimal("1234.5")
    assert treatment.left(yard.register, yard.register.get(Lot, "filters")) == 0
    again = treatment.cartridge(at(yard, hours=1), "hall", "fine", hours="1235", lot="filters")
    assert any("None of lot filters is left" in one for one in again.remarks)
    assert treatment.left(yard.register, yard.register.get(Lot, "filters")) == 0
    for kwargs, message in (
        ({"lot": "co-tubes"}, "of the kind tube, not filter"),
        ({"time": "2026-03-05 10:00"}, "lies ahead"),
        ({"hours": "-1"}, "out of range"),
    ):
        with pytest.raises(InputError, match=message):
            treatment.cartridge(at(yard, hours=2), "hall", "fine", **kwargs)
    with pytest.raises(InputError, match=r"no stage 'fin'. Did you mean 'fine'"):
        treatment.cartridge(at(yard, hours=2), "hall", "fin")


def test_the_hour_meter_only_counts_up_and_not_faster_than_time(yard: Workspace) -> None:
    """100 h between two readings a day apart cannot be; nor less than before, nor more than after."""
    treatment.hours(at(yard), "hall", "1000", time="2026-03-01 08:00")
    treatment.hours(at(yard), "hall", "1020", time="2026-03-02 08:00")
    for reading, time, message in (
        ("999", "2026-03-03 08:00", r"999 h is less than 1020 h.*replaced, go on counting"),
        ("1030", "2026-03-01 12:00", r"1030 h cannot be|1030 h is more than 1020 h"),
        ("1120", "2026-03-03 08:00", "1120 h cannot be"),
        ("900", "2026-03-01 07:00", "900 h cannot be"),
        ("1021", "2026-03-01 08:30", "1021 h cannot be|more than 1020 h"),
    ):
        with pytest.raises(RegisterError, match=message):
            treatment.hours(at(yard), "hall", reading, time=time)
    assert len(yard.register.all(RunningHours)) == 2
    treatment.hours(at(yard), "hall", "1010.5", time="2026-03-01 20:00")


@given(steps=st.lists(st.tuples(st.floats(0.1, 100), st.floats(0, 1)), min_size=1, max_size=4))
@settings(deadline=None, max_examples=10)
def test_a_meter_that_runs_no_faster_than_the_clock_is_always_taken(
    template: Path, steps: list[tuple[float, float]]
) -> None:
    """Readings of a true hour meter, in order, are never refused."""
    with tempfile.TemporaryDirectory() as folder:
        where = Where(Path(shutil.copytree(template, Path(folder) / "yard")))
        passed, ran = 0.0, 500.0
        for hours, share in steps:
            passed += hours
            ran += hours * share
            now = NOW + timedelta(hours=passed)
            treatment.hours(Session(now, where), "hall", f"{ran:.1f}")
        assert treatment.hours(Session(now, where), "hall", f"{ran:.1f}").record.version == 1


def test_an_event_says_what_happened(yard: Workspace) -> None:
    """Kind and words are needed; a doubt proposes to withdraw."""
    with pytest.raises(InputError, match="--what is missing"):
        treatment.event(at(yard), "hall", kind="maintenance", what=" ")
    with pytest.raises(InputError, match="Did you mean 'maintenance'"):
        treatment.event(at(yard), "hall", kind="maintainance", what="x")
    done = treatment.event(
        at(yard), "hall", kind="doubt", what="smell of oil", time="2026-03-04 09:00"
    )
    assert isinstance(done.record, Event)
    assert done.record.time == datetime(2026, 3, 4, 9, tzinfo=UTC)
    assert any("lungwort withdraw hall" in one for one in done.remarks)


def test_a_supply_is_shown_with_all_that_belongs_to_it(yard: Workspace) -> None:
    """State, stages with last change, outlets, hours, events; JSON says the same."""
    treatment.stage(
        at(yard), "hall", "fine", treatment.StageFacts(kind="filter", change_months="6"), None
    )
    treatment.cartridge(at(yard), "hall", "fine", hours="100")
    treatment.event(at(yard), "hall", kind="maintenance", what="valves")
    view = supply.show(Where(yard.folder), "hall", now=NOW)
    facts = dict(view.facts)
    assert facts["State"].startswith("under test")
    assert facts["Limit set of its site"] == "en12021-2014-airline"
    assert facts["Lowest temperature of the line or cylinder"] == "5 °C"
    tables = {one.title: one for one in view.sections}
    (stage,) = tables["Treatment, in the air's way"].rows
    assert stage[1:6] == ("fine", "filter", "6 months", "4 Mar 2026 12:00:00", "100 h")
    assert tables["Outlets"].rows == (("hall-1", "north wall", "yes"),)
    assert tables["Events"].rows[0][1:3] == ("maintenance", "valves")
    plain = json.loads(json.dumps(view.plain))
    assert plain["state"]["state"] == "under_test"
    assert plain["supply"]["pressure_bar_g"] == "7"
    assert [one["name"] for one in plain["stages"]] == ["fine"]
    assert plain["cartridge_changes"][0]["running_hours"] == "100"


# Outlets' equipment.


def test_equipment_carries_flow_and_pressures(yard: Workspace) -> None:
    """Worn at an outlet; the second call with the same name is a change."""
    done = outlet.equipment(
        at(yard),
        "hall-1",
        "hood",
        outlet.EquipmentFacts(
            minimum_flow_l_min="170 L/min",
            lowest_pressure_bar_g="4 bar(g)",
            highest_pressure_bar_g="7 bar(g)",
            count="2",
        ),
        None,
    )
    assert isinstance(done.record, WearerEquipment)
    assert (done.record.minimum_flow_l_min, done.record.count) == (Decimal(170), 2)
    changed = outlet.equipment(
        at(yard), "hall-1", "Hood", outlet.EquipmentFacts(count="3"), "one more"
    )
    assert "Worn at once: 2 → 3" in changed.said
    row = outlet.listed(Where(yard.folder)).table.rows[0]
    assert row == ("hall-1", "north wall", "hall", "3 × hood")
    outlet.equipment(at(yard), "hall-1", "mask", outlet.EquipmentFacts(), None)
    for name, facts, reason, message in (
        ("hood", outlet.EquipmentFacts(lowest_pressure_bar_g="8 bar(g)"), "x", "not below"),
        ("hood", outlet.EquipmentFacts(count="0"), "x", "from 1 to 1000"),
        ("hood", outlet.EquipmentFacts(), "x", "nothing is given that would change"),
        ("hood", outlet.EquipmentFacts(name="MASK"), "x", "There is 'mask' at outlet hall-1"),
        ("suit", outlet.EquipmentFacts(in_use=False), "x", "no 'suit' at outlet hall-1"),
        (" ", outlet.EquipmentFacts(), None, "NAME is missing"),
    ):
        with pytest.raises(InputError, match=message):
            outlet.equipment(at(yard), "hall-1", name, facts, reason)


# Instruments.


def test_a_calibration_that_passed_is_within_its_tolerance(yard: Workspace) -> None:
    """As left counts where it was adjusted, else as found; else --passed is refused."""
    facts = instrument.CalibrationFacts
    for row in ("co=50/40 ppm ± 5 ppm", "co=50/50/40 ppm ± 5 ppm"):
        with pytest.raises(InputError, match="did not pass: record it with --failed"):
            instrument.calibrate(at(yard), "analyser-1", facts(rows=(row,), passed=True))
    assert yard.register.all(Calibration) == []
    done = instrument.calibrate(
        at(yard),
        "analyser-1",
        facts(
            rows=("co=50/40/50 ppm ± 5 ppm",),
            passed=True,
            valid_until="2027-03-31",
            done_by="test laboratory (invented)",
        ),
    )
    record = done.record
    assert isinstance(record, Calibration)
    assert (record.kind, record.passed, record.by) == (
        "calibration",
        True,
        "test laboratory (invented)",
    )
    assert record.valid_until == date(2027, 3, 31)
    assert any("no row for oxygen" in one for one in done.remarks)
    failed = instrument.bump(
        at(yard, hours=1), "analyser-1", facts(rows=("co=50/40 ppm ± 5 ppm",), passed=False)
    )
    assert isinstance(failed.record, Calibration)
    assert (failed.record.kind, failed.record.by) == ("bump_test", "Wenna Harkle")
    assert any("in doubt" in one for one in failed.remarks)


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        (instrument.CalibrationFacts(), "--passed .* else --failed"),
        (
            instrument.CalibrationFacts(passed=True, valid_until="2026-03-03"),
            "lies before the calibration itself",
        ),
        (instrument.CalibrationFacts(passed=True, valid_until="31.3.2027"), "one way only"),
        (instrument.CalibrationFacts(passed=True, time="2027-01-01 10:00"), "lies ahead"),
        (instrument.CalibrationFacts(passed=True, paper=Path("none.pdf")), "does not exist"),
        (instrument.CalibrationFacts(passed=True, rows=("h2s=10/10 ppm",)), "no channel for h2s"),
    ],
)
def test_a_calibration_that_is_not_clear_is_refused(
    yard: Workspace, facts: instrument.CalibrationFacts, message: str
) -> None:
    """And nothing is recorded."""
    with pytest.raises(InputError, match=message):
        instrument.calibrate(at(yard), "analyser-1", facts)
    assert yard.register.all(Calibration) == []


def test_what_was_taken_on_ones_word_is_said(yard: Workspace) -> None:
    """No rows, no tolerance, an end that has passed: each is told."""
    facts = instrument.CalibrationFacts
    bare = instrument.calibrate(at(yard), "analyser-1", facts(passed=True))
    assert any("No values are on record" in one for one in bare.remarks)
    loose = instrument.calibrate(
        at(yard),
        "analyser-1",
        facts(
            passed=True,
            rows=("co=50/48 ppm",),
            time="2025-03-04 10:00",
            valid_until="2026-03-03",
        ),
    )
    assert any("No tolerance is stated for co" in one for one in loose.remarks)
    assert any("ended on 3 Mar 2026" in one for one in loose.remarks)


def test_the_paper_of_a_calibration_is_kept_and_given_back(yard: Workspace, tmp_path: Path) -> None:
    """Byte for byte; an empty one is refused, and an existing file is not overwritten."""
    paper = tmp_path / "certificate.pdf"
    paper.write_bytes(b"")
    facts = instrument.CalibrationFacts(passed=True, paper=paper)
    with pytest.raises(InputError, match="is empty"):
        instrument.calibrate(at(yard), "analyser-1", facts)
    content = bytes(range(256)) * 5
    paper.write_bytes(content)
    done = instrument.calibrate(at(yard), "analyser-1", facts)
    target = tmp_path / "out.pdf"
    assert instrument.paper(Where(yard.folder), done.record.id, target) == target
    assert target.read_bytes() == content
    with pytest.raises(LungwortError, match="exists already"):
        instrument.paper(Where(yard.folder), done.record.id, target)
    bare = instrument.bump(at(yard), "analyser-1", instrument.CalibrationFacts(passed=True))
    with pytest.raises(InputError, match="No paper is on record"):
        instrument.paper(Where(yard.folder), bare.record.id, tmp_path / "x.pdf")


def test_an_instrument_is_shown_with_what_is_not_in_order(yard: Workspace) -> None:
    """Without a calibration it is not; after calibration and bump test it is."""
    where = Where(yard.folder)
    assert "calibrat" in instrument.listed(where, now=NOW).table.rows[0][4]
    instrument.calibrate(
        at(yard),
        "analyser-1",
        instrument.CalibrationFacts(
            passed=True, rows=("co=50/50 ppm ± 2 ppm", "o2=20.9/20.9 % ± 0.3 %")
        ),
    )
    assert instrument.listed(where, now=NOW).table.rows[0][4] == "in order"
    view = instrument.show(where, "analyser-1", now=NOW, history=True)
    assert dict(view.facts)["Channels"] == "co: 0 to 100 ppm ± 2 ppm; o2: 0 to 25 % ± 0.3 %"
    tables = {one.title: one for one in view.sections}
    assert tables["Calibrations"].rows[0][1] == "passed"
    assert "co at 50 ppm (± 2 ppm): as found 50 ppm" in tables["Calibrations"].below[0]
    assert view.plain["lapses"] == []
    late = instrument.show(where, "analyser-1", now=NOW + timedelta(days=800))
    assert late.remarks


def test_channels_are_replaced_as_a_whole(yard: Workspace) -> None:
    """And the version before stays."""
    done = instrument.change(
        at(yard),
        "analyser-1",
        instrument.InstrumentFacts(channels=("co=0-500 ppm",), bump_days="1"),
        "new cell",
    )
    assert isinstance(done.record, Instrument)
    assert [one.analyte for one in done.record.channels] == ["co"]
    assert "→ co: 0 to 500 ppm" in done.said
    assert "Bump tested every: not said: the rule set's interval holds → 1 day" in done.said
    gone = instrument.change(
        at(yard), "analyser-1", instrument.InstrumentFacts(channels=("none",)), "not known"
    )
    assert isinstance(gone.record, Instrument)
    assert gone.record.channels == ()
    with pytest.raises(InputError, match=r"Nothing is given.*--channel"):
        instrument.change(at(yard), "analyser-1", instrument.InstrumentFacts(), "x")


# Lots.


def test_the_stock_of_a_lot_is_what_came_less_what_was_used(yard: Workspace) -> None:
    """Ten came, two broke: eight are left; more than is left is not used."""
    done = lot.use(at(yard), "co-tubes", "2", why="broken in the box")
    assert done.said == "2 of lot co-tubes are recorded as used; 8 left."
    with pytest.raises(RegisterError, match="only 8 of lot co-tubes are left"):
        lot.use(at(yard), "co-tubes", "9", why="x")
    with pytest.raises(InputError, match="--why is missing"):
        lot.use(at(yard), "co-tubes", "1")
    for count in ("0", "-1", "1.5", "two"):
        with pytest.raises(InputError, match="COUNT"):
            lot.use(at(yard), "co-tubes", count, why="x")
    with pytest.raises(RegisterError, match="less than the 2 of lot co-tubes"):
        lot.change(at(yard), "co-tubes", lot.LotFacts(stock="1"), "counted")
    view = lot.show(Where(yard.folder), "co-tubes", now=NOW)
    assert dict(view.facts)["Left"] == "8"
    assert view.plain["lot"]["left"] == 8
    assert view.sections[0].rows[0][1:3] == ("2", "broken in the box")
    lot.use(at(yard), "co-tubes", "8", why="training")
    found = lot.listed(Where(yard.folder), now=NOW)
    assert (found.table.rows, found.plain["not_shown"]) == ((), 1)
    assert "1 with none left is not shown" in found.remarks[0]
    assert lot.listed(Where(yard.folder), now=NOW, used_up_too=True).table.rows[0][-1] == "0"


def test_a_lot_says_its_kind_its_analyte_and_its_last_day(yard: Workspace) -> None:
    """An expired lot may be recorded; it is told that a test with it proves nothing."""
    for facts, message in (
        (lot.LotFacts(), "What kind of lot"),
        (lot.LotFacts(kind="tube"), "What are the tubes for"),
        (lot.LotFacts(kind="tube", analyte="carbon"), "Did you mean '.*'carbon dioxide'"),
        (lot.LotFacts(kind="tube", analyte="co", stock="-1"), "from 0"),
    ):
        with pytest.raises(InputError, match=message):
            lot.add(at(yard), "x", facts)
    old = lot.add(
        at(yard), "old", lot.LotFacts(kind="oil-indicator", expires="2026-03-03", stock="5")
    )
    assert isinstance(old.record, Lot)
    assert old.record.analyte == "oil"
    assert any("expired on 3 Mar 2026" in one for one in old.remarks)
    row = next(one for one in lot.listed(Where(yard.folder), now=NOW).table.rows if one[0] == "old")
    assert row[5] == "3 Mar 2026 (expired)"
    open_end = lot.add(at(yard), "open", lot.LotFacts(kind="tube", analyte="co", stock="5"))
    assert any("--expires" in one for one in open_end.remarks)
    last = lot.add(
        at(yard), "last", lot.LotFacts(kind="tube", analyte="co", expires="2026-03-04", stock="1")
    )
    assert not last.remarks[1:]


def test_the_device_of_a_lot_is_held_against_the_kinds_that_are_known(yard: Workspace) -> None:
    """A known one gives its analyte; of another sort it is refused, an unknown one is told."""
    for name, facts, device, analyte in (
        ("a", lot.LotFacts(kind="tube", device="Tube-CO2"), "tube-co2", "co2"),
        (
            "b",
            lot.LotFacts(kind="oil-indicator", device="banded-oil-indicator"),
            "banded-oil-indicator",
            "oil",
        ),
        ("c", lot.LotFacts(kind="tube", device="box 7", analyte="co"), "box 7", "co"),
        ("d", lot.LotFacts(kind="calibration-gas", device="box 8"), "box 8", ""),
    ):
        record = lot.add(at(yard), name, facts).record
        assert isinstance(record, Lot)
        assert (record.device, record.analyte) == (device, analyte)
    slip = lot.add(at(yard), "e", lot.LotFacts(kind="tube", device="tube-co_", analyte="co"))
    assert "No tube 'tube-co_' is known. Did you mean 'tube-co'" in " ".join(slip.remarks)
    for facts, message in (
        (
            lot.LotFacts(kind="tube", device="banded-oil-indicator"),
            "is no tube. Give one of: tube-co",
        ),
        (
            lot.LotFacts(kind="tube", device="tube-co", analyte="co2"),
            "shows co, and the lot is for co2",
        ),
        (lot.LotFacts(kind="oil-indicator", analyte="co"), "shows oil, and --analyte is co"),
    ):
        with pytest.raises(InputError, match=message):
            lot.add(at(yard), "x", facts)
    with pytest.raises(InputError, match="shows co, and the lot is for co2"):
        lot.change(at(yard), "a", lot.LotFacts(device="tube-co"), "other box")
    done = lot.change(at(yard), "a", lot.LotFacts(device="tube-co", analyte="co"), "other box")
    assert "Device: tube-co2 → tube-co" in done.said


# Assessment.

BEST = {
    "source": "oil_free",
    "intake": "no",
    "age": "kept",
    "history": "steady",
    "purifier": "monitored",
    "mobile": "no",
    "people": "few",
    "danger": "no",
}


def test_an_assessment_keeps_answers_proposal_and_decision(yard: Workspace) -> None:
    """All answers at their best: the rule set's three months (uk-guidance) are what is left."""
    asked = assess.questionnaire(None)
    proposed = assess.propose(at(yard), "hall", asked, BEST)
    assert proposed.proposal.months == 3
    assert yard.register.all(RiskAssessment) == []
    done = assess.decide(at(yard), "hall", asked, BEST, months="2")
    assert isinstance(done.record, RiskAssessment)
    assert done.record.answers == tuple(BEST.items())
    assert (done.record.proposed_months, done.record.chosen_months) == (3, 2)
    assert done.record.time == NOW


def test_a_longer_interval_needs_a_reason_and_is_held_by_the_rule_set(yard: Workspace) -> None:
    """What is left open counts as its worst answer; the rule set's longest goes before."""
    asked = assess.questionnaire(None)
    with pytest.raises(InputError, match="longer than the 1 month that the answers lead to"):
        assess.decide(at(yard), "hall", asked, {}, months="2")
    done = assess.decide(at(yard), "hall", asked, {}, months="12", why="weekly by instrument")
    assert any("Left open: source, intake" in one for one in done.remarks)
    assert any(one.startswith("What holds is every 3 months.") for one in done.remarks)
    for answers, months, message in (
        ({"sauce": "x"}, "1", "--answer: there is no question 'sauce'"),
        ({"mobile": "sometimes"}, "1", "is no answer to"),
        ({}, "0", "--months '0' is out of range"),
        ({}, "x", "no whole number of months"),
    ):
        with pytest.raises(InputError, match=message):
            assess.decide(at(yard), "hall", asked, answers, months=months)
    with pytest.raises(InputError, match="given twice"):
        assess.read_answers(["mobile=no", "mobile=yes"])
    with pytest.raises(InputError, match="questionnaire 'mine' is not known"):
        assess.questionnaire("mine")


# All kinds.


def test_every_reference_is_found_before_a_void(yard: Workspace) -> None:
    """No kind is left out of the search: each field that names a thing is of a known kind."""
    from lungwort.register.checking import REFERENCES

    assert set(REFERENCES.values()) <= set(KINDS)
    wenna = yard.register.get(Person, "Wenna Harkle")
    treatment.event(at(yard), "hall", kind="moved", what="x")
    assert [one.KIND for one in voiding.referring(yard.register, wenna)] == ["event"]
    slip = yard.register.get(Site, "slipway")
    assert [one.KIND for one in voiding.referring(yard.register, slip)] == ["supply"]
