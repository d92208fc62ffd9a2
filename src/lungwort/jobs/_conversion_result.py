"""What a conversion gives: one number with all that was taken for it."""

from __future__ import annotations

from attrs import frozen


@frozen
class Detail:
    """A figure beside the result.

    Parameters
    ----------
    name : str
        What it is.
    value : float
        Its value [unit].
    unit : str
        Its unit; empty for a pure number.
    """

    name: str
    value: float
    unit: str = ""


@frozen
class ConversionResult:
    """One number converted, with all that was taken for it.

    Parameters
    ----------
    source_value : float
        The number given [source_unit].
    source_unit : str
        Its unit.
    value : float
        The result [unit].
    unit : str
        Its unit.
    quantity : str
        What the result is, in words; empty for a plain change of unit.
    low, high : float, optional
        Bounds where the result is an estimate [unit].
    ideal_gas : float, optional
        What an ideal gas would give, where the result is an estimate [unit].
    decimals : int, optional
        Digits after the decimal sign that are worth showing; four significant ones where None.
    details : tuple of Detail
        Figures beside the result.
    assumptions : tuple of str
        What was taken.
    cautions : tuple of str
        What to mind before acting on it.
    """

    source_value: float
    source_unit: str
    value: float
    unit: str
    quantity: str = ""
    low: float | None = None
    high: float | None = None
    ideal_gas: float | None = None
    decimals: int | None = None
    details: tuple[Detail, ...] = ()
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    def lines(self) -> tuple[str, ...]:
        """Write the result for a person to read.

        Returns
        -------
        tuple of str
            The result first, then details, assumptions and cautions.
        """
        words = f"{self.source_value:g} {self.source_unit} = {self._shown(self.value)} {self.unit}"
        head = f"{words} {self.quantity}".rstrip()
        if self.low is not None and self.high is not None:
            head += (
                f", between {self._shown(self.low)} and {self._shown(self.high)} {self.unit}"
                " (estimate)"
            )
        lines = [head]
        if self.ideal_gas is not None:
            lines.append(f"  as an ideal gas: {self._shown(self.ideal_gas)} {self.unit}")
        lines += [
            f"  {detail.name}: {significant(detail.value)} {detail.unit}".rstrip()
            for detail in self.details
        ]
        lines += [f"  taken: {text}" for text in self.assumptions]
        lines += [f"  caution: {text}" for text in self.cautions]
        return tuple(lines)

    def as_object(self) -> dict[str, object]:
        """Give the result as an object for JSON.

        Returns
        -------
        dict of str to object
            Plain numbers, texts and lists; a bound that is missing or infinite is null.
        """
        return {
            "source": {"value": self.source_value, "unit": self.source_unit},
            "value": self.value,
            "unit": self.unit,
            "quantity": self.quantity,
            "low": _finite(self.low),
            "high": _finite(self.high),
            "ideal_gas": self.ideal_gas,
            "details": [
                {"name": detail.name, "value": detail.value, "unit": detail.unit}
                for detail in self.details
            ],
            "assumptions": list(self.assumptions),
            "cautions": list(self.cautions),
        }

    def _shown(self, number: float) -> str:
        return significant(number) if self.decimals is None else f"{number:.{self.decimals}f}"


def _finite(number: float | None) -> float | None:
    return number if number is not None and abs(number) < float("inf") else None


def significant(number: float, digits: int = 4) -> str:
    """Write a number with so many significant digits and no power of ten where it can be read.

    Parameters
    ----------
    number : float
        Any number [any unit].
    digits : int
        Significant digits.

    Returns
    -------
    str
        The number.

    Examples
    --------
    >>> significant(17363.2), significant(0.0012345), significant(5.0), significant(1.5e-9)
    ('17360', '0.001234', '5', '1.5e-09')
    """
    text = f"{number:.{digits}g}"
    if "e" in text and abs(number) >= 1:
        return f"{float(text):.0f}"
    return text
