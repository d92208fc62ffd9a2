"""Stretches of readings with a quality of their own, listed part after part."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import define, evolve, field

from lungwort.logs.model import Stretch

if TYPE_CHECKING:
    from numpy.typing import NDArray

STRETCHES_AT_MOST: Final = 200
"""Stretches listed apart, a channel and cause; more are counted together."""


@define
class Stretches:
    """Lists stretches; one that goes on in the next part stays one.

    Parameters
    ----------
    listed : list of Stretch
        Stretches listed apart.
    more : dict
        Channel and cause to readings in stretches beyond `STRETCHES_AT_MOST`.
    """

    listed: list[Stretch] = field(factory=list)
    more: dict[tuple[str, str], int] = field(factory=dict)
    _counts: dict[tuple[str, str], int] = field(factory=dict, repr=False)
    _ends: dict[tuple[str, str, int, str], tuple[int, int | None]] = field(factory=dict, repr=False)
    _micro: NDArray[np.int64] | None = field(default=None, repr=False)
    _row: int = field(default=0, repr=False)

    def begin_part(self, micro: NDArray[np.int64], row: int) -> None:
        """Go on to a part.

        Parameters
        ----------
        micro : numpy.ndarray
            Its times [µs UTC], shape (n,).
        row : int
            Its first row in the log, from 0.
        """
        self._micro = micro
        self._row = row

    def tell(self, channel: str, cause: str, flag: int, mask: NDArray[np.bool_], text: str) -> None:
        """List each run of readings of the part that a mask marks.

        Parameters
        ----------
        channel, cause, text : str
            As in `Stretch`.
        flag : int
            Flag given.
        mask : numpy.ndarray
            Which readings, shape (n,).
        """
        places = np.flatnonzero(mask)
        if not len(places):
            return
        breaks = np.flatnonzero(np.diff(places) > 1)
        firsts = places[np.concatenate(([0], breaks + 1))]
        lasts = places[np.concatenate((breaks, [len(places) - 1]))]
        key = (channel, cause)
        # The first may go on from the part before; beyond the list only the number counts.
        room = max(STRETCHES_AT_MOST - self._counts.get(key, 0), 0) + 1
        for first, last in zip(firsts[:room].tolist(), lasts[:room].tolist(), strict=True):
            self.add(channel, cause, flag, first, last, text)
        if len(firsts) > room:
            rest = int((lasts[room:] - firsts[room:] + 1).sum())
            self.more[key] = self.more.get(key, 0) + rest
            self._ends[channel, cause, flag, text] = (self._row + int(lasts[-1]), None)

    def add(self, channel: str, cause: str, flag: int, first: int, last: int, text: str) -> None:
        """List the readings from one place of the part to another.

        Parameters
        ----------
        channel, cause, text : str
            As in `Stretch`.
        flag : int
            Flag given.
        first, last : int
            Places in the part, from 0.
        """
        if self._micro is None:
            return
        readings = last - first + 1
        whole = (channel, cause, flag, text)
        end, at = self._ends.get(whole, (-2, None))
        if end == self._row + first - 1 and first == 0:
            self._ends[whole] = (self._row + last, at)
            if at is None:
                self.more[channel, cause] = self.more.get((channel, cause), 0) + readings
            else:
                begun = self.listed[at]
                self.listed[at] = evolve(
                    begun,
                    end=moment(self._micro[last]),
                    readings=begun.readings + readings,
                )
            return
        stretch = Stretch(
            moment(self._micro[first]),
            moment(self._micro[last]),
            cause,
            channel,
            flag,
            readings,
            text,
        )
        self._ends[whole] = (self._row + last, self.put(stretch))

    def put(self, stretch: Stretch) -> int | None:
        """List a stretch as it is.

        Parameters
        ----------
        stretch : Stretch
            The stretch.

        Returns
        -------
        int or None
            Its place in the list; None where it is only counted.
        """
        key = (stretch.channel, stretch.cause)
        count = self._counts.get(key, 0)
        if count >= STRETCHES_AT_MOST:
            self.more[key] = self.more.get(key, 0) + stretch.readings
            return None
        self._counts[key] = count + 1
        self.listed.append(stretch)
        return len(self.listed) - 1


def moment(micro: int | np.int64) -> datetime:
    """Turn microseconds since 1970 into a moment.

    Parameters
    ----------
    micro : int
        Time [µs UTC].
    """
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(micro))


def span(seconds: float) -> str:
    """Say a length of time in words.

    Parameters
    ----------
    seconds : float
        The length [s].

    Examples
    --------
    >>> span(90.0), span(1800.0), span(36000.0), span(864000.0)
    ('90 s', '30 min', '10 h', '10 days')
    """
    if seconds < 120:  # noqa: PLR2004 - seconds up to two minutes
        return f"{seconds:g} s"
    if seconds < 7200:  # noqa: PLR2004 - minutes up to two hours
        return f"{seconds / 60:.3g} min"
    if seconds < 172800:  # noqa: PLR2004 - hours up to two days
        return f"{seconds / 3600:.3g} h"
    return f"{seconds / 86400:.4g} days"
