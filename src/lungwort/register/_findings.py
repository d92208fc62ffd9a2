"""What a check of the record found, in the order of the journal."""

from __future__ import annotations

from attrs import frozen


@frozen
class Problem:
    """Something that does not fit.

    Parameters
    ----------
    where : str
        Entry, table or file.
    what : str
        What does not fit, in whole sentences.
    """

    where: str
    what: str


class Problems:
    """All that does not fit, and what should be known besides."""

    def __init__(self) -> None:
        self.remarks: list[str] = []
        self._found: dict[tuple[int | None, Problem], None] = {}
        self._first: int | None = None

    def add(self, where: str, what: str, seq: int | None) -> None:
        """Note a problem.

        Parameters
        ----------
        where, what : str
            As in `Problem`.
        seq : int, optional
            The entry that it belongs to; None where it belongs to none.
        """
        self._found.setdefault((seq, Problem(where, what)))
        if seq is not None and (self._first is None or seq < self._first):
            self._first = seq

    def any_up_to(self, seq: int) -> bool:
        """Say whether something was found with an entry or one before it.

        Parameters
        ----------
        seq : int
            The entry.

        Returns
        -------
        bool
            False also where all that was found comes later.
        """
        return self._first is not None and self._first <= seq

    def ordered(self) -> tuple[Problem, ...]:
        """Give the problems by entry; those that belong to none come last.

        Returns
        -------
        tuple of Problem
            In the order in which they were found within an entry.
        """
        found = sorted(self._found, key=lambda one: (one[0] is None, one[0] or 0))
        return tuple(problem for _, problem in found)
