"""Entries that a tablet kept and sends later: once each, in order, by a clock that is looked at."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.jobs.tablet_kit import BEGIN, IDRIS, PNG, WENNA, batch, furnish, queued, session
from tests.spot.hand_test_kit import FULL, SAYS

from lungwort.errors import InputError, RegisterError, UnknownRecordError
from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import hand_test as job
from lungwort.jobs import photos
from lungwort.jobs._hand_test_clock import Stamp
from lungwort.jobs.hand_test_sync import Batch, Queued, batch_of, take_entries
from lungwort.register import model as r
from lungwort.register.verify import verify
from lungwort.register.workspace import Workspace, create_workspace
from lungwort.spot import runner

NOTHING = timedelta()
MINUTE = timedelta(minutes=1)
LATER = BEGIN + timedelta(hours=1)


@pytest.fixture
def yard(sqlite_workspace: Workspace) -> Workspace:
    """Furnish a workspace."""
    furnish(sqlite_workspace)
    return sqlite_workspace


def begun(yard: Workspace) -> str:
    """Begin a full test."""
    return job.start(session(yard, BEGIN), "hose-1").id


def ending(place: int, time: datetime, doing: str = "finish", reason: str = "") -> Queued:
    """Queue the end of a test."""
    return Queued(id=f"end{place}", place=place, doing=doing, stamp=Stamp(time=time), reason=reason)


def states(synced: Any) -> list[str]:
    """Give what became of each."""
    return [one.state for one in synced.answers]


def test_a_whole_test_that_was_done_without_a_connection(yard: Workspace) -> None:
    """All at once, with the end: on record as if it had been entered directly, times included."""
    run_id = begun(yard)
    listed = queued()
    listed.append(ending(99, listed[-1].stamp.time + MINUTE))
    synced = take_entries(session(yard, LATER), run_id, batch(listed, LATER))
    assert set(states(synced)) == {"taken"}
    assert synced.test is not None
    assert synced.stand is None
    assert tuple(one.text for one in synced.test.readings) == SAYS
    times = [one.time for one in synced.test.answers]
    assert times == [one.stamp.time for one in listed[:-1]]
    assert synced.test.ended == listed[-1].stamp.time
    assert job.doubts_of(synced.test) == ()
    assert synced.test.note == ""
    assert files.ids(yard) == ()
    assert verify(yard).problems == ()


def test_an_answer_that_was_lost_is_given_again(yard: Workspace) -> None:
    """The tablet sends all again after the end: the same answers, and one test on record."""
    run_id = begun(yard)
    listed = [*queued(), ending(99, LATER)]
    first = take_entries(session(yard, LATER), run_id, batch(listed, LATER))
    again = take_entries(session(yard, LATER + MINUTE), run_id, batch(listed, LATER + MINUTE))
    assert again.answers == tuple(attrs.evolve(one, told=()) for one in first.answers)
    assert again.test == first.test
    assert again.done is None
    assert len(yard.register.all(r.HandTest)) == 1
    assert len(yard.register.all(r.LotUse)) == 1


def test_what_comes_after_the_end_is_told_and_not_lost(yard: Workspace) -> None:
    """A second tablet with an entry that the record does not hold is told so."""
    run_id = begun(yard)
    take_entries(session(yard, LATER), run_id, batch([*queued(), ending(99, LATER)], LATER))
    late = take_entries(
        session(yard, LATER + MINUTE),
        run_id,
        batch([attrs.evolve(queued()[3], id="other")], LATER + MINUTE),
    )
    assert states(late) == ["late"]
    assert "recorded before this came, so it is not in it" in late.answers[0].why


def _direct(yard: Workspace, listed: list[Queued]) -> object:
    run = files.load(yard, begun(yard))
    for one in listed:
        run = runner.enter(run, one.name, one.given, one.stamp.time)
    return run.entries


@pytest.fixture(scope="module")
def kept_yard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Furnish a workspace that each example copies."""
    folder = tmp_path_factory.mktemp("kept") / "workspace"
    with create_workspace(folder, name="Merrowgate", person=WENNA, now=BEGIN) as made:
        furnish(made)
        job.start(session(made, BEGIN), "hose-1")
    yield folder
    shutil.rmtree(folder)


@st.composite
def _ways(draw: st.DrawFn) -> tuple[list[list[int]], timedelta, bool]:
    """Cut the entries into requests, some of them sent again, in any order within a request."""
    many = len(FULL) + 1
    cuts = sorted(draw(st.sets(st.integers(1, many - 1), max_size=6)))
    pieces = [list(range(a, b)) for a, b in zip([0, *cuts], [*cuts, many], strict=True)]
    sent: list[list[int]] = []
    for number, piece in enumerate(pieces):
        again = draw(st.lists(st.integers(0, piece[-1]), max_size=6))
        ahead = draw(st.lists(st.integers(piece[-1], many - 1), max_size=2))
        sent.append(draw(st.permutations([*piece, *again, *ahead])))
        if draw(st.booleans()):
            sent.append(sent[draw(st.integers(0, number))])
    sent.append(list(range(many)))
    ahead_s = draw(st.integers(-3000, 3000))
    return sent, timedelta(seconds=ahead_s), draw(st.booleans())


@settings(deadline=None, max_examples=20)
@given(way=_ways())
def test_any_cut_gives_the_same_test(
    kept_yard: Path, way: tuple[list[list[int]], timedelta, bool]
) -> None:
    """Cut, repeated, reordered, by a clock that is off: as if it had been entered directly.

    The sixth entry is refused and given again, as happens with a pressure that is too high.
    """
    sent, ahead, remembers = way
    listed = queued(ahead=ahead)
    high = attrs.evolve(listed[2], id="high", given="12")
    listed = [
        attrs.evolve(one, place=place) for place, one in enumerate([*listed[:2], high, *listed[2:]])
    ]
    plain = [attrs.evolve(one, stamp=Stamp(time=one.stamp.time - ahead)) for one in listed]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "workspace"
        shutil.copytree(kept_yard, folder)
        from lungwort.register.workspace import open_workspace

        with open_workspace(folder) as yard:
            (run_id,) = files.ids(yard)
            run = files.load(yard, run_id)
            for one in plain:
                run = runner.enter(run, one.name, one.given, one.stamp.time)
            offset = None
            now = LATER
            for piece in sent:
                now += timedelta(seconds=1)
                synced = take_entries(
                    session(yard, now),
                    run_id,
                    batch([listed[one] for one in piece], now, ahead=ahead, offset=offset),
                )
                offset = synced.offset if remembers else None
            found = files.load(yard, run_id)
    assert found.entries == run.entries
    assert found.notes == ()
    assert found.marks == ()
    assert {one.id for one in found.handled} == {one.id for one in listed}
    assert set(states(synced)) == {"taken", "refused"}


def test_refused_and_what_followed_is_kept(yard: Workspace) -> None:
    """A number that can be read in two ways: told, and what came after is not applied."""
    run_id = begun(yard)
    listed = queued(co2="1,500")
    synced = take_entries(session(yard, LATER), run_id, batch(listed, LATER))
    place = [name for name, _, _ in FULL].index("co2")
    assert states(synced) == ["taken"] * place + ["refused"] + ["kept"] * (len(FULL) - place - 1)
    assert "can be read" in synced.answers[place].why
    assert "comes after 'Carbon dioxide'" in synced.answers[place + 1].why
    assert synced.stand is not None
    assert synced.stand.ask is not None
    assert synced.stand.ask.name == "co2"
    again = attrs.evolve(listed[place], id="better", place=90, given="1500")
    rest = [
        attrs.evolve(one, id=f"{one.id}-again", place=91 + number, first=one.stamp.time)
        for number, one in enumerate(listed[place + 1 :])
    ]
    synced = take_entries(session(yard, LATER), run_id, batch([again, *rest], LATER))
    assert set(states(synced)) == {"taken"}
    assert any("confirmed later" in note for note in files.load(yard, run_id).notes)


def test_the_end_waits_for_what_was_not_taken(yard: Workspace) -> None:
    """Nothing is recorded while an entry before it was refused."""
    run_id = begun(yard)
    listed = [*queued(co2="1,500"), ending(99, LATER)]
    synced = take_entries(session(yard, LATER), run_id, batch(listed, LATER))
    assert synced.answers[-1].state == "kept"
    assert "Look at that first" in synced.answers[-1].why
    assert yard.register.all(r.HandTest) == []


def test_a_test_that_is_aborted_without_a_connection(yard: Workspace) -> None:
    """It goes into the record with the reason, and without one it does not."""
    run_id = begun(yard)
    listed = queued("seal")
    without = take_entries(
        session(yard, LATER), run_id, batch([*listed, ending(50, LATER, "abort")], LATER)
    )
    assert without.answers[-1].state == "refused"
    assert "Give a reason" in without.answers[-1].why
    synced = take_entries(
        session(yard, LATER),
        run_id,
        batch([ending(51, LATER, "abort", "the compressor tripped")], LATER),
    )
    assert synced.test is not None
    assert (synced.test.state, synced.test.why) == ("aborted", "the compressor tripped")


def test_recording_that_fails_keeps_the_test_open(
    yard: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The entries are kept, the end is told and may come again."""
    run_id = begun(yard)
    listed = [*queued("seal"), ending(99, LATER, "abort", "rain")]

    def refuses(*_: object) -> object:
        raise RegisterError("The record is held by somebody else.")

    monkeypatch.setattr(job, "recorded", refuses)
    synced = take_entries(session(yard, LATER), run_id, batch(listed, LATER))
    assert synced.answers[-1].state == "kept"
    assert "held by somebody else" in synced.answers[-1].why
    assert synced.test is None
    monkeypatch.undo()
    again = take_entries(session(yard, LATER), run_id, batch(listed, LATER))
    assert again.test is not None
    assert len(again.test.answers) == len(listed) - 1


@pytest.mark.parametrize("ahead", [timedelta(minutes=-50), timedelta(seconds=90), NOTHING])
def test_a_clock_that_is_off_is_corrected(yard: Workspace, ahead: timedelta) -> None:
    """Times in the record are the computer's."""
    run_id = begun(yard)
    listed = queued(ahead=ahead)
    take_entries(session(yard, LATER), run_id, batch(listed, LATER, ahead=ahead))
    run = files.load(yard, run_id)
    assert [one.time for one in run.entries] == [one.stamp.time - ahead for one in listed]
    assert run.marks == ()


def _marked(yard: Workspace, listed: list[Queued], **how: Any) -> tuple[str, r.HandTest]:
    run_id = begun(yard)
    take_entries(session(yard, LATER), run_id, batch(listed, LATER, **how))
    run = files.load(yard, run_id)
    notes = " ".join(run.notes)
    done = job.finish(session(yard, LATER + MINUTE), run_id)
    assert isinstance(done.record, r.HandTest)
    return notes, done.record


def test_a_clock_that_is_far_off_proves_no_wait(yard: Workspace) -> None:
    """Two days ahead: the waits are in doubt on record, and no reading is lost."""
    ahead = timedelta(days=2)
    notes, test = _marked(yard, queued(ahead=ahead), ahead=ahead)
    assert "clock of the device is off by 2 days" in notes
    doubts = job.doubts_of(test)
    assert len(doubts) == 2
    assert all("that it lasted long enough is not proven" in one for one in doubts)
    assert len(test.readings) == len(SAYS)


def test_a_clock_that_went_back_proves_no_wait(yard: Workspace) -> None:
    """Set back by 4 min within the oil sample of 5 min, which then seems cut short or in doubt."""
    listed = queued()
    place = next(
        n for n, one in enumerate(listed) if (one.name, one.given) == ("oil-sample", "end")
    )
    back = [
        one
        if number < place
        else attrs.evolve(
            one, stamp=attrs.evolve(one.stamp, time=one.stamp.time - timedelta(minutes=6))
        )
        for number, one in enumerate(listed)
    ]
    run_id = begun(yard)
    synced = take_entries(
        session(yard, LATER), run_id, batch(back, LATER, ahead=timedelta(minutes=-6))
    )
    run = files.load(yard, run_id)
    assert any("went back while entries were made" in one for one in run.notes)
    assert any(one.name == "oil-sample" for one in run.standing_marks())
    assert synced.doubts


def test_a_clock_that_was_set_forward_within_a_wait_proves_nothing(yard: Workspace) -> None:
    """A sample of 1 min that the clock makes 6 min long: the last contact tells on it."""
    listed = queued("rows")
    short = attrs.evolve(
        listed[-1], stamp=attrs.evolve(listed[-1].stamp, steady_s=listed[-1].stamp.steady_s or 0)
    )
    run_id = begun(yard)
    five = timedelta(minutes=5)
    now = listed[-1].stamp.time - five + timedelta(seconds=60)
    synced = take_entries(
        session(yard, now), run_id, batch([*listed[:-1], short], now, ahead=five, offset=NOTHING)
    )
    assert "was set by 5 min between two contacts" in " ".join(synced.doubts)
    assert [one.name for one in files.load(yard, run_id).standing_marks()] == [
        "purging",
        "oil-sample",
    ]


def test_sleep_before_the_first_contact_is_not_told_from_a_set_clock(yard: Workspace) -> None:
    """The steady clock stood still for 4 of 5 min, and nothing tells why."""
    listed = queued("rows")
    stamp = attrs.evolve(listed[-1].stamp, steady_s=(listed[-2].stamp.steady_s or 0) + 60)
    run_id = begun(yard)
    slept = [*listed[:-1], attrs.evolve(listed[-1], stamp=stamp)]
    synced = take_entries(session(yard, LATER), run_id, batch(slept, LATER))
    assert "slept or its clock was set" in " ".join(synced.doubts)


def test_sleep_between_two_contacts_that_agree_is_sleep(yard: Workspace) -> None:
    """The clock is the same before and after, so the wait is as long as it says."""
    listed = queued("rows")
    stamp = attrs.evolve(listed[-1].stamp, steady_s=(listed[-2].stamp.steady_s or 0) + 60)
    run_id = begun(yard)
    slept = [*listed[:-1], attrs.evolve(listed[-1], stamp=stamp)]
    synced = take_entries(session(yard, LATER), run_id, batch(slept, LATER, offset=NOTHING))
    assert synced.doubts == ()
    assert files.load(yard, run_id).marks == ()


def test_no_time_lies_ahead_or_before_the_one_before(yard: Workspace) -> None:
    """Entries of the future are put at now, those of the past at the entry before."""
    run_id = begun(yard)
    listed = queued("line-pressure")
    ahead = [attrs.evolve(listed[0], stamp=Stamp(time=LATER + MINUTE)), listed[1]]
    take_entries(session(yard, LATER), run_id, batch(ahead, LATER))
    assert [one.time for one in files.load(yard, run_id).entries] == [LATER, LATER]


def test_two_tablets_the_first_one_counts_and_the_other_is_told(yard: Workspace) -> None:
    """Something else on the second: told there, in doubt on record until it is amended."""
    run_id = begun(yard)
    take_entries(session(yard, LATER), run_id, batch(queued("liquid-water"), LATER))
    second = [
        one
        for one in queued("liquid-water", prefix="b", co="30", co2="430")
        if one.name in {"co", "co2"}
    ]
    synced = take_entries(session(yard, LATER), run_id, batch(second, LATER))
    assert states(synced) == ["differs", "taken"]
    assert "'< 1 ppm' was entered on another device before" in synced.answers[0].why
    assert "same was entered on another device" in synced.answers[1].why
    run = files.load(yard, run_id)
    assert any("'30 ppm' from another one" in one for one in run.notes)
    (mark,) = run.standing_marks()
    assert "nobody has settled which is right" in mark.text
    again = take_entries(session(yard, LATER), run_id, batch(second, LATER))
    assert states(again) == ["differs", "taken"]
    assert files.load(yard, run_id) == run
    job.amend_entry(session(yard, LATER), run_id, "co", "30", "read again: the second was right")
    settled = files.load(yard, run_id)
    assert settled.standing_marks() == ()
    assert settled.given("co") == "30 ppm"


def test_two_that_differ_stay_in_doubt_on_record_and_are_settled_there(yard: Workspace) -> None:
    """The doubt outlives the recording, and an amendment on record takes it away."""
    run_id = begun(yard)
    take_entries(session(yard, LATER), run_id, batch(queued(), LATER))
    other = [one for one in queued(prefix="b", co="30") if one.name == "co"]
    take_entries(session(yard, LATER), run_id, batch(other, LATER))
    done = job.finish(session(yard, LATER), run_id)
    assert isinstance(done.record, r.HandTest)
    assert "nobody has settled which is right" in " ".join(job.doubts_of(done.record))
    at = session(yard, LATER + MINUTE)
    elsewhere = job.amend(at, done.record.id, "co2", "440", "misread")
    assert isinstance(elsewhere.record, r.HandTest)
    assert len(job.doubts_of(elsewhere.record)) == 1
    settled = job.amend(at, done.record.id, "co", "30", "read again")
    assert isinstance(settled.record, r.HandTest)
    assert job.doubts_of(settled.record) == ()
    assert verify(yard).problems == ()


def test_a_doubt_about_the_clock_outlives_every_amendment(yard: Workspace) -> None:
    """Nothing that is entered later makes a wait proven."""
    ahead = timedelta(days=2)
    _, test = _marked(yard, queued(ahead=ahead), ahead=ahead)
    done = job.amend(session(yard, LATER + MINUTE), test.id, "co", "2", "misread")
    assert isinstance(done.record, r.HandTest)
    assert len(job.doubts_of(done.record)) == 2
    assert "off by 2 days" in done.record.note


def test_a_wait_that_another_device_began_counts_from_there(yard: Workspace) -> None:
    """The second beginning is told, and an end is only taken for the first."""
    run_id = begun(yard)
    listed = queued("rows")
    take_entries(session(yard, LATER), run_id, batch(listed[:-1], LATER))
    second = attrs.evolve(listed[-2], id="b", stamp=Stamp(time=LATER))
    synced = take_entries(session(yard, LATER), run_id, batch([second], LATER))
    assert states(synced) == ["differs"]
    assert "begun on another device before" in synced.answers[0].why
    assert files.load(yard, run_id).wait("oil-sample")[0] == listed[-2].stamp.time


def test_an_amendment_of_what_was_amended_elsewhere_is_told(yard: Workspace) -> None:
    """It names what it takes the place of, and that is no longer there."""
    run_id = begun(yard)
    take_entries(session(yard, LATER), run_id, batch(queued("liquid-water"), LATER))
    amends = [
        Queued(
            id=f"amend{place}",
            place=60 + place,
            doing="amend",
            stamp=Stamp(time=LATER),
            name="co2",
            given=given,
            reason="misread",
            instead_of="430",
        )
        for place, given in enumerate(("440", "450"))
    ]
    synced = take_entries(session(yard, LATER), run_id, batch(amends, LATER))
    assert states(synced) == ["taken", "differs"]
    assert "is '440 ppm' now, not '430'" in synced.answers[1].why
    early = attrs.evolve(amends[0], id="early", name="odour")
    assert states(take_entries(session(yard, LATER), run_id, batch([early], LATER))) == ["kept"]


def test_the_terminal_goes_on_with_what_a_tablet_began(yard: Workspace) -> None:
    """The same file: entries of both, and the tablet is told of the terminal's."""
    run_id = begun(yard)
    listed = queued()
    take_entries(session(yard, LATER), run_id, batch(listed[:5], LATER))
    job.enter(session(yard, LATER), run_id, listed[5].name, listed[5].given)
    synced = take_entries(session(yard, LATER), run_id, batch([listed[5]], LATER))
    assert states(synced) == ["differs"]
    job.abort(session(yard, LATER), run_id, "rain")
    ended = take_entries(session(yard, LATER), run_id, batch(listed[:3], LATER))
    assert ended.test is not None
    assert states(ended) == ["taken"] * 3


def test_a_test_that_never_was_is_told(yard: Workspace) -> None:
    """Nothing is made up for an address that is wrong."""
    with pytest.raises(UnknownRecordError, match="What was entered on the device is kept there"):
        take_entries(session(yard, LATER), "open-k3m5q2wd", Batch(sent=LATER))
    with pytest.raises(UnknownRecordError, match="no name of a test under way"):
        take_entries(session(yard, LATER), "../x", Batch(sent=LATER))


GOOD = {"id": "a", "place": 0, "doing": "enter", "time": "2026-03-02T10:00:00Z", "name": "seal"}


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        ([], "must be a JSON object; found list"),
        ({"entries": []}, "'sent' is None, which is no moment"),
        ({"sent": "2026-03-02T10:00:00"}, "no moment with a time zone"),
        ({"sent": "2026-03-02T10:00:00Z", "entries": [GOOD] * 501}, "at most 500 entries"),
        ({"sent": "2026-03-02T10:00:00Z", "entries": ["x"]}, "found str"),
        (
            {"sent": "2026-03-02T10:00:00Z", "entries": [{**GOOD, "doing": "void"}]},
            "'void' is nothing",
        ),
        ({"sent": "2026-03-02T10:00:00Z", "entries": [{**GOOD, "id": " "}]}, "has no id"),
        ({"sent": "2026-03-02T10:00:00Z", "entries": [{**GOOD, "place": True}]}, "a whole number"),
        ({"sent": "2026-03-02T10:00:00Z", "entries": [{**GOOD, "given": "\0"}]}, "cannot be kept"),
        (
            {"sent": "2026-03-02T10:00:00Z", "entries": [{**GOOD, "given": "x" * 4001}]},
            "at most 4000",
        ),
        (
            {"sent": "2026-03-02T10:00:00Z", "entries": [{**GOOD, "steady_s": 1e300}]},
            "number of seconds",
        ),
        ({"sent": "2026-03-02T10:00:00Z", "offset_s": float("nan")}, "number of seconds"),
        ({"sent": "9999-12-31T23:59:59-10:00"}, "no moment with a time zone"),
    ],
)
def test_what_is_no_batch_is_refused_whole(plain: object, said: str) -> None:
    """Hostile or broken input is told, and never half taken."""
    with pytest.raises(InputError, match=said):
        batch_of(plain)


def test_a_batch_is_read() -> None:
    """What a tablet sends, as JSON."""
    found = batch_of({"sent": "2026-03-02T11:00:00+01:00", "offset_s": 1.5, "entries": [GOOD]})
    assert found.sent == datetime(2026, 3, 2, 10, tzinfo=UTC)
    assert found.offset == timedelta(seconds=1.5)
    assert found.queued[0].name == "seal"


def test_photos_go_into_the_record_with_the_test(yard: Workspace) -> None:
    """Digest, name, kind, time and step are on record, and its file is checked."""
    run_id = begun(yard)
    take_entries(session(yard, LATER), run_id, batch(queued("seal"), LATER))
    photos.attach(session(yard, LATER), run_id, "indicator", "seal.png", PNG, taken=BEGIN + MINUTE)
    photos.attach(session(yard, LATER), run_id, "indicator", "again.png", PNG)
    synced = take_entries(
        session(yard, LATER), run_id, batch([ending(99, LATER, "abort", "rain")], LATER)
    )
    assert synced.test is not None
    (photo,) = yard.register.all(r.Photo, hand_test_id=synced.test.id)
    assert (photo.step, photo.name, photo.media_type) == ("indicator", "seal.png", "image/png")
    assert photo.time == BEGIN + MINUTE
    assert photo.by_id == yard.register.get(r.Person, IDRIS).id
    assert verify(yard).problems == ()
    (yard.folder / "files" / photo.photo_sha256).write_bytes(PNG[:-1] + b"x")
    (problem,) = verify(yard).problems
    assert "photo_sha256" in str(problem)
