"""A test under way, as a value."""

from __future__ import annotations

from datetime import date, datetime  # noqa: TC003 - read when a run is read back
from typing import Final

from attrs import frozen

from lungwort.spot import procedure_model as m
from lungwort.spot.devices import IndicatorKind, TubeKind  # noqa: TC001 - read back
from lungwort.spot.procedure_model import Procedure  # noqa: TC001 - read back

OPEN: Final = "open"
DONE: Final = "done"
ABORTED: Final = "aborted"
VOIDED: Final = "void"

TAKEN: Final = "taken"
REFUSED: Final = "refused"

DOUBT_MARK: Final = " (doubt)"
"""What the name of a recorded answer ends in that tells why the test proves nothing."""


@frozen(kw_only=True)
class KnownThing:
    """A person or an instrument on record that an entry can name.

    Parameters
    ----------
    id, name : str
        As on record.
    """

    id: str
    name: str


@frozen(kw_only=True)
class KnownLot:
    """A lot on record that an entry can name.

    Parameters
    ----------
    id, name, kind : str
        As on record.
    analyte, device : str
        What it is for; id of its kind of indicator or tube, or what its box says.
    expires : date, optional
        Last day of use.
    """

    id: str
    name: str
    kind: str
    analyte: str = ""
    device: str = ""
    expires: date | None = None


@frozen(kw_only=True)
class Wearers:
    """What is worn at the outlet.

    Parameters
    ----------
    name : str
        What it is.
    minimum_flow_l_min : float, optional
        Lowest flow for one wearer [L/min].
    lowest_pressure_bar_g, highest_pressure_bar_g : float, optional
        Pressures between which it works [bar(g)].
    count : int
        How many are worn at once [1].
    """

    name: str
    minimum_flow_l_min: float | None = None
    lowest_pressure_bar_g: float | None = None
    highest_pressure_bar_g: float | None = None
    count: int = 1


@frozen(kw_only=True)
class Context:
    """Where and by whom a test is done, and what its entries can name.

    Parameters
    ----------
    outlet_id, outlet : str
        The outlet, and its name.
    tester_id, tester : str
        The person who tests, and the name.
    zone : str
        Time zone of the site: an expiry is a day there.
    persons, instruments : tuple of KnownThing
        Those in use.
    lots : tuple of KnownLot
        Those on record.
    wearers : tuple of Wearers
        What is worn at the outlet.
    indicators, tubes : tuple of IndicatorKind, tuple of TubeKind
        Kinds known.
    """

    outlet_id: str
    outlet: str
    tester_id: str
    tester: str
    zone: str = "UTC"
    persons: tuple[KnownThing, ...] = ()
    instruments: tuple[KnownThing, ...] = ()
    lots: tuple[KnownLot, ...] = ()
    wearers: tuple[Wearers, ...] = ()
    indicators: tuple[IndicatorKind, ...] = ()
    tubes: tuple[TubeKind, ...] = ()


@frozen(kw_only=True)
class Entered:
    """What was entered.

    Parameters
    ----------
    step, name : str
        At which step, and which entry.
    given : str
        As it is kept.
    time : datetime
        When, UTC.
    ref : str
        Id of the person, instrument or lot that it names; empty for none.
    state : str
        ``taken`` or ``refused``.
    why : str
        Why it was refused, or why it takes the place of an earlier one.
    amends : bool
        Whether it takes the place of an earlier one.
    """

    step: str
    name: str
    given: str
    time: datetime
    ref: str = ""
    state: str = TAKEN
    why: str = ""
    amends: bool = False


CLOCK_DOUBT: Final = "device clock"
DEVICES_DIFFER: Final = "two devices"
MARKS: Final = (CLOCK_DOUBT, DEVICES_DIFFER)
"""Why an entry that came from a device cannot be relied on: the clock by which it was timed, or
another device on which something else was entered. The latter is settled by an amendment."""

DEVICE_NOTE: Final = "Device: "
"""What a note begins with that tells of a device on which was entered."""


@frozen(kw_only=True)
class Mark:
    """Why an entry that came from a device cannot be relied on.

    Parameters
    ----------
    kind : str
        One of `MARKS`.
    step, name : str
        Where.
    text : str
        What is said.
    after : int
        How many entries there were when it was made [1]: an amendment after that settles that two
        devices differ.
    """

    kind: str
    step: str
    name: str
    text: str
    after: int


@frozen(kw_only=True)
class Handled:
    """Something done on a device that was dealt with, so that it counts once however often it comes.

    Parameters
    ----------
    id : str
        As the device named it.
    state : str
        ``taken``, ``refused`` or ``differs``.
    why : str
        Why it was not taken.
    """

    id: str
    state: str
    why: str = ""


@frozen(kw_only=True)
class TakenPhoto:
    """A photo that was taken in the test; its file lies in the workspace already.

    Parameters
    ----------
    step, name : str
        Step that it belongs to; name of its file.
    media_type : str
        What kind of picture it is.
    sha256 : str
        Digest.
    size_bytes : int
        Size [bytes].
    time : datetime
        When it was added, UTC.
    """

    step: str
    name: str
    media_type: str
    sha256: str
    size_bytes: int
    time: datetime


@frozen(kw_only=True)
class Run:
    """A test under way.

    Parameters
    ----------
    procedure : Procedure
        What is followed.
    context : Context
        Where and by whom.
    started : datetime
        When it was begun, UTC.
    entries : tuple of Entered
        All that was entered, in the order in which it was.
    notes : tuple of str
        What happened on the way, such as a clock that went back.
    state : str
        ``open`` or ``aborted``.
    why : str
        Why it was aborted.
    ended : datetime, optional
        When it was aborted, UTC.
    id : str
        Name of the run; empty until one is given.
    handled : tuple of Handled
        What came from devices and was dealt with.
    marks : tuple of Mark
        What of it cannot be relied on.
    photos : tuple of TakenPhoto
        Photos that go into the record with the test.
    """

    procedure: Procedure
    context: Context
    started: datetime
    entries: tuple[Entered, ...] = ()
    notes: tuple[str, ...] = ()
    state: str = OPEN
    why: str = ""
    ended: datetime | None = None
    id: str = ""
    handled: tuple[Handled, ...] = ()
    marks: tuple[Mark, ...] = ()
    photos: tuple[TakenPhoto, ...] = ()

    def standing_marks(self) -> tuple[Mark, ...]:
        """Give the marks that no amendment has settled."""
        return tuple(
            mark
            for mark in self.marks
            if mark.kind == CLOCK_DOUBT
            or not any(
                one.amends and one.name == mark.name and one.state == TAKEN
                for one in self.entries[mark.after :]
            )
        )

    def in_force(self, name: str) -> Entered | None:
        """Give the entry that counts; None where there is none yet."""
        found = [one for one in self.entries if one.name == name and one.state == TAKEN]
        return found[-1] if found else None

    def given(self, name: str) -> str:
        """Give what counts as entered; empty where nothing was, or it was left out."""
        entry = self.in_force(name)
        return "" if entry is None or entry.given == m.LEFT_OUT else entry.given

    def read_at(self, name: str) -> datetime | None:
        """Tell when an entry was first made, UTC: an amendment does not move it."""
        return next(
            (one.time for one in self.entries if one.name == name and one.state == TAKEN), None
        )

    def wait(self, name: str) -> tuple[datetime | None, datetime | None]:
        """Give when a wait began and ended, UTC; None where it did not."""
        begun: datetime | None = None
        ended: datetime | None = None
        for one in self.entries:
            if one.name == name and one.state == TAKEN:
                if one.given == m.BEGIN:
                    begun, ended = one.time, None
                else:
                    ended = one.time
        return begun, ended
