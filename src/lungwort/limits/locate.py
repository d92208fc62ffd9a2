"""Where things stand in a TOML text, so that a mistake can be shown with its line.

`tomllib` tells the line of a mistake in the syntax only. What is well written and still wrong
(a unit that is not known, a bound without an operator) is found after reading, and then the line
has to be looked up again. The text given here has already been read without a mistake in syntax.
"""

from __future__ import annotations

import re
from collections import defaultdict
from typing import Final

from attrs import Factory, frozen

_TOKEN: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}(?!")'
    r"|'''.*?'{3,5}(?!')"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'"
    r"|#[^\n]*"
    r"|[\[\]{}\n]"
    r"|[^\"'#\[\]{}\n]+",
    re.DOTALL,
)
_HEADER: Final = re.compile(r"\[+([^\]]*)\]+")
_KEY: Final = re.compile(r"""[ \t]*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))""")

TOP: Final = -1
"""Table number of the keys that stand before the first ``[[limit]]``."""

_ELSEWHERE: Final = -2


@frozen
class Places:
    """Lines of a limit set's parts, counted from 1.

    Parameters
    ----------
    limits : list of int
        Line of each ``[[limit]]``.
    keys : dict of (int, str) to int
        Line of each key, by number of its limit (`TOP` for the set itself) and name.
    items : dict of (int, str) to list of int
        Lines of the inline tables in the array that a key holds.
    """

    limits: list[int] = Factory(list)
    keys: dict[tuple[int, str], int] = Factory(dict)
    items: dict[tuple[int, str], list[int]] = Factory(lambda: defaultdict(list))

    def limit(self, number: int) -> int | None:
        """Tell the line at which a limit begins, counted from 0; None where it is not found."""
        lines = self.limits or self.items.get((TOP, "limit"), [])
        return lines[number] if number < len(lines) else None

    def key(self, number: int, name: str) -> int | None:
        """Tell the line of a key; that of its limit where the key is not found."""
        line = self.keys.get((number, name))
        return self.limit(number) if line is None and number >= 0 else line

    def row(self, number: int, row: int) -> int | None:
        """Tell the line of a row in a limit's table; that of the table where it is not found."""
        lines = self.items.get((number, "rows"), [])
        return lines[row] if row < len(lines) else self.key(number, "rows")


def find_places(text: str) -> Places:
    r"""Look up the lines of a limit set's parts.

    Parameters
    ----------
    text : str
        TOML text without a mistake in its syntax.

    Returns
    -------
    Places
        The lines.

    Examples
    --------
    >>> places = find_places('id = "a"\n\n[[limit]]\nkey = "co"\n')
    >>> places.key(TOP, "id"), places.limit(0), places.key(0, "key")
    (1, 3, 4)
    """
    places = Places()
    table, key, depth, position, line = TOP, "", 0, 0, 1
    begins = True
    while position < len(text):
        if begins and (header := _HEADER.match(text, position)):
            name = re.sub(r"""[\s"']""", "", header.group(1))
            if name == "limit":
                places.limits.append(line)
                places.keys.setdefault((TOP, name), line)
                table = len(places.limits) - 1
            elif name == "limit.rows":
                places.items[len(places.limits) - 1, "rows"].append(line)
                table = _ELSEWHERE
            else:
                places.keys.setdefault((TOP, name.split(".")[0]), line)
                table = _ELSEWHERE
            position, begins = header.end(), False
            continue
        if begins and (found := _KEY.match(text, position)):
            key = next(group for group in found.groups() if group is not None)
            places.keys.setdefault((table, key), line)
            position, begins = found.end(), False
            continue
        token = _TOKEN.match(text, position)
        part = token.group() if token else text[position]
        position += len(part)
        if part == "\n":
            begins = depth == 0
        elif part in {"[", "{"}:
            depth += 1
            if part == "{" and depth == 2:  # noqa: PLR2004 - an inline table inside an array
                places.items[table, key].append(line)
        elif part in {"]", "}"}:
            depth -= 1
        line += part.count("\n")
    return places
