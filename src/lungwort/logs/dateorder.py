"""Which of day, month and year stands where in the dates of a file: what the dates themselves prove."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from attrs import define, field

from lungwort.logs.timeshape import DATE

if TYPE_CHECKING:
    from collections.abc import Iterable

    import polars as pl


@define
class OrderEvidence:
    """What the dates themselves say about the order of day and month.

    Parameters
    ----------
    first_above_12, second_above_12 : int
        Dates whose first or second number cannot be a month.
    open_dates : int
        Dates in which the order of day and month is open.
    two_digit_year, four_digit_year : bool
        Whether such dates have years of two and of four digits.
    dotted : bool
        Whether all such dates are written with points.
    samples : list of str
        Some open dates, for the message.
    odd : dict
        For each order the first date that speaks against it.
    """

    first_above_12: int = 0
    second_above_12: int = 0
    open_dates: int = 0
    two_digit_year: bool = False
    four_digit_year: bool = False
    dotted: bool = True
    samples: list[str] = field(factory=list)
    odd: dict[str, str] = field(factory=dict)
    _seen: list[tuple[int, int, int]] = field(factory=list, repr=False)

    def add(self, texts: Iterable[str]) -> None:
        """Look at more dates.

        Parameters
        ----------
        texts : iterable of str
            Dates, or times that begin with one, tidied.
        """
        for text in texts:
            match = DATE.match(text)
            if match is None or not match.group("d1"):
                continue
            first, second = int(match.group("d1")), int(match.group("d2"))
            self.open_dates += 1
            short = len(match.group("year")) == 2  # noqa: PLR2004 - digits of a year
            self.two_digit_year = self.two_digit_year or short
            self.four_digit_year = self.four_digit_year or not short
            self.dotted = self.dotted and match.group("s2") == "."
            self.first_above_12 += first > 12  # noqa: PLR2004 - months of a year
            self.second_above_12 += second > 12  # noqa: PLR2004 - months of a year
            if second > 12:  # noqa: PLR2004 - months of a year
                self.odd.setdefault("dmy", text)
                self.odd.setdefault("ymd", text)
            if first > 12:  # noqa: PLR2004 - months of a year
                self.odd.setdefault("mdy", text)
            if not short:
                self.odd.setdefault("ymd", text)
            if len(self.samples) < 3:  # noqa: PLR2004 - enough for a message
                self.samples.append(text)
            if len(self._seen) < 5000:  # noqa: PLR2004 - enough for a hint
                self._seen.append((first, second, int(match.group("year"))))

    @property
    def settled(self) -> str:
        """The order that the dates prove; empty while they do not."""
        if self.first_above_12 and not self.second_above_12:
            # 26/03/04 with a first number above 12 may begin with a day or a year.
            return "" if self._first_may_be_year() else "dmy"
        if self.second_above_12 and not self.first_above_12:
            return "mdy"
        return ""

    @property
    def contradictory(self) -> bool:
        """Whether some dates can only be day first and others only month first."""
        return bool(self.first_above_12 and self.second_above_12) and not self._first_may_be_year()

    def allows(self, order: str) -> bool:
        """Tell whether no date speaks against an order.

        Parameters
        ----------
        order : str
            ``dmy``, ``mdy`` or ``ymd``.
        """
        return order not in self.odd

    def against(self, order: str) -> str:
        """Give a date that speaks against an order; empty where none does.

        Parameters
        ----------
        order : str
            ``dmy``, ``mdy`` or ``ymd``.
        """
        return self.odd.get(order, "")

    def _first_may_be_year(self) -> bool:
        if not self.two_digit_year or self.four_digit_year:
            return False
        firsts = {first for first, _, _ in self._seen}
        lasts = {last for _, _, last in self._seen}
        if max(lasts, default=99) > 31:  # noqa: PLR2004 - days of a month
            return False
        # Days are many and years are few: day first where the first number changes far more.
        return len(firsts) < 3 * len(lasts)

    def hint(self) -> str:
        """Which order makes the dates follow one another day by day; empty where none does."""
        scores = {}
        for order in ("dmy", "mdy"):
            days = []
            for first, second, year in self._seen:
                day, month = (first, second) if order == "dmy" else (second, first)
                full = year + 2000 if year < 100 else year  # noqa: PLR2004 - two digits
                try:
                    days.append(date(full, month, day))
                except ValueError:
                    break
            else:
                steps = [
                    abs((b - a).days)
                    for a, b in zip(sorted(set(days)), sorted(set(days))[1:], strict=False)
                ]
                scores[order] = sum(step == 1 for step in steps) if steps else 0
        if scores.get("dmy", 0) > scores.get("mdy", 0):
            return "The days follow one another if the day stands first."
        if scores.get("mdy", 0) > scores.get("dmy", 0):
            return "The days follow one another if the month stands first."
        return ""


def date_prefixes(column: pl.Series) -> list[str]:
    """List the different dates of a column of times, cheaply.

    Parameters
    ----------
    column : polars.Series
        Times as tidied text.

    Returns
    -------
    list of str
        The first ten characters of each, every one once.
    """
    return column.str.slice(0, 10).unique().drop_nulls().to_list()
