"""Decision rules: how the uncertainty of a measurement enters the verdict.

References
----------
JCGM 106:2012 (ISO/IEC Guide 98-4), Evaluation of measurement data: The role of measurement
uncertainty in conformity assessment. ILAC-G8:09/2019, Guidelines on decision rules and
statements of conformity.
"""

from __future__ import annotations

import math
import tomllib
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air import analytes, units
from lungwort.errors import InputError, QuantityError

if TYPE_CHECKING:
    from collections.abc import Mapping

HAND_TEST: Final = "hand test"
LOGGED: Final = "log"
COVERAGE_FACTOR: Final = 2.0
"""k of every expanded uncertainty here: U = k u with k = 2, about 95 % for a normal spread."""


def _normal_share_below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def probability_of_conformity(
    value: float,
    standard_uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
) -> float:
    """Probability that the true value lies in the allowed range, for a normal spread.

    Parameters
    ----------
    value : float
        Measured value [unit of the limit].
    standard_uncertainty : float
        Its standard uncertainty u, greater than zero [unit of the limit].
    lower, upper : float, optional
        Ends of what is allowed [unit of the limit]; None where there is none.

    Returns
    -------
    float
        Probability, 0 to 1.

    Raises
    ------
    InputError
        Where the uncertainty is not a positive number.

    References
    ----------
    JCGM 106:2012, 7.2 to 7.4: p = Φ((T_U - y)/u) - Φ((T_L - y)/u).

    Examples
    --------
    >>> round(probability_of_conformity(4.2, 0.5, upper=5.0), 4)
    0.9452
    """
    if not (math.isfinite(standard_uncertainty) and standard_uncertainty > 0):
        raise InputError(
            f"a standard uncertainty of {standard_uncertainty:g} was given. "
            "It must be a number greater than zero."
        )
    up_to = 1.0 if upper is None else _normal_share_below((upper - value) / standard_uncertainty)
    under = 0.0 if lower is None else _normal_share_below((lower - value) / standard_uncertainty)
    return max(0.0, up_to - under)


def acceptance_range(
    lower: float | None,
    upper: float | None,
    expanded_uncertainty: float,
    guard_factor: float,
) -> tuple[float, float]:
    """Draw the allowed range in by a guard band on each end.

    Parameters
    ----------
    lower, upper : float, optional
        Ends of what is allowed [unit of the limit]; None where there is none.
    expanded_uncertainty : float
        U with k = 2 [unit of the limit].
    guard_factor : float
        r in w = r U; 0 gives simple acceptance.

    Returns
    -------
    tuple of (float, float)
        Lowest and highest value accepted [unit of the limit], infinite where there is no end. The
        range is empty (lowest above highest) where the guard bands meet.

    References
    ----------
    JCGM 106:2012, 8.3.2: A_U = T_U - w, A_L = T_L + w. ILAC-G8:09/2019, 4.2.2: w = U.

    Examples
    --------
    >>> acceptance_range(20.0, 22.0, 0.4, 1.0)
    (20.4, 21.6)
    """
    guard = guard_factor * expanded_uncertainty
    return (
        -math.inf if lower is None else lower + guard,
        math.inf if upper is None else upper - guard,
    )


def accepted(
    value: float,
    lower: float | None,
    upper: float | None,
    expanded_uncertainty: float,
    guard_factor: float,
) -> bool:
    """Tell whether a value stands in the acceptance range.

    Parameters
    ----------
    value : float
        Measured value [unit of the limit].
    lower, upper : float, optional
        Ends of what is allowed [unit of the limit].
    expanded_uncertainty : float
        U with k = 2 [unit of the limit].
    guard_factor : float
        r in w = r U.

    Returns
    -------
    bool
        True where A_L <= value <= A_U.

    References
    ----------
    JCGM 106:2012, 8.3.2.
    """
    lowest, highest = acceptance_range(lower, upper, expanded_uncertainty, guard_factor)
    dust = 1e-9 * max(1.0, abs(value))
    return lowest - dust <= value <= highest + dust


@frozen
class Uncertainty:
    """Expanded uncertainty U (k = 2) of one kind of reading.

    U is the greater of the absolute part and the relative part times the reading.

    Parameters
    ----------
    analyte : str
        Key of the analyte; ``*`` for any.
    sensor : str
        Kind of sensor, in words.
    used_for : str
        ``log`` or ``hand test``.
    quantity : str
        Quantity name that the reading is in; empty for any (then there is no absolute part).
    unit : str
        Unit of the absolute part.
    absolute : float
        Absolute part [unit].
    relative : float
        Relative part, as a share of the reading, 0 to 1.
    source : str
        Where it comes from.
    assumed : bool
        False where it is that of the very instrument that was used.
    """

    analyte: str
    sensor: str
    used_for: str
    quantity: str
    unit: str
    absolute: float
    relative: float
    source: str
    assumed: bool = True

    def expanded(self, value: float, unit: str) -> float:
        """Give U for a reading.

        Parameters
        ----------
        value : float
            The reading [unit].
        unit : str
            Its unit.

        Returns
        -------
        float
            U with k = 2 [unit]; 0 where the entry says nothing of such a reading.
        """
        absolute = 0.0
        if self.absolute:
            origin = units.scale(0.0, self.unit, unit)
            absolute = abs(units.scale(self.absolute, self.unit, unit) - origin)
        if units.unit(unit).dimension == units.TEMPERATURE:
            # A share of a number of degrees means nothing.
            return absolute
        return max(absolute, self.relative * abs(value))

    @property
    def text(self) -> str:
        """Say what it is and where it comes from."""
        parts = []
        if self.absolute:
            parts.append(f"{self.absolute:g} {'K' if self.unit == '°C' else self.unit}")
        if self.relative:
            parts.append(f"{self.relative * 100:g} % of the reading")
        standing = ", assumption" if self.assumed else ""
        return f"{self.sensor}: U (k = 2) = {' or '.join(parts)}{standing} ({self.source})"


@frozen
class Uncertainties:
    """The uncertainties that a verdict uses.

    Parameters
    ----------
    entries : tuple of Uncertainty
        The entries; the first that fits is taken.
    origin : str
        ``shipped assumptions`` or the name of the user's file.
    """

    entries: tuple[Uncertainty, ...]
    origin: str

    def of(self, analyte: str, quantity: str, used_for: str = LOGGED) -> Uncertainty | None:
        """Find the entry for a reading.

        Parameters
        ----------
        analyte, quantity : str
            Key of the analyte and quantity name of the reading.
        used_for : str
            ``log`` or ``hand test``.

        Returns
        -------
        Uncertainty or None
            The first entry that fits; None where there is none.
        """
        for entry in self.entries:
            if (
                entry.used_for == used_for
                and entry.analyte in {analyte, "*"}
                and entry.quantity in {quantity, ""}
            ):
                return entry
        return None


_KEYS: Final = {
    "analyte",
    "sensor",
    "used_for",
    "quantity",
    "unit",
    "absolute",
    "relative",
    "source",
}


def uncertainties(path: str | Path | None = None) -> Uncertainties:
    """Read the expanded uncertainties, the shipped ones or the user's.

    Parameters
    ----------
    path : str or pathlib.Path, optional
        A TOML file of ``[[uncertainty]]`` tables with the keys ``analyte``, ``sensor``,
        ``used_for`` ('log' or 'hand test', default 'log'), ``quantity``, ``unit``, ``absolute``,
        ``relative`` and ``source``. None reads the shipped assumptions.

    Returns
    -------
    Uncertainties
        The entries in the file's order.

    Raises
    ------
    InputError
        Where the file cannot be read or has a mistake in it; the message names the entry.

    Examples
    --------
    >>> uncertainties().of("co", "volume_fraction").expanded(4.0, "ppm")
    1.0
    """
    if path is None:
        name = "shipped assumptions"
        text = (
            resources.files("lungwort.verdict")
            .joinpath("uncertainties.toml")
            .read_text(encoding="utf-8")
        )
    else:
        name = Path(path).name
        try:
            text = Path(path).read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(
                f"{name}: cannot be read as a UTF-8 text file ({error}). Check the name."
            ) from error
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name}: is not TOML: {error}. Correct that line.") from error
    tables = content.get("uncertainty")
    extra = sorted(set(content) - {"uncertainty"})
    if extra:
        raise InputError(
            f"{name}: key {extra[0]!r} is not known. Only [[uncertainty]] tables are allowed."
        )
    if not isinstance(tables, list) or not tables:
        raise InputError(f"{name}: holds no [[uncertainty]] table. Write at least one.")
    return Uncertainties(
        entries=tuple(
            _entry(table, f"{name}, [[uncertainty]] number {number}")
            for number, table in enumerate(tables, start=1)
        ),
        origin=name,
    )


def _entry(table: object, where: str) -> Uncertainty:
    if not isinstance(table, dict):
        raise InputError(f"{where}: is not a table. Write it as [[uncertainty]].")
    extra = sorted(set(table) - _KEYS)
    if extra:
        raise InputError(
            f"{where}: key {extra[0]!r} is not known. Known: {', '.join(sorted(_KEYS))}."
        )
    analyte = _text(table, "analyte", where)
    if analyte != "*" and analyte not in analytes.ANALYTES:
        raise InputError(
            f"{where}: analyte {analyte!r} is not known. Known: *, {', '.join(analytes.ANALYTES)}."
        )
    used_for = _text(table, "used_for", where, default=LOGGED)
    if used_for not in {LOGGED, HAND_TEST}:
        raise InputError(f"{where}: used_for is {used_for!r}. Write 'log' or 'hand test'.")
    quantity = _text(table, "quantity", where, default="")
    known = {*analytes.QUANTITY_UNIT, analytes.VOLUME_FRACTION} - {analytes.WORDING}
    if quantity and quantity not in known:
        raise InputError(
            f"{where}: quantity {quantity!r} is not known. Known: {', '.join(sorted(known))}."
        )
    absolute = _number(table, "absolute", where)
    relative = _number(table, "relative", where)
    if relative >= 1.0:
        raise InputError(
            f"{where}: relative is {relative:g}. "
            "It is a share of the reading below 1 (5 % is 0.05)."
        )
    if absolute == 0.0 and relative == 0.0:
        raise InputError(f"{where}: gives no uncertainty. Write 'absolute', 'relative' or both.")
    return Uncertainty(
        analyte=analyte,
        sensor=_text(table, "sensor", where),
        used_for=used_for,
        quantity=quantity,
        unit=_unit_of(table, quantity, absolute, where),
        absolute=absolute,
        relative=relative,
        source=_text(table, "source", where),
    )


def _unit_of(table: Mapping[str, object], quantity: str, absolute: float, where: str) -> str:
    written = _text(table, "unit", where, default="")
    if not absolute:
        return written
    if not (quantity and written):
        raise InputError(f"{where}: 'absolute' needs 'quantity' and 'unit' beside it.")
    try:
        unit = units.unit(written)
    except QuantityError as error:
        raise InputError(f"{where}: {error}") from error
    kept = units.UNITS[
        "ppm" if quantity == analytes.VOLUME_FRACTION else analytes.QUANTITY_UNIT[quantity]
    ]
    if unit.dimension != kept.dimension:
        raise InputError(
            f"{where}: {written!r} is not a unit of {quantity}. Use one like {kept.name!r}."
        )
    return unit.name


def _text(table: Mapping[str, object], key: str, where: str, default: str | None = None) -> str:
    value = table.get(key, default)
    if value is None:
        raise InputError(f"{where}: {key!r} is missing. Add it.")
    if not isinstance(value, str) or (default is None and not value.strip()):
        raise InputError(f"{where}: {key!r} is {value!r}. Write a text in quotes.")
    return value


def _number(table: Mapping[str, object], key: str, where: str) -> float:
    value = table.get(key, 0.0)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{where}: {key!r} is {value!r}. Write a number.")
    if not (math.isfinite(value) and value >= 0):
        raise InputError(f"{where}: {key!r} is {value!r}. Write a number of zero or more.")
    return float(value)
