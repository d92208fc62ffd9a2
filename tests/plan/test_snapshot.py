"""The snapshot: what it reads, what it leaves out, whose days count."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from attrs import evolve
from tests.plan import build_yard as yard

from lungwort.plan.snapshot import Snapshot, by_id, take
from lungwort.plan.stock import left
from lungwort.register import model
from lungwort.register.model import Entry, LotUse, Record


class FakeRegister:
    """Only what `take` needs: all records of a kind."""

    def __init__(self, *records: Record) -> None:
        self.records = records

    def all(self, kind: type[Record]) -> list[Record]:
        """Give all records of a kind."""
        return [one for one in self.records if type(one) is kind]


class FakeJournal(FakeRegister):
    """A register that knows its journal and can be read as of one moment."""

    entry: Entry | None = None
    reads = 0

    def newest(self) -> Entry | None:
        """Give the newest entry."""
        return self.entry

    @contextmanager
    def at_one_time(self) -> Iterator[FakeJournal]:
        """Count that it was asked for."""
        self.reads += 1
        yield self


def test_every_kind_is_read() -> None:
    """Each kind of record has its field, so that no rule overlooks one."""
    fields = {field.name for field in Snapshot.__attrs_attrs__ if field.default == ()}

    # A photo is looked at by people, an approval by the job that asks for it, and a plant sheet by
    # the calculations.
    for_no_rule = {"photo", "approval", "plant"}
    assert for_no_rule <= set(model.KINDS)
    assert len(fields - {"supply_versions"}) == len(set(model.KINDS) - for_no_rule)


def test_the_versions_of_a_supply_are_read() -> None:
    """Those that are no longer in force too, where the register knows them."""
    later = evolve(yard.SUPPLY, version=2, seq=50, intake="roof")

    class FakeVersions(FakeRegister):
        """A register that knows older versions."""

        def history(self, _kind: type[Record], thing_id: str) -> list[Record]:
            """Give both versions."""
            return [yard.SUPPLY, later] if thing_id == "supply-1" else []

    assert take(FakeVersions(later), yard.NOW).supply_versions == (yard.SUPPLY, later)  # type: ignore[arg-type] # a stand-in
    assert take(FakeRegister(later), yard.NOW).supply_versions == (later,)  # type: ignore[arg-type] # a stand-in


def test_take_leaves_out_what_is_voided() -> None:
    """A voided record is in no field, whoever builds the snapshot."""
    gone = evolve(yard.SECOND, voided=True)
    snapshot = take(FakeRegister(yard.SITE, yard.OUTLET, gone, yard.TUBES), yard.NOW)  # type: ignore[arg-type] # a stand-in

    assert snapshot.outlets == (yard.OUTLET,)
    assert snapshot.sites == (yard.SITE,)
    assert snapshot.lots == (yard.TUBES,)
    assert snapshot.newest_entry is None
    assert yard.yard(outlets=(gone,)).outlets == ()


def test_take_reads_the_journal_as_of_one_moment() -> None:
    """The time of the newest entry; none in an empty journal."""
    register = FakeJournal(yard.SITE)

    assert take(register, yard.NOW).newest_entry is None  # type: ignore[arg-type] # a stand-in
    register.entry = Entry(1, yard.NOW, "Wenna Harkle", "add", "site", "site-1", 1, "{}", "0")
    assert take(register, yard.NOW).newest_entry == yard.NOW  # type: ignore[arg-type] # a stand-in
    assert register.reads == 2


def test_days_are_those_of_the_site() -> None:
    """What belongs to no site ends with the day of the site whose day ends first."""
    far = evolve(yard.SITE, id="site-2", name="far", zone="Pacific/Auckland")
    given_up = evolve(yard.SITE, id="site-3", name="old", zone="Pacific/Kiritimati", in_use=False)
    snapshot = yard.yard(sites=(yard.SITE, far, given_up))
    moment = datetime(2026, 6, 14, 12, 30, tzinfo=UTC)

    assert snapshot.day(moment, "supply-1") == date(2026, 6, 14)
    assert snapshot.day(moment) == date(2026, 6, 15)
    assert snapshot.day(moment, "unknown") == date(2026, 6, 14)
    assert snapshot.zoned(moment, "supply-1") == "13:30"
    assert snapshot.zone("unknown") == ZoneInfo("UTC")


def test_a_zone_that_is_none_becomes_utc() -> None:
    """A site on record with a zone that this computer does not know."""
    snapshot = yard.yard(sites=(evolve(yard.SITE, zone="Nowhere/Land"),))

    assert snapshot.zone("supply-1") == ZoneInfo("UTC")
    assert snapshot.zones() == ()


def test_what_belongs_to_a_supply() -> None:
    """Outlets in use, stages in the air's way, supplies in use, the limit set's name."""
    last = evolve(yard.STAGE, id="stage-0", name="filter", place=2)
    old = evolve(yard.SECOND, in_use=False)
    other = evolve(yard.SUPPLY, id="supply-2", name="spare", in_use=False)
    own = evolve(yard.SUPPLY, id="supply-3", name="own", limit_set="mine.toml", site_id="gone")
    bare = evolve(yard.SUPPLY, id="supply-4", name="bare", site_id="gone")
    snapshot = yard.yard(
        stages=(last, yard.STAGE),
        outlets=(yard.OUTLET, old),
        supplies=(yard.SUPPLY, other, own, bare),
    )

    assert snapshot.outlets_of("supply-1") == (yard.OUTLET,)
    assert snapshot.stages_of("supply-1") == (yard.STAGE, last)
    assert snapshot.supplies_in_use() == (yard.SUPPLY, own, bare)
    assert snapshot.limit_set_name("supply-1") == yard.LIMITS.id
    assert snapshot.limit_set_name("supply-3") == "mine.toml"
    assert snapshot.limit_set_name("supply-4") == ""
    assert snapshot.limit_set_name("nothing") == ""
    assert by_id(snapshot.outlets, None) is None
    closed = yard.yard(sites=(evolve(yard.SITE, in_use=False),))
    assert closed.supplies_in_use() == ()


def test_left_of_a_lot() -> None:
    """What came less what was used, up to a moment."""
    uses = (
        LotUse(id="u1", lot_id="lot-1", time=yard.ago(5), count=3),
        LotUse(id="u2", lot_id="lot-1", time=yard.ago(1), count=9),
        LotUse(id="u3", lot_id="lot-2", time=yard.ago(1), count=9),
        LotUse(id="u4", lot_id="lot-1", time=yard.ago(1), count=5, voided=True),
    )
    snapshot = yard.yard(lot_uses=uses)

    assert left(snapshot, "lot-1") == -2
    assert left(snapshot, "lot-1", yard.ago(5)) == 7
    assert left(snapshot, "lot-1", yard.ago(5) - timedelta(seconds=1)) == 10
    assert left(snapshot, "lot-2") == 0
