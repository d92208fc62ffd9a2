"""How the formulas take numbers: one float or a whole array, and what happens out of range.

A float out of range raises, because somebody is waiting for the answer. In an array the refused
elements become NaN, because one bad reading must not stop a month of good ones.
"""

from __future__ import annotations

from typing import TypeAlias, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from lungwort.errors import RangeError

FloatArray: TypeAlias = NDArray[np.float64]
Numbers = TypeVar("Numbers", float, FloatArray)


def as_array(values: float | FloatArray) -> FloatArray:
    """Bring a float or an array to an array of floats.

    Parameters
    ----------
    values : float or numpy.ndarray
        Any numbers [any unit].

    Returns
    -------
    numpy.ndarray
        The same numbers [same unit].
    """
    return np.asarray(values, dtype=np.float64)


def like(result: FloatArray, *given: float | FloatArray) -> float | FloatArray:
    """Give a result back as a float where everything that came in was a float.

    Parameters
    ----------
    result : numpy.ndarray
        What was computed [any unit].
    *given : float or numpy.ndarray
        What the caller gave [any unit].

    Returns
    -------
    float or numpy.ndarray
        The result [same unit].
    """
    return result if any(isinstance(item, np.ndarray) for item in given) else float(result)


def same_kind(result: FloatArray, given: Numbers) -> Numbers:
    """Give a result back in the kind that came in.

    Parameters
    ----------
    result : numpy.ndarray
        What was computed [any unit].
    given : float or numpy.ndarray
        What the caller gave [any unit].

    Returns
    -------
    float or numpy.ndarray
        The result [same unit].
    """
    return cast("Numbers", like(result, given))


def within(
    values: float | FloatArray, lowest: float, highest: float, *, what: str, unit: str, remedy: str
) -> FloatArray:
    """Hold numbers to the range in which a formula is good.

    Parameters
    ----------
    values : float or numpy.ndarray
        The numbers [unit].
    lowest, highest : float
        Ends of the range, both included [unit].
    what : str
        Name of the quantity, for the message.
    unit : str
        Unit, for the message.
    remedy : str
        What to do, as a sentence.

    Returns
    -------
    numpy.ndarray
        The numbers, NaN where an element of an array is outside [unit].

    Raises
    ------
    RangeError
        Where a float is outside or is not a number.

    Examples
    --------
    >>> within(7.0, 0.0, 10.0, what="pressure", unit="bar(a)", remedy="Check it.")
    array(7.)
    """
    array = as_array(values)
    inside = (array >= lowest) & (array <= highest)
    if isinstance(values, np.ndarray):
        return np.where(inside, array, np.nan)
    if not inside:
        raise RangeError(
            f"{what} {float(values):.6g} {unit} is outside "
            f"{lowest:.6g} to {highest:.6g} {unit}. {remedy}"
        )
    return array
