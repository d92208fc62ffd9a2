"""A form that was sent in."""

from __future__ import annotations

import csv
import io
import shutil
import tempfile
from collections.abc import AsyncIterator, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Annotated

from attrs import field, frozen
from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from lungwort.errors import InputError
from lungwort.web.context import context_of
from lungwort.web.german_values import two_ways, typed

MOST_FILES = 200
MOST_FIELDS = 2000
_LONGEST_NAME = 200
NUMBERS = "numbers"
"""Field of a form that names those that hold numbers, with blanks between them."""


@frozen
class Received:
    """A file that was sent in.

    Parameters
    ----------
    name : str
        Its name, without folders.
    path : pathlib.Path
        Where it lies until the answer is given.
    size : int
        Its length [byte].
    """

    name: str
    path: Path
    size: int


@frozen
class Posted:
    """What a form holds.

    Parameters
    ----------
    fields : dict of str to tuple of str
        What was typed, by the field's name.
    files : dict of str to tuple of Received
        What was sent in, by the field's name.
    doubtful : dict of str to str
        Why a number cannot be read for certain, by the field's name.
    """

    fields: dict[str, tuple[str, ...]] = field(factory=dict)
    files: dict[str, tuple[Received, ...]] = field(factory=dict)
    doubtful: dict[str, str] = field(factory=dict)

    def text(self, name: str) -> str | None:
        """Give what was typed, without blanks around it; None for nothing.

        Raises
        ------
        InputError
            Where it is a number that can be read in two ways.
        """
        if name in self.doubtful:
            raise InputError(self.doubtful[name])
        for value in self.fields.get(name, ()):
            if value.strip():
                return value.strip()
        return None

    def texts(self, name: str) -> tuple[str, ...]:
        """Give all that was typed in fields of one name, without empty ones; as `text`."""
        if name in self.doubtful:
            raise InputError(self.doubtful[name])
        return tuple(one.strip() for one in self.fields.get(name, ()) if one.strip())

    def lines(self, name: str) -> tuple[str, ...]:
        """Give all that was typed a line each, without empty ones."""
        return tuple(
            line.strip() for text in self.texts(name) for line in text.splitlines() if line.strip()
        )

    def rows(self, name: str, columns: Sequence[str]) -> tuple[str, ...]:
        """Give the rows of a table that was filled in, each as a line of CSV, without empty ones.

        Parameters
        ----------
        name : str
            Name of the table.
        columns : sequence of str
            Names of its columns, in the order of the line.
        """
        lines = []
        for cells in zip_longest(
            *(self.fields.get(f"{name}.{one}", ()) for one in columns), fillvalue=""
        ):
            plain = [" ".join(cell.split()) for cell in cells]
            if any(plain):
                text = io.StringIO()
                csv.writer(text, lineterminator="").writerow(plain)
                lines.append(text.getvalue())
        return tuple(lines)

    def flag(self, name: str) -> bool:
        """Tell whether a box was ticked."""
        return self.text(name) is not None

    def file(self, name: str) -> Received | None:
        """Give the file that was sent in; None for none."""
        return next(iter(self.files.get(name, ())), None)

    @property
    def values(self) -> dict[str, str]:
        """What was typed, for showing it again; several of one name a line each."""
        return {name: "\n".join(values) for name, values in self.fields.items()}


def plain_name(name: str) -> str:
    """Take the folders and what no file system bears off a file's name.

    Parameters
    ----------
    name : str
        As a browser gave it.

    Returns
    -------
    str
        A name that lies in the folder where it is put.
    """
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(one if one.isprintable() and one not in '<>:"|?*' else "_" for one in last)
    return kept.strip(" .")[-_LONGEST_NAME:] or "file"


async def read_form(request: Request) -> AsyncIterator[Posted]:
    """Read the form that was sent in; its files lie in a folder until the answer is given.

    Parameters
    ----------
    request : fastapi.Request
        What the browser asks.

    Yields
    ------
    Posted
        What it holds.
    """
    fields: dict[str, tuple[str, ...]] = {}
    files: dict[str, tuple[Received, ...]] = {}
    with tempfile.TemporaryDirectory(prefix="lungwort-") as folder:
        async with request.form(
            max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=1024 * 1024
        ) as form:
            for number, (name, value) in enumerate(form.multi_items()):
                if isinstance(value, UploadFile):
                    if value.filename:
                        received = _kept(value, Path(folder) / str(number))
                        files[name] = (*files.get(name, ()), received)
                else:
                    fields[name] = (*fields.get(name, ()), value)
        yield _with_numbers(request, fields, files)


def _with_numbers(
    request: Request,
    fields: dict[str, tuple[str, ...]],
    files: dict[str, tuple[Received, ...]],
) -> Posted:
    """Read what stands in fields for numbers as the page's language writes them.

    A form names these fields itself, since a comma is a mark between words in every other one.
    """
    numbers = {name for one in fields.pop(NUMBERS, ()) for name in one.split()}
    if not numbers:
        return Posted(fields, files)
    language = context_of(request).language
    made, doubtful = {}, {}
    for name, values in fields.items():
        if name not in numbers:
            made[name] = values
            continue
        made[name] = tuple(typed(value, language) for value in values)
        for told in filter(None, (two_ways(value, language) for value in values)):
            doubtful[name] = told
    return Posted(made, files, doubtful)


def _kept(upload: UploadFile, folder: Path) -> Received:
    folder.mkdir()
    name = plain_name(upload.filename or "")
    path = folder / name
    with path.open("wb") as target:
        shutil.copyfileobj(upload.file, target, 1024 * 1024)
    return Received(name, path, path.stat().st_size)


Form = Annotated[Posted, Depends(read_form)]
