"""The register: what goes in comes out, nothing is edited, and what does not fit is refused."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import insert
from tests.register.invented import NOON, check_whole, one_of_each

from lungwort.errors import RegisterError, StaleRecordError, UnknownRecordError
from lungwort.register import merkle, model, stored_tree
from lungwort.register.checking import is_id
from lungwort.register.journal import check_entry
from lungwort.register.queries import JOURNAL
from lungwort.register.records import Change
from lungwort.register.workspace import Workspace

WENNA = "Wenna Harkle"
HOUR = timedelta(hours=1)
DAMAGED: list[dict[int, list[str]]] = [{}, {1: []}, {1: ["xy"]}]


@pytest.fixture
def now(start_time: datetime) -> datetime:
    """Give the time of the changes made here."""
    return start_time + HOUR


def _yard(workspace: Workspace, now: datetime) -> tuple[model.Site, model.Supply, model.Outlet]:
    with workspace.register.change(who=WENNA, now=now) as change:
        site = change.add(model.Site(name="Yard"))
        supply = change.add(model.Supply(site_id=site.id, name="hall"))
        outlet = change.add(model.Outlet(supply_id=supply.id, name="hall-1"))
    return site, supply, outlet


def test_one_of_each_kind_comes_back(workspace: Workspace, now: datetime) -> None:
    """Every kind, with every field filled in, on both databases."""
    with workspace.register.change(who=WENNA, now=now) as change:
        made = one_of_each(change)

    for name, kind in model.KINDS.items():
        assert workspace.register.all(kind) == [made[name]], name
        assert workspace.register.get(kind, made[name].id) == made[name]
        assert is_id(made[name].id)
        assert made[name].id.startswith(name.replace("_", "-") + "-")
    assert check_whole(workspace) == len(model.KINDS)


def test_the_journal_says_who_when_and_what(workspace: Workspace, now: datetime) -> None:
    """Entries name the person, the time given and the action; each fits the one before."""
    site, _, _ = _yard(workspace, now)
    with workspace.register.change(who="wenna HARKLE", now=now + HOUR) as change:
        newer = change.replace(site, attrs.evolve(site, title="The yard"), "  It had no title. ")

    entries = list(workspace.register.entries())

    assert [(one.seq, one.who, one.action, one.kind, one.version) for one in entries] == [
        (1, WENNA, "add", "person", 1),
        (2, WENNA, "add", "site", 1),
        (3, WENNA, "add", "supply", 1),
        (4, WENNA, "add", "outlet", 1),
        (5, WENNA, "replace", "site", 2),
    ]
    assert [one.time - now for one in entries] == [-HOUR, *[timedelta()] * 3, HOUR]
    for before, entry in zip([None, *entries], entries, strict=False):
        assert check_entry(entry, before) == []
    assert newer.reason == "It had no title."
    assert workspace.register.entry(5) == entries[4]
    assert list(workspace.register.entries(2, 3)) == entries[1:3]


def test_a_correction_is_a_new_version(workspace: Workspace, now: datetime) -> None:
    """The old version stays, the new one is in force and carries the reason."""
    _, supply, outlet = _yard(workspace, now)

    with workspace.register.change(who=WENNA, now=now) as change:
        newer = change.replace(supply, attrs.evolve(supply, name="Hall 1"), "Renamed.")
        assert change.get(model.Supply, "hall 1") == newer

    register = workspace.register
    assert (newer.id, newer.version, newer.reason) == (supply.id, 2, "Renamed.")
    assert register.history(model.Supply, supply.id) == [supply, newer]
    assert register.version(model.Supply, supply.id, 1) == supply
    assert register.all(model.Supply) == [newer]
    assert register.find(model.Supply, "hall") is None
    assert register.get(model.Supply, "HALL 1") == newer
    assert register.all(model.Outlet, supply_id=supply.id) == [outlet]
    assert check_whole(workspace) == 5


def test_what_was_recorded_by_mistake_counts_no_more(workspace: Workspace, now: datetime) -> None:
    """A voided thing stays in the record, is out of all lists, and its name is free again."""
    _, _, outlet = _yard(workspace, now)

    with workspace.register.change(who=WENNA, now=now) as change:
        voided = change.void(outlet, "No such outlet.")
        again = change.add(model.Outlet(supply_id=outlet.supply_id, name="HALL-1"))

    register = workspace.register
    assert (voided.voided, voided.version) == (True, 2)
    assert register.all(model.Outlet) == [again]
    assert register.history(model.Outlet, outlet.id) == [outlet, voided]
    assert register.find(model.Outlet, outlet.id) is None
    with pytest.raises(UnknownRecordError, match=r"outlet-\w+ was voided: No such outlet\."):
        register.get(model.Outlet, outlet.id)
    with (
        pytest.raises(StaleRecordError, match=r"was voided \(No such outlet\.\)"),
        register.change(who=WENNA, now=now) as change,
    ):
        change.void(voided, "Twice.")
    assert check_whole(workspace) == 6


def test_what_rests_on_a_mistake_is_voided_first(workspace: Workspace, now: datetime) -> None:
    """A hand test cannot be taken back under a verdict, nor a verdict under its certificate."""
    with workspace.register.change(who=WENNA, now=now) as change:
        made = one_of_each(change)

    with workspace.register.change(who=WENNA, now=now) as change:
        for kind in ("hand_test", "log_import", "verdict", "finding", "supply", "person"):
            with pytest.raises(RegisterError, match=r"cannot be voided while the .* names it"):
                change.void(made[kind], "A mistake.")
        for kind in (
            "supply_state",
            "action",
            "finding",
            "approval",
            "certificate",
            "verdict",
            "photo",
            "hand_test",
        ):
            change.void(made[kind], "A mistake.")

    # The lot stays used although the test counts no more.
    assert workspace.register.all(model.LotUse) == [made["lot_use"]]
    check_whole(workspace)


def test_an_instrument_that_only_a_reading_names_is_not_voided(
    sqlite_workspace: Workspace, now: datetime
) -> None:
    """References in parts of records count as well."""
    with sqlite_workspace.register.change(who=WENNA, now=now) as change:
        made = one_of_each(change)
        change.void(made["calibration"], "Of another one.")
        for kind in (
            "supply_state",
            "action",
            "finding",
            "approval",
            "certificate",
            "verdict",
            "log_import",
        ):
            change.void(made[kind], "A mistake.")
        with pytest.raises(
            RegisterError, match="'four gases' cannot be voided while the hand test"
        ):
            change.void(made["instrument"], "A mistake.")


def test_everything_or_nothing(workspace: Workspace, now: datetime) -> None:
    """An error in the block takes back all of it, whatever the error is."""
    _yard(workspace, now)
    head = workspace.register.head()
    kept = (workspace.folder / "heads.txt").read_bytes()

    def break_off() -> None:
        with workspace.register.change(who=WENNA, now=now) as change:
            changes.append(change)
            change.add(model.Site(name="Quay"))
            assert change.head().size == head.size + 1
            raise ZeroDivisionError

    changes: list[Change] = []
    with pytest.raises(ZeroDivisionError):
        break_off()

    assert workspace.register.head() == head
    assert workspace.register.find(model.Site, "Quay") is None
    assert (workspace.folder / "heads.txt").read_bytes() == kept
    with pytest.raises(RegisterError, match="was closed"):
        changes[0].add(model.Site(name="Quay"))


def test_a_change_sees_itself_and_others_do_not(workspace: Workspace, now: datetime) -> None:
    """Until it is committed a change is its own."""
    _yard(workspace, now)

    with workspace.register.change(who=WENNA, now=now) as change:
        quay = change.add(model.Site(name="Quay"))
        assert change.get(model.Site, "quay") == quay
        assert len(change.all(model.Site)) == 2
        assert workspace.register.find(model.Site, "quay") is None
        inside = change.head()

    assert workspace.register.get(model.Site, "quay") == quay
    assert workspace.register.head() == inside


def test_reading_at_one_time(workspace: Workspace, now: datetime) -> None:
    """Several questions are answered as of the same moment."""
    _yard(workspace, now)

    with workspace.register.at_one_time() as reader:
        before = reader.head()
        with workspace.register.change(who=WENNA, now=now) as change:
            change.add(model.Site(name="Quay"))
        assert reader.find(model.Site, "quay") is None
        assert reader.head() == before

    assert workspace.register.find(model.Site, "quay") is not None


def test_a_change_within_a_change_is_refused(sqlite_workspace: Workspace, now: datetime) -> None:
    """It would wait for itself."""
    register = sqlite_workspace.register
    with (
        register.change(who=WENNA, now=now),
        pytest.raises(RegisterError, match="A change is being made already"),
        register.change(who=WENNA, now=now),
    ):
        pass
    with register.change(who=WENNA, now=now) as change:
        change.add(model.Site(name="Yard"))


def test_an_empty_change_leaves_no_trace(workspace: Workspace, now: datetime) -> None:
    """Nothing made, nothing written."""
    kept = (workspace.folder / "heads.txt").read_bytes()

    with workspace.register.change(who=WENNA, now=now) as change:
        assert change.who.name == WENNA

    assert (workspace.folder / "heads.txt").read_bytes() == kept
    assert workspace.register.head().size == 1


@pytest.mark.parametrize("other", ["hall", "HALL", "Hall"])
def test_names_are_unique_without_regard_to_capitals(
    workspace: Workspace, now: datetime, other: str
) -> None:
    """Commands take names: two of the same would be two supplies for one word."""
    site, supply, _ = _yard(workspace, now)

    with (
        pytest.raises(RegisterError, match=rf"supply with the name 'hall' already \({supply.id}\)"),
        workspace.register.change(who=WENNA, now=now) as change,
    ):
        change.add(model.Supply(site_id=site.id, name=other))
    with workspace.register.change(who=WENNA, now=now) as change:
        # Its own name in other capitals, and the name of another kind, are no clash.
        change.replace(supply, attrs.evolve(supply, name="HALL"), "Capitals.")
        change.add(model.Outlet(supply_id=supply.id, name="hall"))


def test_names_in_other_scripts_and_accents(workspace: Workspace, now: datetime) -> None:
    """Unicode, section 3.13: caseless matching folds ß to ss; é is one letter or two."""
    with workspace.register.change(who=WENNA, now=now) as change:
        strasse = change.add(model.Site(name="Straße"))
        cafe = change.add(model.Site(name="cafe\u0301"))
        with pytest.raises(RegisterError, match="already"):
            change.add(model.Site(name="STRASSE"))
        with pytest.raises(RegisterError, match="already"):
            change.add(model.Site(name="CAF\u00c9"))

    assert workspace.register.get(model.Site, "strasse") == strasse
    assert workspace.register.get(model.Site, "Caf\u00e9") == cafe


def test_stages_are_called_by_their_supply(workspace: Workspace, now: datetime) -> None:
    """Each supply may have a carbon stage; no supply has two."""
    site, supply, _ = _yard(workspace, now)
    with workspace.register.change(who=WENNA, now=now) as change:
        other = change.add(model.Supply(site_id=site.id, name="quay/north"))
        one = change.add(model.Stage(supply_id=supply.id, name="carbon", kind="carbon"))
        two = change.add(model.Stage(supply_id=other.id, name="Carbon", kind="carbon"))
        with pytest.raises(RegisterError, match="stage with the name 'carbon' already"):
            change.add(model.Stage(supply_id=supply.id, name="CARBON"))

    register = workspace.register
    assert register.get(model.Stage, "hall/carbon") == one
    assert register.get(model.Stage, "Quay/North/CARBON") == two
    assert register.get(model.Stage, one.id) == one
    with pytest.raises(UnknownRecordError, match="Did you mean hall/carbon"):
        register.get(model.Stage, "hall/carbn")
    with pytest.raises(UnknownRecordError, match="no stage 'carbon' on record"):
        register.get(model.Stage, "carbon")


def test_what_is_not_there_is_named_with_what_comes_near(
    workspace: Workspace, now: datetime
) -> None:
    """The message lists what is on record."""
    register = workspace.register
    with pytest.raises(UnknownRecordError, match="There is no site at all yet"):
        register.get(model.Site, "yard")
    _, supply, _ = _yard(workspace, now)

    with pytest.raises(
        UnknownRecordError,
        match=r"no site 'yrad' on record\. Did you mean Yard\? On record: Yard\.",
    ):
        register.get(model.Site, "yrad")
    with pytest.raises(UnknownRecordError, match="is a supply, and a site is needed"):
        register.get(model.Site, supply.id)
    with pytest.raises(UnknownRecordError, match="no site site-aaaaaaaaaaaaaaaa on record"):
        register.get(model.Site, "site-aaaaaaaaaaaaaaaa")
    with pytest.raises(UnknownRecordError, match="called by its id"):
        register.get(model.HandTest, "yesterday")
    with pytest.raises(UnknownRecordError, match="no version 7"):
        register.version(model.Supply, supply.id, 7)
    with pytest.raises(UnknownRecordError, match="no entry 99"):
        register.entry(99)
    with pytest.raises(RegisterError, match="cannot be asked by colour"):
        register.all(model.Site, colour="red")
    with pytest.raises(RegisterError, match="cannot be asked by channels"):
        register.all(model.Instrument, channels=())


def test_all_asks_for_equal_values(workspace: Workspace, now: datetime) -> None:
    """Text, numbers, flags, times and nothing can be asked for."""
    with workspace.register.change(who=WENNA, now=now) as change:
        made = one_of_each(change)
        other = change.add(
            model.RunningHours(
                supply_id=made["supply"].id, time=NOON + HOUR, hours=Decimal("131.0")
            )
        )

    ask = workspace.register.all
    assert ask(model.RunningHours, hours=Decimal("131.0")) == [other]
    assert ask(model.RunningHours, time=NOON) == [made["running_hours"]]
    assert ask(model.Supply, oil_lubricated=True, kind="airline_compressor") == [made["supply"]]
    assert ask(model.Supply, oil_lubricated=None) == []
    assert ask(model.Lot, lot_number="") == [made["lot"]]
    assert ask(model.HandTest, second_person_id=None) == [made["hand_test"]]


@pytest.mark.parametrize("named", ["supply-aaaaaaaaaaaaaaaa", "hall", ""])
def test_a_record_names_only_what_is_there(workspace: Workspace, now: datetime, named: str) -> None:
    """Nothing is recorded for a thing that is not on record; records name things by id."""
    _yard(workspace, now)
    with (
        pytest.raises(
            UnknownRecordError, match=r"supply_id of the outlet cannot be used\. There is"
        ),
        workspace.register.change(who=WENNA, now=now) as change,
    ):
        change.add(model.Outlet(name="x", supply_id=named))
    assert workspace.register.head().size == 4


def test_a_reference_is_of_the_right_kind(workspace: Workspace, now: datetime) -> None:
    """An outlet belongs to a supply, not to a site; also in parts and in lists."""
    site, supply, outlet = _yard(workspace, now)
    register = workspace.register
    person = register.all(model.Person)[0]
    with register.change(who=WENNA, now=now) as change:
        with pytest.raises(UnknownRecordError, match="is a site, and a supply is needed"):
            change.add(model.Outlet(supply_id=site.id, name="x"))
        with pytest.raises(UnknownRecordError, match="is a supply, and an instrument is needed"):
            change.add(
                model.HandTest(
                    outlet_id=outlet.id,
                    procedure="p",
                    procedure_sha256="",
                    state="done",
                    started=now,
                    ended=now,
                    tester_id=person.id,
                    readings=(model.Reading("co=1 ppm", now, supply.id),),
                )
            )
        with pytest.raises(UnknownRecordError, match="is an outlet, and a finding is needed"):
            change.add(
                model.SupplyState(
                    supply_id=supply.id,
                    state="withdrawn",
                    time=now,
                    why="x",
                    finding_ids=(outlet.id,),
                    by_id=person.id,
                )
            )
        with pytest.raises(UnknownRecordError, match="is a supply, and a person is needed"):
            change.add(
                model.Event(supply_id=supply.id, kind="moved", time=now, text="x", by_id=supply.id)
            )
    assert register.head().size == 4


def test_nothing_new_is_recorded_for_what_was_voided(workspace: Workspace, now: datetime) -> None:
    """A voided supply gets no outlet."""
    site, supply, outlet = _yard(workspace, now)
    with workspace.register.change(who=WENNA, now=now) as change:
        change.void(outlet, "A mistake.")
        change.void(supply, "A mistake.")
        with pytest.raises(UnknownRecordError, match=r"was voided: A mistake\."):
            change.add(model.Outlet(supply_id=supply.id, name="x"))
        change.void(site, "A mistake.")


def test_a_stale_writer_is_refused(workspace: Workspace, now: datetime) -> None:
    """Two who start from the same version: the second is told, and nothing is overwritten."""
    _, supply, _ = _yard(workspace, now)
    with workspace.register.change(who=WENNA, now=now) as change:
        change.replace(supply, attrs.evolve(supply, title="First"), "One.")

    attempts: list[Callable[[Change], object]] = [
        lambda change: change.replace(supply, attrs.evolve(supply, title="Second"), "Two."),
        lambda change: change.void(supply, "Two."),
    ]
    for attempt in attempts:
        with (
            pytest.raises(StaleRecordError, match="version 2 is in force, not 1"),
            workspace.register.change(who=WENNA, now=now) as change,
        ):
            attempt(change)
    assert workspace.register.get(model.Supply, "hall").title == "First"
    assert workspace.register.head().size == 5


def test_what_is_replaced_is_what_is_on_record(workspace: Workspace, now: datetime) -> None:
    """The old version that is handed in must be the one on record, letter by letter."""
    site, supply, outlet = _yard(workspace, now)
    with workspace.register.change(who=WENNA, now=now) as change:
        with pytest.raises(StaleRecordError, match="is not as it is on record"):
            change.replace(attrs.evolve(supply, title="?"), supply, "Why not.")
        with pytest.raises(RegisterError, match=r"needs a reason\. Give --reason"):
            change.replace(supply, attrs.evolve(supply, title="x"), "  ")
        with pytest.raises(RegisterError, match=r"needs a reason\. Give --reason"):
            change.void(outlet, "")
        with pytest.raises(RegisterError, match="says the same as the one in force"):
            change.replace(supply, attrs.evolve(supply), "No change.")
        with pytest.raises(RegisterError, match="cannot be replaced by an outlet: it is a supply"):
            change.replace(supply, outlet, "x")
        with pytest.raises(RegisterError, match="cannot be replaced by a record of"):
            change.replace(supply, attrs.evolve(supply, id=site.id), "x")
        with pytest.raises(RegisterError, match="is on record already"):
            change.add(supply)
        with pytest.raises(RegisterError, match="A new site has no reason and is not voided"):
            change.add(model.Site(name="Quay", reason="Because."))
        with pytest.raises(RegisterError, match="A new site has no reason and is not voided"):
            change.add(model.Site(name="Quay", voided=True))
        with pytest.raises(UnknownRecordError, match="no supply 'supply-aaaaaaaaaaaaaaaa'"):
            change.void(attrs.evolve(supply, id="supply-aaaaaaaaaaaaaaaa"), "x")
    assert workspace.register.head().size == 4


def test_who_makes_a_change_is_on_record(workspace: Workspace, now: datetime) -> None:
    """Nobody else, and nobody who has left."""
    register = workspace.register
    with register.change(who=WENNA, now=now) as change:
        idris = change.add(model.Person(name="Idris Pellow"))
    with register.change(who="idris pellow", now=now) as change:
        change.replace(idris, attrs.evolve(idris, in_use=False), "Left the yard.")

    with (
        pytest.raises(
            UnknownRecordError, match=r"no person 'Wena Harkle'.*Did you mean Wenna Harkle"
        ),
        register.change(who="Wena Harkle", now=now),
    ):
        pass
    with (
        pytest.raises(RegisterError, match="Idris Pellow is no longer in use"),
        register.change(who="Idris Pellow", now=now),
    ):
        pass
    wenna = register.get(model.Person, WENNA)
    with register.change(who=WENNA, now=now) as change:
        with pytest.raises(RegisterError, match="the only person who can make changes"):
            change.replace(wenna, attrs.evolve(wenna, in_use=False), "Leaves.")
        with pytest.raises(RegisterError, match="the only person who can make changes"):
            change.void(wenna, "Leaves.")


def test_a_clock_behind_the_record_is_not_believed(workspace: Workspace, now: datetime) -> None:
    """A computer whose clock was reset would put today's test before last year's."""
    register = workspace.register
    _yard(workspace, now)

    with (
        pytest.raises(
            RegisterError,
            match=r"clock says 2026-03-02 08:54 UTC.*made at 2026-03-02 09:00 UTC.*--clock-is-right",
        ),
        register.change(who=WENNA, now=now - timedelta(minutes=6)),
    ):
        pass
    with register.change(who=WENNA, now=now - timedelta(minutes=5)) as change:
        change.add(model.Site(name="Quay"))
    with register.change(who=WENNA, now=now - HOUR * 24, clock_is_right=True) as change:
        change.add(model.Site(name="Dock"))
    with (
        pytest.raises(RegisterError, match="has no time zone"),
        register.change(who=WENNA, now=now.replace(tzinfo=None)),
    ):
        pass
    # The order is that of the numbers, whatever the clocks said.
    assert [one.time - now for one in register.entries(5)] == [
        timedelta(minutes=-5),
        timedelta(hours=-24),
    ]
    assert check_whole(workspace) == 6


def test_proofs_are_those_of_rfc_6962(workspace: Workspace, now: datetime) -> None:
    """Heads and proofs from kept hashes are those worked out anew from the entries."""
    register = workspace.register
    _, supply, _ = _yard(workspace, now)
    with register.change(who=WENNA, now=now) as change:
        for hours in range(18):
            change.add(model.RunningHours(supply_id=supply.id, time=now, hours=Decimal(hours)))
    leaves = [merkle.leaf_hash(one.content.encode()) for one in register.entries()]
    tree = merkle.Tree(leaves)

    for size in range(len(leaves) + 1):
        root = register.head(size).root
        assert root == merkle.tree_root(leaves[:size]).hex()
        for seq in range(1, size + 1):
            path = [bytes.fromhex(one) for one in register.inclusion(seq, size)]
            assert path == tree.inclusion(seq - 1, size)
            assert merkle.root_from_inclusion(leaves[seq - 1], seq - 1, size, path).hex() == root
        for old in range(size + 1) if size % 5 == 0 else (1, size):
            if old <= size:
                proof = [bytes.fromhex(one) for one in register.consistency(old, size)]
                assert proof == tree.consistency(old, size)
    for asked in (lambda: register.head(99), lambda: register.inclusion(1, 99)):
        with pytest.raises(RegisterError, match="A tree of 99 entries was asked for"):
            asked()
    with pytest.raises(RegisterError, match="There is no entry 9 among the first 8"):
        register.inclusion(9, 8)
    with pytest.raises(RegisterError, match="cannot go on from one of 9"):
        register.consistency(9, 8)


@given(st.integers(1, 300), st.data())
@settings(deadline=None, max_examples=60)
def test_kept_hashes_make_the_tree(size: int, data: st.DataObject) -> None:
    """For any size: what is kept with each entry suffices for its head and proofs."""
    leaves = [merkle.leaf_hash(b"%d" % number) for number in range(size)]
    kept: dict[int, list[str]] = {}

    def fetch(seqs: Any, /) -> dict[int, list[str]]:
        return {one: kept[one] for one in seqs}

    for seq, leaf in enumerate(leaves, 1):
        kept[seq] = stored_tree.closed_subtrees(seq, leaf, fetch)
    small = data.draw(st.integers(0, size))
    index = data.draw(st.integers(0, size - 1))

    assert stored_tree.root(size, fetch) == merkle.tree_root(leaves)
    assert stored_tree.root(small, fetch) == merkle.tree_root(leaves[:small])
    assert stored_tree.inclusion(index, size, fetch) == merkle.inclusion_path(leaves, index, size)
    assert stored_tree.consistency(small, size, fetch) == merkle.consistency_path(
        leaves, small, size
    )


def test_damaged_hashes_are_named() -> None:
    """A missing or unreadable hash is said, not taken for a zero."""
    for damaged in DAMAGED:
        with pytest.raises(RegisterError, match="Entry 1 of the journal is missing or its hashes"):
            stored_tree.root(1, lambda _, kept=damaged: kept)


@settings(
    deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_run_of_changes_leaves_a_whole_record(
    sqlite_workspace: Workspace, start_time: datetime, data: st.DataObject
) -> None:
    """Adding, replacing, voiding and breaking off in any order: journal and rows agree."""
    register = sqlite_workspace.register
    before = register.all(model.Site)
    kept: list[model.Site] = []
    for _ in range(data.draw(st.integers(1, 3))):
        shadow = list(kept)
        breaks = data.draw(st.booleans())
        try:
            with register.change(who=WENNA, now=start_time) as change:
                for _ in range(data.draw(st.integers(1, 4))):
                    _step(change, shadow, data)
                if breaks:
                    raise KeyboardInterrupt  # noqa: TRY301 - what the user does
        except KeyboardInterrupt:
            continue
        kept = shadow
    found = {one.id: one for one in register.all(model.Site)}
    assert found == {one.id: one for one in [*before, *kept]}
    check_whole(sqlite_workspace)


def _step(change: Change, shadow: list[model.Site], data: st.DataObject) -> None:
    doing = data.draw(st.sampled_from(["add", "replace", "void"]))
    if doing == "add" or not shadow:
        shadow.append(change.add(model.Site(name=f"site {change.size}")))
        return
    place = data.draw(st.integers(0, len(shadow) - 1))
    old = shadow[place]
    if doing == "void":
        change.void(old, "Why not.")
        del shadow[place]
    else:
        shadow[place] = change.replace(
            old, attrs.evolve(old, title=f"{old.title}{change.size}."), "Why not."
        )


def test_a_long_journal_is_not_hashed_again(
    sqlite_workspace: Workspace, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One more record after some thousand entries takes a handful of hashes."""
    _, supply, _ = _yard(sqlite_workspace, now)
    _lengthen(sqlite_workspace, 4_000)
    hashed = []

    def counted(left: bytes, right: bytes) -> bytes:
        hashed.append(1)
        return merkle.node_hash(left, right)

    monkeypatch.setattr(stored_tree, "node_hash", counted)
    for _ in range(4):
        hashed.clear()
        with sqlite_workspace.register.change(who=WENNA, now=now) as change:
            change.add(model.RunningHours(supply_id=supply.id, time=now, hours=Decimal(1)))
        # A tree of 4,004 entries is 12 levels high; a root is worked out twice, a leaf is added.
        assert len(hashed) <= 3 * 12


@pytest.mark.slow
def test_a_very_long_journal_takes_no_longer(sqlite_workspace: Workspace, now: datetime) -> None:
    """One more record after 100,000 entries takes about as long as after 10."""
    _, supply, _ = _yard(sqlite_workspace, now)
    register = sqlite_workspace.register

    def add() -> float:
        began = time.perf_counter()
        with register.change(who=WENNA, now=now) as change:
            change.add(model.RunningHours(supply_id=supply.id, time=now, hours=Decimal(1)))
        return time.perf_counter() - began

    short = sorted(add() for _ in range(9))[4]
    _lengthen(sqlite_workspace, 100_000)
    long = sorted(add() for _ in range(9))[4]

    # Rehashing alone would take some 0.2 s; the margin is for a busy machine.
    assert long < 10 * short + 0.05
    assert register.head().size > 100_000


def test_entries_are_read_in_batches(sqlite_workspace: Workspace, now: datetime) -> None:
    """Each once and in order, over the seams of the batches."""
    _yard(sqlite_workspace, now)
    _lengthen(sqlite_workspace, 2_001)
    register = sqlite_workspace.register

    assert [one.seq for one in register.entries()] == list(range(1, 2_002))
    assert [one.seq for one in register.entries(999, 2_000)] == list(range(999, 2_001))
    assert list(register.entries(5, 4)) == []
    newest = register.newest()
    assert newest is not None
    assert newest.seq == 2_001


def test_many_names_are_counted_not_listed(sqlite_workspace: Workspace, now: datetime) -> None:
    """A message stays readable."""
    with sqlite_workspace.register.change(who=WENNA, now=now) as change:
        for number in range(13):
            change.add(model.Site(name=f"yard {number}"))
    with pytest.raises(UnknownRecordError, match=r"no site 'quay' on record\. There are 13 on rec"):
        sqlite_workspace.register.get(model.Site, "quay")
    assert sqlite_workspace.register.history(model.Site, "site-aaaaaaaaaaaaaaaa") == []
    assert sqlite_workspace.register.find(model.Stage, "quay/carbon") is None


def test_a_record_is_begun_once(sqlite_workspace: Workspace, now: datetime) -> None:
    """By the person who answers for it, and only while it is empty."""
    with (
        pytest.raises(RegisterError, match="is not empty, so it cannot be begun"),
        sqlite_workspace.register.found(model.Person(name="Idris Pellow"), now=now),
    ):
        pass
    with pytest.raises(RegisterError, match="Record is no kind of record"):
        sqlite_workspace.register.all(model.Record)


def _lengthen(workspace: Workspace, size: int) -> None:
    # Journal entries alone, so that it is quick; the tree over them is right.
    register = workspace.register
    kept: dict[int, list[str]] = {}
    last = list(register.entries())[-1]
    with workspace.engine.connect() as connection:
        for row in connection.execute(JOURNAL.select()).mappings():
            kept[row["seq"]] = row["subtrees"]
    rows = []
    for seq in range(last.seq + 1, size + 1):
        kept[seq] = stored_tree.closed_subtrees(
            seq, merkle.leaf_hash(b"%d" % seq), lambda seqs: {one: kept[one] for one in seqs}
        )
        rows.append(
            {
                **attrs.asdict(last),
                "seq": seq,
                "version": seq,
                "content": str(seq),
                "subtrees": kept[seq],
            }
        )
    with workspace.engine.connect() as connection, connection.begin():
        connection.execute(insert(JOURNAL), rows)
