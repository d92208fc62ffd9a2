"""The types that a limit set is made of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import field, frozen

if TYPE_CHECKING:
    from collections.abc import Iterator

RANGE: Final = "range"
PRESSURE_TABLE: Final = "pressure_table"
DEW_POINT_MARGIN: Final = "dew_point_margin"
WORDING: Final = "wording"

CONFIRMED: Final = "confirmed"
FROM_MEMORY: Final = "from memory"

ANY_READING: Final = "any reading"


@frozen
class Bound:
    """One end of what is allowed.

    Parameters
    ----------
    value : float
        The number, in the unit of the limit that holds it.
    included : bool
        Whether the number itself is allowed: ``<=`` and ``>=`` include it, ``<`` and ``>`` do not.
    """

    value: float
    included: bool = True


@frozen
class PressureRow:
    """One row of a table of bounds by supply pressure.

    Parameters
    ----------
    up_to_bar_g : float
        Highest supply pressure for which the row serves [bar(g)].
    upper : Bound
        The upper bound there.
    """

    up_to_bar_g: float
    upper: Bound


@frozen
class Limit:
    """What one document allows of one analyte.

    Parameters
    ----------
    key : str
        Name of the limit, unique in its set.
    analyte : str
        Key of the analyte (`lungwort.air.analytes.ANALYTES`).
    quantity : str
        What is measured: a quantity name of `lungwort.air.analytes`.
    unit : str
        Unit of the numbers, empty for a wording.
    kind : str
        ``range``, ``pressure_table``, ``dew_point_margin`` or ``wording``.
    lower, upper : Bound, optional
        The ends, of a range.
    table : tuple of PressureRow
        The rows, of a pressure table, pressure rising.
    table_above_bar_g : float
        Pressure above which the table begins [bar(g)].
    margin_c : float, optional
        How far the dew point must stay below the lowest temperature [°C].
    wording : str
        What the document says, of a limit in words.
    averaging : str
        ``any reading``, ``8 h``, ``15 min``, ``10 min``: what is held against the bound.
    required : bool
        False for advice, which is shown and never decides.
    needs : str
        A condition without which the limit does not apply, such as ``lowest temperature``;
        empty for a limit that always applies.
    clause, source : str
        Where it stands in the document, and where the number was seen.
    status : str
        ``confirmed`` or ``from memory``.
    remark : str
        What a reader must know beside the number.
    last_row_serves_above : bool
        Whether the last row of the table also serves every pressure above it.
    default_upper : Bound, optional
        Upper bound of the dew point where the lowest temperature is not known, for a document
        that gives one [unit of the limit].
    """

    key: str
    analyte: str
    quantity: str
    unit: str
    kind: str = RANGE
    lower: Bound | None = None
    upper: Bound | None = None
    table: tuple[PressureRow, ...] = ()
    table_above_bar_g: float = 0.0
    margin_c: float | None = None
    wording: str = ""
    averaging: str = ANY_READING
    required: bool = True
    needs: str = ""
    clause: str = ""
    source: str = ""
    status: str = FROM_MEMORY
    remark: str = ""
    last_row_serves_above: bool = False
    default_upper: Bound | None = None


@frozen
class LimitSet:
    """One published document's limits for one use.

    Parameters
    ----------
    id : str
        Short name that commands and records use.
    title : str
        What it is, in words.
    document, edition, use : str
        The document, its edition and the use of the air that the limits are for.
    limits : tuple of Limit
        The limits.
    reference_temperature_c, reference_pressure_kpa : float
        State to which the document's concentrations refer [°C], [kPa, absolute].
    digest : str
        SHA-256 of the content in canonical form, lower-case hexadecimal.
    remarks : tuple of str
        What a user of the set must know.
    extends : str
        Id of the set that this one was built on; empty for none.
    origin : str
        ``shipped`` or the name of the user's file.
    """

    id: str
    title: str
    document: str
    edition: str
    use: str
    limits: tuple[Limit, ...]
    reference_temperature_c: float = 20.0
    reference_pressure_kpa: float = 101.325
    digest: str = ""
    remarks: tuple[str, ...] = ()
    extends: str = ""
    origin: str = "shipped"

    def __iter__(self) -> Iterator[Limit]:
        """Go through the limits in the set's order."""
        return iter(self.limits)

    def limit(self, key: str) -> Limit:
        """Find a limit by its key.

        Parameters
        ----------
        key : str
            Name of the limit in this set.

        Returns
        -------
        Limit
            The limit.

        Raises
        ------
        KeyError
            Where the set has no such limit.
        """
        for limit in self.limits:
            if limit.key == key:
                return limit
        raise KeyError(key)


@frozen
class Conditions:
    """What is known of the supply, beside the air itself.

    Parameters
    ----------
    supply_pressure_bar_g : float, optional
        Highest supply pressure [bar(g)].
    lowest_temperature_c : float, optional
        Lowest temperature to which the air line or the cylinder is exposed [°C].
    """

    supply_pressure_bar_g: float | None = None
    lowest_temperature_c: float | None = None


@frozen
class Allowed:
    """A limit with its conditions filled in: the range that a reading is held against.

    Parameters
    ----------
    lower, upper : Bound, optional
        The ends [unit of the limit].
    how : str
        How the ends came about, for the reader ('row up to 10 bar(g)').
    open_reason : str
        Why the range could not be settled, with what to give; empty where it is settled.
    surely_outside_above : float, optional
        For an unsettled upper bound: above this [unit of the limit] a reading is outside whatever
        the missing condition is.
    """

    lower: Bound | None = None
    upper: Bound | None = None
    how: str = ""
    open_reason: str = ""
    surely_outside_above: float | None = field(default=None)
