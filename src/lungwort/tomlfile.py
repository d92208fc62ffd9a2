"""Reading TOML files of the user's key by key, and noting what is wrong and where."""

from __future__ import annotations

import difflib
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import Factory, define

from lungwort.errors import InputError, ProcedureError

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable, Mapping, Sequence

FORMAT: Final = 1
"""Version of the form in which these files are written."""

MAX_BYTES: Final = 1_000_000

NO_SOURCE: Final = "common practice, no source"
FROM_MEMORY: Final = "from memory"
OWN: Final = "own rule"
STANDINGS: Final = ("confirmed", "confirmed (secondary)", "computed", FROM_MEMORY, NO_SOURCE, OWN)
"""How well a time or a number is founded."""

_NAME: Final = re.compile(r"[a-z0-9]+(?:[._-][a-z0-9]+)*")
_PLACE: Final = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)")
_LONGEST_SHOWN: Final = 60


def near(word: str, known: Iterable[str]) -> str:
    """Suggest what may have been meant; a sentence with a blank before it, or empty."""
    close = difflib.get_close_matches(word.lower(), list(known), n=3, cutoff=0.6)
    return f" Near: {', '.join(repr(name) for name in close)}." if close else ""


def shown(value: object) -> str:
    """Write a value of a TOML file in a message, cut to 60 characters."""
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."


@define
class Mistakes:
    """The mistakes found in one file.

    Parameters
    ----------
    file : str
        Name of the file.
    text : str
        Its text, in which lines are looked up.
    found : list of (int, str)
        Line (0 where it is not known) and message.
    error : type
        What is raised for them.
    """

    file: str
    text: str = ""
    found: list[tuple[int, str]] = Factory(list)
    error: type[InputError] = ProcedureError

    def line_of(self, names: Sequence[str], key: str) -> int:
        """Find the line of a key below the tables named; 0 where it is not found."""
        lines = self.text.splitlines()
        at = 0
        for name in names:
            wanted = re.compile(rf"\s*(?:id|name)\s*=\s*[\"']{re.escape(name)}[\"']")
            at = next((n for n in range(at, len(lines)) if wanted.match(lines[n])), -1)
            if at < 0:
                return 0
        begin = at
        while names and begin > 0 and not lines[begin].lstrip().startswith("["):
            begin -= 1
        wanted = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=")
        for n in range(begin, len(lines)):
            if n > at and lines[n].lstrip().startswith("[["):
                break
            if wanted.match(lines[n]):
                return n + 1
        return at + 1 if names else 0

    def add(self, message: str, line: int = 0) -> None:
        """Note one mistake with its line, counted from 1."""
        self.found.append((line, message))

    def raise_any(self) -> None:
        """Raise all mistakes together.

        Raises
        ------
        InputError
            Of the kind that was asked for, where there is any.
        """
        if not self.found:
            return
        lines = [f"line {line}: {told}" if line else told for line, told in sorted(self.found)]
        if len(lines) == 1:
            raise self.error(f"{self.file}, {lines[0]}")
        listed = "\n".join(f"  {line}" for line in lines)
        raise self.error(f"{self.file} has {len(lines)} mistakes:\n{listed}")


@define
class Table:
    """One table of the file, read key by key.

    Parameters
    ----------
    values : mapping
        What tomllib read.
    names : tuple of str
        Ids and names of the tables around it and its own, for looking up its line.
    where : str
        How it is named in a message; empty for the file itself.
    mistakes : Mistakes
        Where mistakes are noted.
    """

    values: Mapping[str, object]
    names: tuple[str, ...]
    where: str
    mistakes: Mistakes

    def wrong(self, key: str, message: str) -> None:
        """Note a mistake at a key."""
        place = f"{self.where}, key {key!r}" if self.where else f"key {key!r}"
        joint = " " if message.startswith("is ") else ": "
        self.mistakes.add(f"{place}{joint}{message}", self.mistakes.line_of(self.names, key))

    def known(self, keys: Sequence[str]) -> None:
        """Note every key that is not known."""
        for key in self.values:
            if key not in keys:
                hint = near(key, keys) or f" Known keys: {', '.join(keys)}."
                self.wrong(key, f"this key is not known.{hint}")

    def text(self, key: str, *, required: bool = False) -> str:
        """Read text; empty where it is absent."""
        value = self.values.get(key)
        if value is None:
            if required:
                self.wrong(key, "is missing. Write it in quotes.")
            return ""
        if not isinstance(value, str):
            self.wrong(key, f"found {shown(value)}, text in quotes is needed.")
            return ""
        said = " ".join(value.split())
        if not said and required:
            self.wrong(key, "is empty. Write something.")
        if not said.isprintable():
            self.wrong(key, "holds a character that cannot be seen. Leave it out.")
        return said

    def name(self, key: str) -> str:
        """Read a short name: small letters, digits, single dots, dashes or underscores."""
        text = self.text(key, required=True)
        if text and not _NAME.fullmatch(text):
            self.wrong(
                key,
                f"found {shown(text)}; small letters a to z and digits are allowed, with single "
                "dots, dashes or underscores between them.",
            )
        return text

    def texts(self, key: str) -> tuple[str, ...]:
        """Read a list of texts, or one; empty where it is absent."""
        value = self.values.get(key, [])
        if isinstance(value, str):
            value = [value]
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            self.wrong(key, f'found {shown(value)}, a list is needed, like ["one", "two"].')
            return ()
        return tuple(" ".join(one.split()) for one in value if one.strip())

    def choice(self, key: str, allowed: Sequence[str], default: str) -> str:
        """Read one of a few words."""
        if key not in self.values:
            return default
        text = self.text(key)
        if text in allowed:
            return text
        if text:
            listed = ", ".join(repr(word) for word in allowed)
            self.wrong(key, f"found {shown(text)}, allowed are {listed}.{near(text, allowed)}")
        return default

    def flag(self, key: str, *, default: bool = False) -> bool:
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
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.wrong(key, f"found {shown(value)}, a number without quotes is needed [{unit}].")
            return None
        if not low <= value <= high:
            self.wrong(key, f"found {shown(value)}, allowed is {low:g} to {high:g} {unit}.")
            return None
        return float(value)

    def tables(self, key: str) -> tuple[Mapping[str, object], ...]:
        """Read a list of tables; empty where it is absent or wrong."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.wrong(key, f"each {key} is a table in double brackets, like [[{key}]].")
            return ()
        return tuple(value)

    def standing(self, *, required: bool, inherited: str = "") -> str:
        """Read how well the numbers of the table are founded."""
        found = self.choice("standing", STANDINGS, inherited)
        if required and not found and "standing" not in self.values:
            self.wrong("standing", f"is missing. State one of: {', '.join(STANDINGS)}.")
        if found.startswith("confirmed") and "standing" in self.values and not self.text("source"):
            self.wrong("source", f"is missing, and the standing is {found!r}. Name the document.")
        return found


def file_text(
    path: str | os.PathLike[str], what: str, error: type[InputError] = ProcedureError
) -> str:
    """Read a file of the user's own.

    Parameters
    ----------
    path : str or path
        The file, in UTF-8.
    what : str
        What it should be, for messages: ``procedure``.
    error : type
        What is raised.

    Returns
    -------
    str
        Its text.

    Raises
    ------
    InputError
        Of the kind that was asked for, where it cannot be read.
    """
    file = Path(path)
    try:
        content = file.read_bytes()
    except FileNotFoundError:
        raise error(f"{what} file {str(file)!r} does not exist. Check the path.") from None
    except (OSError, ValueError) as failed:
        reason = getattr(failed, "strerror", None) or failed
        raise error(f"{what} file {str(file)!r} cannot be read: {reason}.") from None
    if len(content) > MAX_BYTES:
        raise error(
            f"{file.name} has {len(content)} bytes; a {what} has at most {MAX_BYTES}. "
            "Give the right file."
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as failed:
        line = content.count(b"\n", 0, failed.start) + 1
        raise error(f"{file.name}, line {line}: not UTF-8 text. Save the file as UTF-8.") from None


def opened(
    text: str, name: str, keys: Sequence[str], error: type[InputError] = ProcedureError
) -> Table:
    """Read TOML, and check that it is of the form that this version reads.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.
    keys : sequence of str
        Keys that may stand at the top.
    error : type
        What is raised for mistakes.

    Returns
    -------
    Table
        The top of the file.

    Raises
    ------
    InputError
        Of the kind that was asked for, where it is not TOML, or of another form.
    """
    text = text.replace("\r\n", "\n")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as failed:
        match = _PLACE.fullmatch(str(failed))
        what, line, column = match.groups() if match else (str(failed), None, None)
        where = f"line {line}, column {column}" if line else "at the end"
        raise error(f"{name}, {where}: this is not TOML: {what[:1].lower()}{what[1:]}.") from None
    except RecursionError:
        raise error(f"{name}: brackets are nested too deeply.") from None
    form = data.get("format")
    if isinstance(form, bool) or form != FORMAT:
        found = "nothing" if form is None else shown(form)
        raise error(
            f"{name}, key 'format': found {found}; this version of lungwort reads {FORMAT}. "
            f"Write format = {FORMAT} at the top of the file."
        )
    top = Table(data, (), "", Mistakes(name, text, error=error))
    top.known(keys)
    return top
