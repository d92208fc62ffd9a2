"""Which workspace, who makes the change, and when it happened."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from attrs import evolve

from lungwort.errors import InputError, RegisterError, UnknownRecordError, WorkspaceError
from lungwort.jobs.opening import (
    Where,
    changer,
    changing,
    common_zone,
    opened,
    site_zone,
    typed_time,
)
from lungwort.register.model import Outlet, Person, Site, Supply
from lungwort.register.workspace import Workspace

NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def test_the_workspace_around_the_current_folder_is_found(sqlite_workspace: Workspace) -> None:
    """From a folder below the workspace it is found by walking up."""
    below = sqlite_workspace.folder / "files"
    with opened(None, start=below) as found:
        assert found.folder == sqlite_workspace.folder
    with opened(Where(None, below), read_only=True) as found:
        assert found.folder == sqlite_workspace.folder


def test_the_current_folder_itself_is_looked_at(
    sqlite_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nothing is said, the search begins in the current folder."""
    monkeypatch.chdir(sqlite_workspace.folder)
    with opened(None) as found:
        assert found.name == sqlite_workspace.name


def test_a_folder_that_is_given_goes_before_the_one_around(
    sqlite_workspace: Workspace, tmp_path: Path
) -> None:
    """--workspace wins over the folder that one stands in."""
    with pytest.raises(WorkspaceError, match="lungwort workspace create"):
        opened(Where(tmp_path / "other", sqlite_workspace.folder)).__enter__()


def test_no_workspace_says_how_to_name_or_make_one(tmp_path: Path) -> None:
    """The message names the option, the variable and the command."""
    with (
        pytest.raises(WorkspaceError, match=r"--workspace DIR.*LUNGWORT_WORKSPACE.*create"),
        opened(None, start=tmp_path),
    ):
        pass


def test_read_only_records_nothing(sqlite_workspace: Workspace) -> None:
    """What was opened for reading refuses a change."""
    with (
        opened(sqlite_workspace.folder, read_only=True) as workspace,
        pytest.raises(RegisterError, match="reading only"),
        changing(workspace, None, now=NOW) as change,
    ):
        change.add(Person(name="Idris Pellow"))


def test_the_only_person_is_taken_and_said(sqlite_workspace: Workspace) -> None:
    """One person in use: no --by is needed, and it is told whom the record names."""
    who = changer(sqlite_workspace.register, None)

    assert who.name == "Wenna Harkle"
    assert "Wenna Harkle, the only person on record" in who.remark
    assert changer(sqlite_workspace.register, "wenna harkle").remark == ""


def test_several_persons_need_a_name(sqlite_workspace: Workspace) -> None:
    """Two in use: the message lists them; a retired one is not counted and may not act."""
    with changing(sqlite_workspace, None, now=NOW) as change:
        idris = change.add(Person(name="Idris Pellow"))
    with pytest.raises(RegisterError, match=r"Give --by NAME.*Idris Pellow, Wenna Harkle"):
        changer(sqlite_workspace.register, " ")
    with pytest.raises(UnknownRecordError, match="Did you mean Idris Pellow"):
        changer(sqlite_workspace.register, "Idris Pelow")

    with changing(sqlite_workspace, "Wenna Harkle", now=NOW) as change:
        change.replace(idris, evolve(idris, in_use=False), "left the yard")
    assert changer(sqlite_workspace.register, None).name == "Wenna Harkle"
    with pytest.raises(RegisterError, match=r"Idris Pellow is on record as retired.*--in-use"):
        changer(sqlite_workspace.register, "Idris Pellow")


def test_a_clock_behind_the_record_is_refused_unless_it_is_said_to_be_right(
    workspace: Workspace, start_time: datetime
) -> None:
    """An hour before the newest entry: refused with the option's name, then taken on one's word."""
    early = start_time - timedelta(hours=1)
    with (
        pytest.raises(RegisterError, match="--clock-is-right"),
        changing(workspace, None, now=early) as change,
    ):
        change.add(Person(name="Idris Pellow"))
    with changing(workspace, None, now=early, clock_is_right=True) as change:
        change.add(Person(name="Idris Pellow"))

    assert workspace.register.get(Person, "Idris Pellow").version == 1


def test_zone_of_outlet_and_supply_is_that_of_the_site(sqlite_workspace: Workspace) -> None:
    """An outlet's times are those of its supply's site; without any site it is UTC."""
    register = sqlite_workspace.register
    assert common_zone(register) == "UTC"
    with changing(sqlite_workspace, None, now=NOW) as change:
        site = change.add(Site(name="slipway", zone="Europe/London"))
        supply = change.add(Supply(name="hall", site_id=site.id))
        outlet = change.add(Outlet(name="hall-1", supply_id=supply.id))

    assert {site_zone(sqlite_workspace, one) for one in (site, supply, outlet)} == {"Europe/London"}
    assert common_zone(register) == "Europe/London"
    with changing(sqlite_workspace, None, now=NOW) as change:
        far = change.add(Site(name="far", zone="Asia/Tokyo"))
    assert common_zone(register) is None
    with changing(sqlite_workspace, None, now=NOW) as change:
        change.replace(far, evolve(far, in_use=False), "given up")
    assert common_zone(register) == "Europe/London"


def test_a_typed_time_is_read_in_the_sites_zone() -> None:
    """British Summer Time 2026 begins on 29 March at 01:00 UTC (tz database): then UTC+1."""
    now = datetime(2026, 6, 1, tzinfo=UTC)
    for text, expected in (
        ("2026-03-28 10:00", datetime(2026, 3, 28, 10, 0, tzinfo=UTC)),
        ("2026-03-30 10:00", datetime(2026, 3, 30, 9, 0, tzinfo=UTC)),
        ("2026-03-30T10:00:30+05:00", datetime(2026, 3, 30, 5, 0, 30, tzinfo=UTC)),
        ("2026-03-30 10:00Z", datetime(2026, 3, 30, 10, 0, tzinfo=UTC)),
    ):
        found = typed_time(text, "Europe/London", "--time", now=now)
        assert found == expected
        assert found.utcoffset() == timedelta(0)
    assert typed_time(None, None, "--time", now=now) == now


@pytest.mark.parametrize(
    ("text", "zone", "message"),
    [
        ("04/03/2026 10:00", "UTC", r"--time '04/03/2026 10:00' is no moment.*year first"),
        ("2026-02-30 10:00", "UTC", "is no moment"),
        ("2026-03-04", "UTC", "no time of day"),
        ("2026-03-04 12:30", "UTC", r"lies ahead: it is 2026-03-04 12:00 now"),
        ("2026-03-04 10:00", None, r"several time zones.*\+01:00"),
        # Clocks in the United Kingdom: forward on 30 March 2025 01:00, back on 26 October 2025
        # 02:00 local summer time (tz database; The Summer Time Order 2002).
        ("2025-03-30 01:30", "Europe/London", "did not exist in Europe/London"),
        ("2025-10-26 01:30", "Europe/London", r"came twice.*\+0100' or .*\+0000'"),
    ],
)
def test_a_time_that_is_not_clear_is_refused(text: str, zone: str | None, message: str) -> None:
    """No guess: neither of day and month, nor of a repeated hour, nor of the future."""
    with pytest.raises(InputError, match=message):
        typed_time(text, zone, "--time", now=NOW)
