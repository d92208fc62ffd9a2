"""What a test done by hand says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.air.interval import Interval


@frozen
class SpotTest:
    """One test done by hand.

    Parameters
    ----------
    analyte : str
        Key of the analyte.
    quantity : str
        Quantity name of `lungwort.air.analytes`; ``wording`` for a judgement in words.
    value : Interval, optional
        What was read [canonical unit of the quantity]; None for a wording.
    perceived : bool, optional
        For odour or liquid water: whether any was noticed. None where it is a number.
    means : str
        How it was done: ``banded oil indicator``, ``detector tube``, ``by nose``, or empty.
    time : datetime, optional
        When, UTC.
    given : str
        What the user wrote.
    remark : str
        What goes with it.
    parts : tuple of SpotTest
        The tests that it was worked out from; empty for a test that was done.
    doubts : tuple of str
        Reasons for which this test alone cannot prove that the air conforms, such as an instrument
        whose calibration had run out; a reading outside a limit counts all the same.
    """

    analyte: str
    quantity: str
    value: Interval | None = None
    perceived: bool | None = None
    means: str = ""
    time: datetime | None = None
    given: str = ""
    remark: str = ""
    parts: tuple[SpotTest, ...] = ()
    doubts: tuple[str, ...] = ()
