"""Reading one table of a limit set key by key, and noting what is wrong with its line."""

from __future__ import annotations

import difflib
import re
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from attrs import Factory, define

from lungwort.errors import LimitSetError
from lungwort.limits.model import Bound

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

_BOUND: Final = re.compile(r"\s*(<=|>=|=<|=>|≤|≥|<|>|)\s*(.*?)\s*", re.DOTALL)
_NUMBER: Final = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d{1,3})?")
_NUMBER_AND_MORE: Final = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([^\d\s.,eE].*)")
_SIGN: Final = {"=<": "<=", "=>": ">=", "≤": "<=", "≥": ">="}
_NAME: Final = re.compile(r"[a-z0-9]+(?:[._-][a-z0-9]+)*")
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")


def near(word: str, known: Iterable[str]) -> str:
    """Suggest what may have been meant.

    Parameters
    ----------
    word : str
        What was found.
    known : iterable of str
        What is allowed.

    Returns
    -------
    str
        A sentence with a blank before it, or empty where nothing is near.

    Examples
    --------
    >>> near("uper", ("upper", "lower"))
    " Near: 'upper'."
    """
    close = difflib.get_close_matches(word.lower(), list(known), n=3, cutoff=0.7)
    if not close:
        return ""
    return f" Near: {', '.join(repr(name) for name in close)}."


def shown(value: object) -> str:
    """Write a value of a TOML file in a message.

    Parameters
    ----------
    value : object
        What tomllib read.

    Returns
    -------
    str
        A number as written, text in quotes, all cut to 60 characters.

    Examples
    --------
    >>> shown(True), shown(Decimal("5.0")), shown("5")
    ('true', '5.0', "'5'")
    """
    if isinstance(value, bool):
        return str(value).lower()
    text = str(value) if isinstance(value, Decimal | int) else repr(value)
    longest = 60
    return text if len(text) <= longest else f"{text[: longest - 3]}..."


@define
class Mistakes:
    """The mistakes found in one file.

    Parameters
    ----------
    file : str
        Name of the file.
    found : list of (int, str)
        Line (0 where it is not known) and message.
    """

    file: str
    found: list[tuple[int, str]] = Factory(list)

    def add(self, message: str, line: int | None = None) -> None:
        """Note one mistake with its line, counted from 1."""
        self.found.append((line or 0, message))

    def raise_any(self) -> None:
        """Raise all mistakes together.

        Raises
        ------
        LimitSetError
            Where there is any.
        """
        if not self.found:
            return
        lines = [
            f"line {line}: {message}" if line else message for line, message in sorted(self.found)
        ]
        if len(lines) == 1:
            raise LimitSetError(f"{self.file}, {lines[0]}")
        listed = "\n".join(f"  {line}" for line in lines)
        raise LimitSetError(f"{self.file} has {len(lines)} mistakes:\n{listed}")


@define
class Table:
    """One table of the file, read key by key.

    Parameters
    ----------
    values : mapping
        What tomllib read.
    where : str
        How the table is named in a message: ``limit 'co'``, or empty for the set itself.
    line_of : callable
        Gives the line of a key.
    mistakes : Mistakes
        Where mistakes are noted.
    """

    values: Mapping[str, object]
    where: str
    line_of: Callable[[str], int | None]
    mistakes: Mistakes

    def wrong(self, key: str, message: str) -> None:
        """Note a mistake at a key."""
        place = f"{self.where}, key {key!r}" if self.where else f"key {key!r}"
        joint = " " if message.startswith("is ") else ": "
        self.mistakes.add(f"{place}{joint}{message}", self.line_of(key))

    def known(self, keys: Sequence[str]) -> None:
        """Note every key that is not known."""
        for key in self.values:
            if key not in keys:
                hint = near(key, keys) or f" Known keys: {', '.join(keys)}."
                self.wrong(key, f"this key is not known.{hint}")

    def text(self, key: str, *, required: bool = False) -> str:
        """Read one line of text; empty where it is absent."""
        if key not in self.values:
            if required:
                self.wrong(key, "is missing. Write it in quotes.")
            return ""
        value = self.values[key]
        if not isinstance(value, str):
            self.wrong(key, f"found {shown(value)}, text in quotes is needed.")
            return ""
        if _CONTROL.search(value):
            self.wrong(key, f"found {shown(value)}, with a line break or control character in it.")
        text = value.strip()
        if not text and required:
            self.wrong(key, "is empty. Write something.")
        return text

    def texts(self, key: str) -> tuple[str, ...]:
        """Read a list of texts; empty where it is absent."""
        value = self.values.get(key, [])
        if not isinstance(value, list):
            self.wrong(key, f'found {shown(value)}, a list is needed, like ["one", "two"].')
            return ()
        texts = []
        for item in value:
            if not isinstance(item, str) or not item.strip() or _CONTROL.search(item):
                self.wrong(key, f"found {shown(item)} in the list, one line of text is needed.")
            else:
                texts.append(item.strip())
        return tuple(texts)

    def name(self, key: str) -> str:
        """Read a short name: small letters, digits, and single dots, dashes or underscores."""
        text = self.text(key, required=True)
        if text and not _NAME.fullmatch(text):
            self.wrong(
                key,
                f"found {shown(text)}; small letters a to z and digits are allowed, with single "
                "dots, dashes or underscores between them.",
            )
        return text

    def choice(self, key: str, allowed: Sequence[str], default: str) -> str:
        """Read one of a few words."""
        text = self.text(key)
        if key not in self.values or text in allowed:
            return text or default
        if isinstance(self.values[key], str):
            listed = ", ".join(repr(word) for word in allowed)
            self.wrong(key, f"found {shown(text)}, allowed are {listed}.{near(text, allowed)}")
        return default

    def flag(self, key: str, *, default: bool) -> bool:
        """Read true or false."""
        value = self.values.get(key, default)
        if not isinstance(value, bool):
            self.wrong(key, f"found {shown(value)}, true or false (without quotes) is needed.")
            return default
        return value

    def number(self, key: str, low: float, high: float, unit: str) -> float | None:
        """Read a number from low to high [unit]; None where it is absent or wrong."""
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            self.wrong(key, f"found {shown(value)}, a number without quotes is needed [{unit}].")
            return None
        if not Decimal(value).is_finite() or not low <= value <= high:
            self.wrong(key, f"found {shown(value)}, allowed is {low:g} to {high:g} {unit}.")
            return None
        return float(value)

    def bound(self, key: str, direction: str) -> Bound | None:
        """Read one end with its operator, like ``<= 5``; None where it is absent or wrong."""
        if key not in self.values:
            return None
        value = self.values[key]
        included, excluded = f"{direction}=", direction
        example = f'"{included} 5" (5 itself is allowed) or "{excluded} 5" (5 itself is not)'
        if not isinstance(value, str):
            self.wrong(key, f"found {shown(value)}, text with an operator is needed: {example}.")
            return None
        match = _BOUND.fullmatch(value)
        sign, number = match.groups() if match else ("", value)
        sign = _SIGN.get(sign, sign)
        if not _NUMBER.fullmatch(number):
            self.wrong(key, f"found {shown(value)}, {_why_no_number(number)} Write {example}.")
            return None
        if not sign:
            self.wrong(key, f"found {shown(value)} without an operator. Write {example}.")
            return None
        if sign not in {included, excluded}:
            self.wrong(key, f"found {shown(value)}, the operator points the wrong way: {example}.")
            return None
        return Bound(float(number), included=sign == included)


def _why_no_number(text: str) -> str:
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        return "the decimal sign is a point, not a comma."
    if match := _NUMBER_AND_MORE.fullmatch(text):
        return f"{match.group(2)!r} does not belong here: the unit stands in the key 'unit'."
    return f"{text!r} is not a number that a limit can have."
