"""What a guided procedure is made of."""

from __future__ import annotations

from typing import Final

from attrs import frozen

CONFIRM: Final = "confirm"
WAIT: Final = "wait"
NUMBER: Final = "number"
CHOOSE: Final = "choose"
ROWS: Final = "rows"
TUBE: Final = "tube"
PERSON: Final = "person"
INSTRUMENT: Final = "instrument"
LOT: Final = "lot"
WORDS: Final = "words"
KINDS: Final = (CONFIRM, WAIT, NUMBER, CHOOSE, ROWS, TUBE, PERSON, INSTRUMENT, LOT, WORDS)

REFUSE: Final = "refuse"
WARN: Final = "warn"
DOUBT: Final = "doubt"
VOID: Final = "void"
EFFECTS: Final = (REFUSE, WARN, DOUBT, VOID)
"""What follows from an entry that is not as it should be: it is not accepted and the test does not
go on; it is told; the test stands and cannot prove that the air conforms; the test is void."""

WEARERS_FLOW: Final = "flow"
WEARERS_PRESSURE: Final = "pressure"
AGAINST: Final = (WEARERS_FLOW, WEARERS_PRESSURE)

YES: Final = "yes"
NO: Final = "no"
LEFT_OUT: Final = "-"
"""What is entered for what is not measured or not there."""

BEGIN: Final = "begin"
END: Final = "end"
"""What is entered at a wait."""


@frozen(kw_only=True)
class Choice:
    """One of the answers that can be chosen.

    Parameters
    ----------
    word, says : str
        What is entered; what it means.
    effect : str
        What follows from it; empty for nothing.
    why : str
        What is said then.
    reading : str
        What it says of the air, as `lungwort.spot.parse.parse_spot` takes it; empty for nothing.
    """

    word: str
    says: str = ""
    effect: str = ""
    why: str = ""
    reading: str = ""


@frozen(kw_only=True)
class Condition:
    """When something is asked for.

    Parameters
    ----------
    name, word : str
        Only where this earlier entry was answered so.
    """

    name: str
    word: str


@frozen(kw_only=True)
class Ask:
    """One entry that a step asks for.

    Parameters
    ----------
    name : str
        Short name, unique in the procedure.
    ask : str
        What is asked.
    kind : str
        One of `KINDS`.
    optional : bool
        Whether it may be left out, by entering ``-``.
    when : tuple of Condition
        When it is asked for: all must hold.
    unit : str
        Of a number.
    analyte : str
        For a number that says something of the air.
    low, high : float, optional
        What is as it should be [unit].
    below, above : str
        What follows from less and from more: one of `EFFECTS`.
    why : str
        What is said then.
    against : str
        ``flow`` or ``pressure``: held against what the wearers' equipment needs.
    choices : tuple of Choice
        What can be chosen.
    minutes : float, optional
        Length of a wait [min].
    device_time : str
        ``purge`` or ``sample``: the length of the wait is that of the device of ``lot``, and
        ``minutes`` where that states none.
    short : str
        What follows where a wait is cut short.
    longest_minutes : float, optional
        Length above which a wait was too long [min].
    long : str
        What follows then.
    lot_kind : str
        Kind of the lot that is asked for.
    used_from : str
        Name of the entry from which one of the lot counts as used; empty for its own.
    expired : str
        What follows where the lot has expired.
    lot, instrument : str
        Names of the entries that tell what is read.
    pressure, strokes : str
        Names of the entries that tell the air pressure [hPa] and the strokes for a tube.
    standing, source : str
        How well its times and ranges are founded, and the document where there is one.
    """

    name: str
    ask: str
    kind: str
    optional: bool = False
    when: tuple[Condition, ...] = ()
    unit: str = ""
    analyte: str = ""
    low: float | None = None
    high: float | None = None
    below: str = REFUSE
    above: str = REFUSE
    why: str = ""
    against: str = ""
    choices: tuple[Choice, ...] = ()
    minutes: float | None = None
    device_time: str = ""
    short: str = VOID
    longest_minutes: float | None = None
    long: str = WARN
    lot_kind: str = ""
    used_from: str = ""
    expired: str = VOID
    lot: str = ""
    instrument: str = ""
    pressure: str = ""
    strokes: str = ""
    standing: str = ""
    source: str = ""


@frozen(kw_only=True)
class Step:
    """One step of a procedure.

    Parameters
    ----------
    id, title, text : str
        Short name, heading, what to do.
    asks : tuple of Ask
        What is entered there.
    standing, source : str
        How well its times and ranges are founded.
    """

    id: str
    title: str
    text: str
    asks: tuple[Ask, ...]
    standing: str = ""
    source: str = ""


@frozen(kw_only=True)
class Procedure:
    """A guided procedure.

    Parameters
    ----------
    id, title : str
        Short name; what it is, in words.
    about : str
        What it is for.
    cautions : tuple of str
        Shown before it is begun.
    remarks : tuple of str
        What else a user must know.
    steps : tuple of Step
        The steps, in order.
    text : str
        The file, as it was read.
    origin : str
        ``shipped``, or the name of the user's file.
    """

    id: str
    title: str
    about: str = ""
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    text: str = ""
    origin: str = "shipped"

    def asks(self) -> tuple[tuple[Step, Ask], ...]:
        """Give all that is asked for, in order, with its step."""
        return tuple((step, ask) for step in self.steps for ask in step.asks)
