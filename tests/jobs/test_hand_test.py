"""Tests by hand in the record, with a clock of the test's own; people and place are invented."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import attrs
import pytest
from tests.spot.hand_test_kit import FULL, SAYS

from lungwort.errors import (
    InputError,
    OutputError,
    ProcedureError,
    RegisterError,
    SpotError,
    UnknownRecordError,
)
from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import hand_test as job
from lungwort.jobs import hand_test_views as views
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where
from lungwort.plan.lapses import hand_test_lapses
from lungwort.plan.snapshot import take
from lungwort.plan.stock import left
from lungwort.register import model as r
from lungwort.register.verify import verify
from lungwort.register.workspace import Workspace
from lungwort.spot import runner
from lungwort.spot.parse import parse_spot

BEGIN = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


@attrs.define
class Yard:
    """The invented yard, and a clock that only the test moves."""

    workspace: Workspace
    outlet: r.Outlet
    now: datetime = BEGIN

    @property
    def at(self) -> Session:
        """Where, when and by whom."""
        return Session(self.now, Where(self.workspace.folder), "Idris Pellow")

    def later(self, seconds: float) -> Session:
        """Let time pass [s]."""
        self.now += timedelta(seconds=seconds)
        return self.at

    def follow(self, until: str = "", **changed: str) -> job.Stand:
        """Go through a full test up to an entry, and keep it as the job does."""
        run = job.start(self.at, "hose-1").run
        for name, given, seconds in FULL:
            if name == until:
                break
            self.now += timedelta(seconds=seconds)
            run = runner.enter(run, name, changed.get(name.replace("-", "_"), given), self.now)
        with self.workspace.lock():
            files.save(self.workspace, run)
        return job.stand(self.at.where, run.id, now=self.now)

    def follow_by_job(self) -> job.Stand:
        """Go through a full test entry by entry, each by the job."""
        found = job.start(self.at, "hose-1")
        for name, given, seconds in FULL:
            found = job.enter(self.later(seconds), found.id, name, given)
        return found

    def tests(self) -> list[r.HandTest]:
        """Give the tests in force."""
        return self.workspace.register.all(r.HandTest)


@pytest.fixture
def yard(sqlite_workspace: Workspace) -> Yard:
    """Make a workspace with all that a full test names."""
    with sqlite_workspace.register.change(who="Wenna Harkle", now=BEGIN) as change:
        change.add(r.Person(name="Idris Pellow", role="tests", competent_until=date(2027, 1, 31)))
        site = change.add(r.Site(name="slipway", zone="Europe/London"))
        supply = change.add(
            r.Supply(site_id=site.id, name="yard", oil_lubricated=True, lubricant="mineral oil")
        )
        outlet = change.add(r.Outlet(supply_id=supply.id, name="hose-1"))
        change.add(
            r.WearerEquipment(
                outlet_id=outlet.id,
                name="hood",
                minimum_flow_l_min=Decimal(170),
                lowest_pressure_bar_g=Decimal(4),
            )
        )
        monitor = change.add(r.Instrument(name="logger A", bump_days=30))
        for kind in (r.CALIBRATION, r.BUMP_TEST):
            change.add(
                r.Calibration(
                    instrument_id=monitor.id,
                    time=BEGIN - timedelta(days=3),
                    kind=kind,
                    passed=True,
                    valid_until=date(2026, 12, 31) if kind == r.CALIBRATION else None,
                    by="Ondrey Metrology (invented)",
                )
            )
        for name, until, device in (
            ("ind-1", date(2026, 12, 31), "banded-oil-indicator"),
            ("ind-old", date(2026, 3, 1), "banded-oil-indicator"),
        ):
            change.add(
                r.Lot(
                    name=name,
                    kind="oil_indicator",
                    device=device,
                    analyte="oil",
                    expires=until,
                    stock=5,
                )
            )
        change.add(r.Lot(name="co-1", kind="tube", analyte="co", expires=date(2027, 1, 1), stock=9))
    return Yard(sqlite_workspace, outlet)


def test_a_full_test_goes_into_the_record_whole(yard: Yard) -> None:
    """Readings, entries, people, one indicator used, the procedure as followed; no file is left."""
    found = yard.follow_by_job()
    assert found.ask is None
    assert found.told == ()
    done = job.finish(yard.later(60), found.id)
    test = yard.workspace.register.get(r.HandTest, done.record.id)
    assert test.state == "done"
    assert tuple(one.text for one in test.readings) == SAYS
    assert all(parse_spot(one.text, time=one.time) for one in test.readings)
    register = yard.workspace.register
    assert test.tester_id == register.get(r.Person, "Idris Pellow").id
    assert test.second_person_id == register.get(r.Person, "Wenna Harkle").id
    assert len(test.answers) == len(FULL)
    assert b'id = "full-outlet-test"' in yard.workspace.read_file(test.procedure_sha256)
    (use,) = register.all(r.LotUse, hand_test_id=test.id)
    assert use.lot_id == register.get(r.Lot, "ind-1").id
    snapshot = take(register, yard.now)
    assert left(snapshot, use.lot_id) == 4
    assert hand_test_lapses(snapshot, test) == ()
    assert job.doubts_of(test) == ()
    assert list((yard.workspace.folder / "open-tests").iterdir()) == []
    assert verify(yard.workspace).problems == ()
    assert "no verdict yet" in " ".join(done.remarks)


@pytest.mark.parametrize("place", range(3, len(FULL), 7))
def test_every_entry_outlives_the_program(yard: Yard, place: int) -> None:
    """The file alone, read by nobody else meanwhile, goes on at the same step."""
    found = yard.follow(FULL[place][0])
    again = job.stand(yard.at.where, None, now=yard.now)
    assert again.run == found.run
    assert again.ask == found.ask
    assert again.wait_left_s == found.wait_left_s


def test_a_wait_goes_on_while_the_program_is_away(yard: Yard) -> None:
    """25 s into a minute, 35 s are left; the day after, none."""
    found = yard.follow("purging")
    job.enter(yard.at, found.id, "purging", "begin")
    assert (
        job.stand(yard.at.where, found.id, now=yard.now + timedelta(seconds=25)).wait_left_s == 35
    )
    begun = job.stand(yard.at.where, found.id, now=yard.now)
    assert job.left_s(begun, yard.now + timedelta(days=1)) == 0


def test_a_write_that_fails_leaves_the_test_as_it_was(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: told, and the entry before is still the last."""
    found = yard.follow("seal")

    def full(_content: bytes, _path: Path) -> None:
        raise OutputError("the disk is full. Make room.")

    monkeypatch.setattr("lungwort.jobs._hand_test_files.write_bytes", full)
    with pytest.raises(OutputError, match="disk is full"):
        job.enter(yard.at, found.id, "seal", "intact")
    monkeypatch.undo()
    assert job.stand(yard.at.where, found.id, now=yard.now).run == found.run


def test_a_crash_between_record_and_file_adds_nothing_twice(yard: Yard) -> None:
    """The file that was left behind is taken away, and the test is on record once."""
    found = yard.follow()
    path = yard.workspace.folder / "open-tests" / f"{found.id}.json"
    kept = path.read_bytes()
    first = job.finish(yard.later(60), found.id)
    path.write_bytes(kept)
    again = job.finish(yard.later(60), found.id)
    assert again.record == first.record
    assert "on record already" in again.said
    assert not path.exists()
    assert len(yard.tests()) == 1
    assert len(yard.workspace.register.all(r.LotUse)) == 1


def test_a_refused_entry_is_told_and_kept(yard: Yard) -> None:
    """12 bar(g) is not accepted; the record shows that it was entered."""
    found = yard.follow("line-pressure")
    refused = job.enter(yard.at, found.id, "line-pressure", "12")
    assert refused.refused
    assert "Not accepted: 12 bar(g) is above 10 bar(g)" in refused.told[0]
    done = job.abort(yard.at, found.id, "no regulator here")
    test = yard.tests()[0]
    assert (test.state, test.why, test.readings) == ("aborted", "no regulator here", ())
    assert test.answers[-1].name == "line-pressure (refused)"
    assert "aborted" in done.said
    assert yard.workspace.register.all(r.LotUse) == []


def test_an_expired_lot_voids(yard: Yard) -> None:
    """On record as void, with why and without readings; the indicator is used up all the same."""
    found = yard.follow("oil-sample", indicator_lot="ind-old")
    assert "expired on 2026-03-01" in found.void[0]
    done = job.finish(yard.at, found.id)
    test = yard.tests()[0]
    assert test.state == "void"
    assert "expired" in test.why
    assert test.readings == ()
    assert "says nothing of the air" in done.said
    assert len(yard.workspace.register.all(r.LotUse)) == 1


def test_a_lapse_forbids_nothing_and_is_told_at_once(yard: Yard) -> None:
    """An instrument without calibration, a tester without competence: told at the entry."""
    with yard.workspace.register.change(who="Wenna Harkle", now=yard.now) as change:
        change.add(r.Instrument(name="logger B"))
    at = attrs.evolve(yard.at, by="Wenna Harkle")
    found = job.start(at, "hose-1")
    assert "No competence of Wenna Harkle to test is on record" in found.told[0]
    found = job.enter(at, found.id, "instrument", "logger B")
    assert any("No calibration of instrument logger B" in one for one in found.told)
    assert found.ask is not None
    assert found.ask.name == "fresh-air-o2"


def test_too_little_flow_is_kept_as_a_doubt(yard: Yard) -> None:
    """The readings count, and what is against them stays with the test."""
    found = yard.follow(drawing_flow="120")
    test = job.finish(yard.at, found.id).record
    assert isinstance(test, r.HandTest)
    assert test.state == "done"
    (doubt,) = job.doubts_of(test)
    assert doubt.startswith("120 L/min is less than the 170 L/min that hood needs.")


def test_an_amendment_on_record_is_a_new_version(yard: Yard) -> None:
    """What it says is worked out anew; the first entry and the version before stay."""
    test = job.finish(yard.at, yard.follow().id).record
    done = job.amend(yard.later(3600), test.id, "co", "12", "read from the wrong line")
    register = yard.workspace.register
    new = register.get(r.HandTest, test.id)
    assert done.record == new
    assert (new.version, new.reason) == (2, "read from the wrong line")
    assert "co=12 ppm" in [one.text for one in new.readings]
    assert [(one.name, one.given) for one in new.answers if one.name.startswith("co")][-2:] == [
        ("co2", "430 ppm"),
        ("co (amended)", "12 ppm [read from the wrong line]"),
    ]
    assert "co=< 1 ppm" in [one.text for one in register.version(r.HandTest, test.id, 1).readings]
    job.amend(yard.later(60), test.id, "co", "11", "again")
    assert "co=11 ppm" in [one.text for one in register.get(r.HandTest, test.id).readings]
    assert verify(yard.workspace).problems == ()


def test_amending_the_lot_moves_what_was_used(yard: Yard) -> None:
    """One of the other lot; an expired one voids the test."""
    test = job.finish(yard.at, yard.follow().id).record
    job.amend(yard.later(60), test.id, "indicator-lot", "ind-old", "took the old box")
    register = yard.workspace.register
    new = register.get(r.HandTest, test.id)
    assert (new.state, new.readings) == ("void", ())
    (use,) = register.all(r.LotUse)
    assert use.lot_id == register.get(r.Lot, "ind-old").id
    job.amend(yard.later(60), test.id, "indicator-lot", "ind-1", "it was the new box after all")
    assert register.get(r.HandTest, test.id).state == "done"


def test_void_by_hand_stays_void(yard: Yard) -> None:
    """It says nothing any more, once, and is not brought back by an amendment."""
    test = job.finish(yard.at, yard.follow().id).record
    with pytest.raises(InputError, match="--reason"):
        job.void(yard.at, test.id, None)
    job.void(yard.later(60), test.id, "the indicator lay open overnight")
    new = yard.workspace.register.get(r.HandTest, test.id)
    assert (new.state, new.why, new.readings) == (
        "void",
        "the indicator lay open overnight",
        (),
    )
    with pytest.raises(RegisterError, match="void already"):
        job.void(yard.at, test.id, "x")
    with pytest.raises(RegisterError, match="It stays void"):
        job.amend(yard.at, test.id, "co", "4", "x")


def test_an_entry_under_way_is_amended(yard: Yard) -> None:
    """With a reason."""
    found = yard.follow("seal")
    again = job.amend_entry(yard.at, found.id, "line-pressure", "6", "misread")
    assert again.run.given("line-pressure") == "6 bar(g)"
    with pytest.raises(InputError, match="--reason"):
        job.amend_entry(yard.at, found.id, "line-pressure", "5", "")


def _form(yard: Yard, tmp_path: Path, *, changed: dict[str, str] | None = None) -> Path:
    """Fill in a form as somebody would on paper, times in the site's zone (UTC in March)."""
    lines = [
        "format = 1",
        'procedure = "full-outlet-test"',
        'outlet = "hose-1"',
        'tester = "Idris Pellow"',
        'started = "2026-03-02 08:30"',
    ]
    now, begun = datetime(2026, 3, 2, 8, 30, tzinfo=UTC), ""
    for name, usual, seconds in FULL:
        given = (changed or {}).get(name, usual)
        now += timedelta(seconds=seconds)
        if given == "begin":
            begun = f"{now:%H:%M:%S}"
            continue
        lines += ["[[entry]]", f'name = "{name}"']
        if given == "end":
            lines += [f'begin = "{begun}"', f'end = "{now:%H:%M:%S}"']
        else:
            lines += [f'given = "{given}"', f'time = "{now:%H:%M:%S}"']
    file = tmp_path / "paper.toml"
    file.write_text("\n".join(lines), encoding="utf-8")
    del yard
    return file


def test_a_test_on_paper_says_the_same(yard: Yard, tmp_path: Path) -> None:
    """The same entries at the same times give the same readings; a second time adds nothing."""
    done = job.from_file(yard.at, _form(yard, tmp_path))
    test = done.record
    assert isinstance(test, r.HandTest)
    assert tuple(one.text for one in test.readings) == SAYS
    assert test.started == datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
    assert test.ended < BEGIN
    assert "on record already" in job.from_file(yard.at, _form(yard, tmp_path)).said
    assert len(yard.tests()) == 1


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"line-pressure": "12"}, r"entry 3 \(line-pressure\): it is not accepted. 12 bar\(g\)"),
        ({"rows": "nothing, dots, dots"}, r"\(rows\): this cannot be"),
        ({"seal": ""}, r"\(seal\): nothing is entered"),
        ({"on-air": "no"}, r"next entry is 'settling'"),
        ({"instrument": "logger Z"}, "not on record for this"),
    ],
)
def test_paper_that_cannot_be_used(
    yard: Yard, tmp_path: Path, changed: dict[str, str], said: str
) -> None:
    """The line is named, and nothing is recorded."""
    with pytest.raises(InputError, match=said):
        job.from_file(yard.at, _form(yard, tmp_path, changed=changed))
    assert yard.tests() == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('time = "08:30:05"', 'time = "08:29"', "is before the entry above it"),
        ('time = "08:30:05"', 'time = "25:10"', "no time of day"),
        ('time = "08:30:05"', 'time = "2026-03-03 09:00"', "lies ahead"),
        ('time = "08:30:05"', 'tim = "08:30:05"', "Near: 'time'"),
        ('outlet = "hose-1"', 'outlet = "hose-9"', "hose-9"),
        ('started = "2026-03-02 08:30"', 'started = "2026-03-02"', "has no time of day"),
        ("format = 1", "format = 7", "reads 1"),
    ],
)
def test_mistakes_in_a_form(yard: Yard, tmp_path: Path, old: str, new: str, said: str) -> None:
    """Wrong times, unknown keys and outlets."""
    file = _form(yard, tmp_path)
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises((InputError, ProcedureError), match=said):
        job.from_file(yard.at, file)
    assert yard.tests() == []


def test_the_printed_form_is_the_form_that_is_read(yard: Yard, tmp_path: Path) -> None:
    """Each entry of each shipped procedure stands in its form, which is TOML."""
    import tomllib

    for one in views.procedures(None):
        read = tomllib.loads(job.form(one))
        assert [entry["name"] for entry in read["entry"]] == [ask.name for _, ask in one.asks()]
    file = tmp_path / "empty.toml"
    file.write_text(job.form(views.procedure(None, "tube-test")), encoding="utf-8")
    with pytest.raises(ProcedureError, match="key 'outlet' is empty"):
        job.from_file(yard.at, file)


def test_procedures_and_kinds_of_the_users_own(yard: Yard) -> None:
    """From the folders of the workspace."""
    folder = yard.workspace.folder / "procedures"
    folder.mkdir()
    text = views.procedure(None, "tube-test").text.replace('id = "tube-test"', 'id = "my-tubes"')
    (folder / "my-tubes.toml").write_text(text, encoding="utf-8")
    assert [one.id for one in views.procedures(yard.workspace.folder)][-1] == "my-tubes"
    assert (
        job.start(yard.at, "hose-1", procedure="my-tubes").run.procedure.origin == "my-tubes.toml"
    )
    kinds = yard.workspace.folder / "devices"
    kinds.mkdir()
    (kinds / "own.toml").write_text(
        'format = 1\nid = "tube-co"\nkind = "tube"\ntitle = "T"\nanalyte = "co"\nunit = "ppm"\n'
        'standing = "own rule"\n',
        encoding="utf-8",
    )
    with pytest.raises(ProcedureError, match=r"devices/own\.toml: the id 'tube-co' is taken"):
        job.start(yard.at, "hose-1")


def test_lists_and_views(yard: Yard) -> None:
    """One under way and one on record; JSON without anything that cannot be written."""
    test = job.finish(yard.at, yard.follow().id).record
    found = job.start(yard.later(60), "hose-1")
    shown = views.listed(yard.at.where, now=yard.now)
    assert [row[3] for row in shown.table.rows] == ["under way", "done"]
    assert json.loads(json.dumps(shown.plain))["tests"][0]["id"] == test.id
    view = views.show(yard.at.where, test.id, now=yard.now)
    assert "co=< 1 ppm" in [row[0] for row in view.sections[0].rows]
    assert json.dumps(view.plain)
    assert json.dumps(views.show(yard.at.where, found.id, now=yard.now).plain)
    for one in views.procedures(None):
        assert json.dumps(views.procedure_view(one).plain)
    assert len(views.procedure_listing(views.procedures(None)).table.rows) == 3


@pytest.mark.parametrize("name", ["open-aaaaaaaa", "../../etc/passwd", "open-AAAAAAAA"])
def test_names_that_are_none(yard: Yard, name: str) -> None:
    """No path gets out of the folder."""
    with pytest.raises(UnknownRecordError, match=r"under way"):
        job.enter(yard.at, name, "instrument", "logger A")


def test_which_one_is_meant(yard: Yard) -> None:
    """None, one, several."""
    with pytest.raises(RegisterError, match="No test is under way"):
        job.finish(yard.at, None)
    job.start(yard.at, "hose-1")
    with pytest.raises(SpotError, match="'instrument' is still to be entered"):
        job.finish(yard.at, None)
    again = job.start(yard.later(5), "hose-1")
    assert "Another test is under way at this outlet" in again.told[0]
    with pytest.raises(RegisterError, match="Several tests are under way"):
        job.finish(yard.at, None)
    with pytest.raises(InputError, match="--reason"):
        job.abort(yard.at, None, "")


def test_a_charging_compressor_is_tested_as_one(yard: Yard) -> None:
    """By its own procedure where none is named; a retired outlet is not tested."""
    with yard.workspace.register.change(who="Wenna Harkle", now=yard.now) as change:
        site = change.get(r.Site, "slipway")
        supply = change.add(r.Supply(site_id=site.id, name="hp", kind="charging_compressor"))
        change.add(r.Outlet(supply_id=supply.id, name="whip-1"))
        change.add(r.Outlet(supply_id=supply.id, name="whip-2", in_use=False))
    assert job.start(yard.at, "whip-1").run.procedure.id == "charging-outlet-test"
    with pytest.raises(RegisterError, match="retired"):
        job.start(yard.at, "whip-2")


def test_what_is_put_on_record_meanwhile_can_be_named(yard: Yard) -> None:
    """A lot that is added during the test is known at its entry."""
    found = yard.follow("indicator-lot")
    with yard.workspace.register.change(who="Wenna Harkle", now=yard.now) as change:
        change.add(r.Lot(name="ind-2", kind="oil_indicator", expires=date(2027, 1, 1), stock=1))
    found = job.enter(yard.at, found.id, "indicator-lot", "ind-2")
    assert any("names no kind; the bands of" in one for one in found.told)
