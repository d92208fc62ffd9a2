"""What was entered on a device, perhaps without a connection, goes into the test under way.

A device keeps each entry with a name of its own and sends it until this computer has answered.
Here an entry counts once, however often it comes. What comes out of order or no longer fits is not
applied: the device keeps it and shows it to whoever tests.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

import attrs
from attrs import frozen

from lungwort.errors import InputError, LungwortError, SpotError, UnknownRecordError
from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import _hand_test_record as records
from lungwort.jobs import hand_test as job
from lungwort.jobs._hand_test_clock import Clocked, Stamp, look_at_clock
from lungwort.jobs._hand_test_stand import Stand, stand_of
from lungwort.jobs.opening import opened
from lungwort.register.model import HandTest
from lungwort.spot import procedure_model as m
from lungwort.spot import runner
from lungwort.spot.answers import understood
from lungwort.spot.run_model import CLOCK_DOUBT, DEVICE_NOTE, DEVICES_DIFFER, REFUSED, Handled, Mark

if TYPE_CHECKING:
    from lungwort.jobs.catalogue.shape import Done, Session
    from lungwort.register.workspace import Workspace
    from lungwort.spot.run_model import Run

ENTER: Final = "enter"
AMEND: Final = "amend"
FINISH: Final = "finish"
ABORT: Final = "abort"
DOINGS: Final = (ENTER, AMEND, FINISH, ABORT)

TAKEN: Final = "taken"
NOT_ACCEPTED: Final = "refused"
DIFFERS: Final = "differs"
KEPT: Final = "kept"
LATE: Final = "late"
"""``taken``: it counts. ``refused``: it is not accepted. ``differs``: another device was first with
something else. ``kept``: it does not fit yet, nothing was done, and it may come again. ``late``: the
test was on record before it came."""

MOST_ENTRIES: Final = 500
_LONGEST: Final = 4000
_LONGEST_ID: Final = 64


@frozen(kw_only=True)
class Queued:
    """One thing that was done on a device.

    Parameters
    ----------
    id : str
        As the device named it; no other thing has the name.
    place : int
        Its place among all that was done on the device [1].
    doing : str
        One of `DOINGS`.
    stamp : Stamp
        When.
    name, given : str
        Which entry, and what was entered or should have been.
    reason : str
        Why it is amended or the test aborted.
    instead_of : str, optional
        What an amendment takes the place of, as the device had seen it.
    first : datetime, optional
        When it was entered first, by the device's clock, where it was confirmed later.
    """

    id: str
    place: int
    doing: str
    stamp: Stamp
    name: str = ""
    given: str = ""
    reason: str = ""
    instead_of: str | None = None
    first: datetime | None = None


@frozen(kw_only=True)
class Batch:
    """What a device sends at once.

    Parameters
    ----------
    sent : datetime
        What the device's clock showed then.
    queued : tuple of Queued
        What was done, in any order.
    offset : timedelta, optional
        How far the device's clock is ahead, as it was told at the last contact.
    """

    sent: datetime
    queued: tuple[Queued, ...] = ()
    offset: timedelta | None = None


@frozen(kw_only=True)
class Answered:
    """What became of one thing that was done on a device.

    Parameters
    ----------
    id : str
        As the device named it.
    state : str
        ``taken``, ``refused``, ``differs``, ``kept`` or ``late``.
    why : str
        Why it was not taken.
    told : tuple of str
        What is to be minded about it.
    """

    id: str
    state: str
    why: str = ""
    told: tuple[str, ...] = ()


@frozen(kw_only=True)
class Synced:
    """What a device is answered.

    Parameters
    ----------
    answers : tuple of Answered
        One for each thing that was sent.
    offset : timedelta
        How far the device's clock is ahead.
    stand : Stand, optional
        Where the test stands; None where it is on record.
    test : HandTest, optional
        The test on record; None where it is under way.
    done : Done, optional
        What recording it said, where that happened now.
    doubts : tuple of str
        What the device's clock is not worth.
    """

    answers: tuple[Answered, ...]
    offset: timedelta
    stand: Stand | None = None
    test: HandTest | None = None
    done: Done | None = None
    doubts: tuple[str, ...] = ()


def batch_of(plain: Any) -> Batch:  # noqa: ANN401 - JSON, of which anything can be sent
    """Read what a device sends.

    Parameters
    ----------
    plain : object
        JSON values.

    Returns
    -------
    Batch
        The batch.

    Raises
    ------
    InputError
        Where it is none; nothing of it is taken then.
    """
    top = _object(plain, "The batch")
    listed = top.get("entries", [])
    if not isinstance(listed, list) or len(listed) > MOST_ENTRIES:
        raise InputError(
            f"The batch must hold a list of at most {MOST_ENTRIES} entries. Send fewer at once."
        )
    queued = tuple(_queued(one) for one in listed)
    offset = top.get("offset_s")
    return Batch(
        sent=_moment(top.get("sent"), "sent"),
        queued=queued,
        offset=None if offset is None else timedelta(seconds=_number(offset, "offset_s")),
    )


def _queued(plain: Any) -> Queued:  # noqa: ANN401 - JSON
    one = _object(plain, "An entry")
    doing = _text(one, "doing")
    if doing not in DOINGS:
        raise InputError(
            f"{doing!r} is nothing that is done in a test. Known: {', '.join(DOINGS)}."
        )
    name = _text(one, "id", longest=_LONGEST_ID)
    if not name.strip() or not name.isprintable():
        raise InputError("An entry has no id. Each needs one, so that it counts once.")
    place = one.get("place")
    if not isinstance(place, int) or isinstance(place, bool) or place < 0:
        raise InputError(f"The place of entry {name} is {place!r}; it must be a whole number.")
    steady = one.get("steady_s")
    first, instead = one.get("first"), one.get("instead_of")
    return Queued(
        id=name,
        place=place,
        doing=doing,
        stamp=Stamp(
            time=_moment(one.get("time"), "time"),
            steady_s=None if steady is None else _number(steady, "steady_s"),
            steady_of=_text(one, "steady_of"),
        ),
        name=_text(one, "name"),
        given=_text(one, "given"),
        reason=_text(one, "reason"),
        instead_of=None if instead is None else _text(one, "instead_of"),
        first=None if first is None else _moment(first, "first"),
    )


def _object(plain: Any, what: str) -> dict[str, Any]:  # noqa: ANN401 - JSON
    if not isinstance(plain, dict):
        raise InputError(f"{what} must be a JSON object; found {type(plain).__name__}.")
    return plain


def _text(one: dict[str, Any], key: str, *, longest: int = _LONGEST) -> str:
    value = one.get(key, "")
    if not isinstance(value, str) or len(value) > longest:
        raise InputError(f"The {key!r} of an entry must be text of at most {longest} characters.")
    if "\0" in value or any("\ud800" <= character <= "\udfff" for character in value):
        raise InputError(f"The {key!r} of an entry holds a character that cannot be kept.")
    return value


def _number(value: Any, what: str) -> float:  # noqa: ANN401 - JSON
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:  # noqa: PLR2004 - some thirty years
        raise InputError(f"The {what!r} is {value!r}; it must be a number of seconds.")
    return float(value)


def _moment(value: Any, what: str) -> datetime:  # noqa: ANN401 - JSON
    try:
        moment = datetime.fromisoformat(value)
        if moment.utcoffset() is None:
            raise ValueError("no time zone")  # noqa: TRY301 - told below with the rest
        return moment.astimezone(UTC)
    except (TypeError, ValueError, OverflowError) as error:
        raise InputError(
            f"The {what!r} is {value!r}, which is no moment with a time zone. It goes like "
            "2026-03-04T10:00:00Z."
        ) from error


def take_entries(at: Session, run_id: str, batch: Batch) -> Synced:
    """Take what a device sends into a test under way; each thing once.

    Parameters
    ----------
    at : Session
        Where and when, and by whom it is recorded where it is finished.
    run_id : str
        Name of the test.
    batch : Batch
        What the device sends.

    Returns
    -------
    Synced
        What became of each, and where the test stands. Times are this computer's: never ahead of
        now, never before the entry before.

    Raises
    ------
    UnknownRecordError
        Where no such test is under way, nor is on record as having been.
    """
    with opened(at.where) as workspace, workspace.lock():
        clocked = look_at_clock(
            [one.stamp for one in _in_order(batch)], batch.sent, at.now, batch.offset
        )
        ended = _ended(workspace, run_id, batch, clocked)
        if ended is not None:
            return ended
        before = files.load(workspace, run_id)
        known = {one.id for one in before.handled}
        fresh = [one for one in _in_order(batch) if one.id not in known]
        # What was dealt with before tells nothing new of the clock.
        clocked = look_at_clock([one.stamp for one in fresh], batch.sent, at.now, batch.offset)
        work = _Work(workspace, at, job.refreshed(workspace, before), clocked)
        answers = [work.take(one) for one in _in_order(batch)]
        run = work.run
        if run.handled != before.handled:
            files.save(workspace, run)
        if work.ending is None:
            return Synced(
                answers=tuple(answers),
                offset=clocked.offset,
                stand=stand_of(run, at.now),
                doubts=clocked.doubts,
            )
        return _finished(work, answers, clocked)


def _in_order(batch: Batch) -> list[Queued]:
    return sorted(batch.queued, key=lambda one: (one.place, one.id))


def _ended(workspace: Workspace, run_id: str, batch: Batch, clocked: Clocked) -> Synced | None:
    """Answer for a test that is on record already; None where it is under way."""
    if run_id in files.ids(workspace):
        run = files.load(workspace, run_id)
        test = records.same_test(workspace.register, run)
        if test is None:
            return None
        # A crash came between recording and taking the file away.
        if run.handled or run.photos:
            files.keep_handled(workspace, run)
        files.remove(workspace, run_id)
        handled = run.handled
    else:
        kept = files.handled_before(workspace, run_id)
        if kept is None:
            raise UnknownRecordError(
                f"No test {run_id!r} is under way. It was recorded or aborted elsewhere; look for it "
                "among the tests. What was entered on the device is kept there."
            )
        test = next(
            (
                one
                for one in workspace.register.all(HandTest, outlet_id=kept.outlet_id)
                if (one.started, one.tester_id) == (kept.started, kept.tester_id)
            ),
            None,
        )
        handled = kept.handled
    known = {one.id: one for one in handled}
    answers = []
    for one in batch.queued:
        dealt = known.get(one.id)
        if dealt is not None:
            answers.append(Answered(id=one.id, state=dealt.state, why=dealt.why))
        elif one.doing in {FINISH, ABORT}:
            answers.append(Answered(id=one.id, state=TAKEN, why="The test is on record already."))
        else:
            answers.append(
                Answered(
                    id=one.id,
                    state=LATE,
                    why=(
                        "The test was recorded before this came, so it is not in it. Where it matters, "
                        "amend the test on record."
                    ),
                )
            )
    return Synced(answers=tuple(answers), offset=clocked.offset, test=test, doubts=clocked.doubts)


def _finished(work: _Work, answers: list[Answered], clocked: Clocked) -> Synced:
    ending = work.ending
    assert ending is not None  # noqa: S101 - asked for by the caller
    try:
        with_end = attrs.evolve(
            work.final, handled=(*work.run.handled, Handled(id=ending.id, state=TAKEN))
        )
        done = job.recorded(work.workspace, work.at, with_end, work.ended)
    except LungwortError as error:
        kept = [
            attrs.evolve(one, state=KEPT, why=str(error)) if one.id == ending.id else one
            for one in answers
        ]
        run = files.load(work.workspace, work.run.id)
        return Synced(
            answers=tuple(kept),
            offset=clocked.offset,
            stand=stand_of(run, work.at.now),
            doubts=clocked.doubts,
        )
    test = done.record
    assert isinstance(test, HandTest)  # noqa: S101 - it is what was recorded
    return Synced(
        answers=tuple(answers),
        offset=clocked.offset,
        test=test,
        done=done,
        doubts=clocked.doubts,
    )


class _Work:
    """One batch being taken into one test.

    Parameters
    ----------
    workspace : Workspace
        The open workspace, whose files are held.
    at : Session
        Where, when and by whom.
    run : Run
        The test so far.
    clocked : Clocked
        What the device's clock is worth.
    """

    def __init__(self, workspace: Workspace, at: Session, run: Run, clocked: Clocked) -> None:
        self.workspace = workspace
        self.at = at
        self.run = run
        self.ending: Queued | None = None
        self.ended = at.now
        # What goes into the record; what lies in the file stays open until it is there.
        self.final = run
        self._clocked = clocked
        self._open = False

    def take(self, one: Queued) -> Answered:
        """Do one thing, once."""
        for dealt in self.run.handled:
            if dealt.id == one.id:
                return Answered(id=one.id, state=dealt.state, why=dealt.why)
        if self.ending is not None:
            return Answered(id=one.id, state=KEPT, why="The test has ended before this.")
        do = {ENTER: self._enter, AMEND: self._amend, FINISH: self._finish, ABORT: self._abort}
        answer = do[one.doing](one)
        if answer.state != TAKEN:
            self._open = True
        if answer.state != KEPT and self.ending is None:
            dealt = Handled(id=one.id, state=answer.state, why=answer.why)
            self.run = attrs.evolve(self.run, handled=(*self.run.handled, dealt))
        return answer

    def _time(self, one: Queued) -> datetime:
        newest = max((entry.time for entry in self.run.entries), default=self.run.started)
        return max(newest, min(self._clocked.time(one.stamp), self.at.now))

    def _enter(self, one: Queued) -> Answered:
        found = next(
            ((step, ask) for step, ask in self.run.procedure.asks() if ask.name == one.name), None
        )
        if found is None:
            return Answered(
                id=one.id,
                state=NOT_ACCEPTED,
                why=f"The procedure asks for nothing named {one.name!r}.",
            )
        step, ask = found
        here = runner.current(self.run)
        if here is None or here[1].name != one.name:
            return self._elsewhere(one, step, ask)
        if ask.kind == m.WAIT and (clash := self._wait_clash(one, ask)):
            return clash
        moment = self._time(one)
        try:
            after = runner.enter(self.run, one.name, one.given, moment)
        except SpotError as error:
            return Answered(id=one.id, state=NOT_ACCEPTED, why=str(error))
        self.run = after
        newest = after.entries[-1]
        self._mind(one, step, ask, moment)
        if newest.state == REFUSED:
            return Answered(id=one.id, state=NOT_ACCEPTED, why=newest.why)
        told = [
            said.text
            for said in runner.consequences(after)
            if said.name == one.name and said.effect in {m.WARN, m.DOUBT, m.VOID}
        ]
        told += job.thing_lapses(self.workspace.register, after, one.name, self.at.now)
        return Answered(id=one.id, state=TAKEN, told=tuple(told))

    def _wait_clash(self, one: Queued, ask: m.Ask) -> Answered | None:
        begun, _ = self.run.wait(ask.name)
        given = one.given.strip().lower()
        if given == m.BEGIN and begun is not None:
            return Answered(
                id=one.id,
                state=DIFFERS,
                why=f"{ask.ask}: it was begun on another device before. That beginning counts.",
            )
        if given == m.END and begun is None:
            return Answered(
                id=one.id, state=KEPT, why=f"{ask.ask}: its beginning is not entered yet."
            )
        return None

    def _elsewhere(self, one: Queued, step: m.Step, ask: m.Ask) -> Answered:
        """Answer for an entry that is not the next one."""
        run = self.run
        in_force = run.in_force(one.name)
        if in_force is None or not runner.applies(run, ask):
            here = runner.current(run)
            why = (
                "It is not asked for as things stand."
                if here is None or not runner.applies(run, ask)
                else f"It comes after {here[1].ask!r}, which is not entered yet."
            )
            return Answered(id=one.id, state=KEPT, why=why)
        if ask.kind == m.WAIT:
            return Answered(
                id=one.id,
                state=DIFFERS,
                why=f"{ask.ask}: it was timed on another device before. That one counts.",
            )
        try:
            kept, _ = understood(run, ask, one.given)
        except SpotError as error:
            return Answered(id=one.id, state=NOT_ACCEPTED, why=str(error))
        if kept == in_force.given:
            return Answered(
                id=one.id, state=TAKEN, why="The same was entered on another device before."
            )
        self._differ(step, ask, in_force.given, kept)
        return Answered(
            id=one.id,
            state=DIFFERS,
            why=(
                f"{ask.ask}: {in_force.given!r} was entered on another device before and counts. Read "
                f"it again, and amend it: to {kept!r}, or to the same where that is right."
            ),
        )

    def _differ(self, step: m.Step, ask: m.Ask, first: str, second: str) -> None:
        text = (
            f"{ask.ask}: one device entered {first!r} and another {second!r}, and nobody has settled "
            "which is right."
        )
        mark = Mark(
            kind=DEVICES_DIFFER,
            step=step.id,
            name=ask.name,
            text=text,
            after=len(self.run.entries),
        )
        note = f"{DEVICE_NOTE}{ask.name}: {first!r} came first; {second!r} from another one."
        self.run = attrs.evolve(
            self.run, marks=(*self.run.marks, mark), notes=_with(self.run.notes, note)
        )

    def _mind(self, one: Queued, step: m.Step, ask: m.Ask, moment: datetime) -> None:
        """Note what the times of an entry are not worth."""
        notes = self.run.notes
        for doubt in self._clocked.doubts:
            notes = _with(notes, f"{DEVICE_NOTE}{doubt}")
        if one.first is not None:
            first = (one.first - self._clocked.offset).strftime("%Y-%m-%d %H:%M:%S")
            notes = _with(
                notes, f"{DEVICE_NOTE}{ask.name}: entered at {first} UTC and confirmed later."
            )
        self.run = attrs.evolve(self.run, notes=notes)
        if ask.kind != m.WAIT:
            return
        moved = moment - self._clocked.time(one.stamp)
        why = list(self._clocked.doubts)
        if one.given.strip().lower() == m.END and moved > timedelta(seconds=1):
            why.append("By the device's clock it ended before another entry was made.")
        marked = any(mark.name == ask.name and mark.kind == CLOCK_DOUBT for mark in self.run.marks)
        if why and not marked:
            text = f"{ask.ask}: that it lasted long enough is not proven. {' '.join(why)}"
            mark = Mark(
                kind=CLOCK_DOUBT,
                step=step.id,
                name=ask.name,
                text=text,
                after=len(self.run.entries),
            )
            self.run = attrs.evolve(self.run, marks=(*self.run.marks, mark))

    def _amend(self, one: Queued) -> Answered:
        run = self.run
        entry = run.in_force(one.name)
        if entry is None:
            return Answered(
                id=one.id, state=KEPT, why="What it amends is not entered on this computer yet."
            )
        if one.instead_of is not None and entry.given not in self._ways(one.name, one.instead_of):
            return Answered(
                id=one.id,
                state=DIFFERS,
                why=(
                    f"{one.name}: it was amended elsewhere meanwhile and is {entry.given!r} now, not "
                    f"{one.instead_of!r}. Look at it again."
                ),
            )
        try:
            self.run = runner.amend(run, one.name, one.given, one.reason, self._time(one))
        except SpotError as error:
            return Answered(id=one.id, state=NOT_ACCEPTED, why=str(error))
        return Answered(id=one.id, state=TAKEN)

    def _ways(self, name: str, text: str) -> set[str]:
        """Give how an entry may be kept: a device that was not answered yet has it as typed."""
        for _, ask in self.run.procedure.asks():
            if ask.name == name:
                try:
                    return {text, understood(self.run, ask, text)[0]}
                except SpotError:
                    return {text}
        return {text}

    def _finish(self, one: Queued) -> Answered:
        if self._open:
            return Answered(
                id=one.id,
                state=KEPT,
                why="Something before it was not taken. Look at that first, then record the test.",
            )
        moment = self._time(one)
        try:
            runner.finish(self.run, moment)
        except SpotError as error:
            return Answered(id=one.id, state=KEPT, why=str(error))
        self.final = self.run
        self.ending, self.ended = one, moment
        return Answered(id=one.id, state=TAKEN)

    def _abort(self, one: Queued) -> Answered:
        moment = self._time(one)
        try:
            self.final = runner.abort(self.run, one.reason, moment)
        except SpotError as error:
            return Answered(id=one.id, state=NOT_ACCEPTED, why=str(error))
        self.ending, self.ended = one, moment
        return Answered(id=one.id, state=TAKEN)


def _with(notes: tuple[str, ...], note: str) -> tuple[str, ...]:
    return notes if note in notes else (*notes, note)
