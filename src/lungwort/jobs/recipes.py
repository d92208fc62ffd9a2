"""Recipes that are kept in the workspace: how the files of one logger are read."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import InputError, LungwortError, RecipeError
from lungwort.jobs.opening import Where, opened

if TYPE_CHECKING:
    from pathlib import Path

FOLDER: Final = "recipes"
_SUFFIX: Final = ".toml"
_LONGEST: Final = 60
_NAME: Final = re.compile(r"[\w][\w .()+-]*", re.UNICODE)
_RESERVED: Final = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


@frozen
class Kept:
    """A recipe in the workspace.

    Parameters
    ----------
    name : str
        What the user called it.
    path : pathlib.Path
        Its file.
    problem : str
        Why it cannot be used; empty where it can.
    """

    name: str
    path: Path
    problem: str = ""


def listed(where: Where | Path | None) -> tuple[Kept, ...]:
    """List the recipes of a workspace by name.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.

    Returns
    -------
    tuple of Kept
        The recipes; one that cannot be read is among them, with the reason.
    """
    from lungwort.logs.recipe import load_recipe  # noqa: PLC0415 - keeps --help instant

    folder = _folder(where)
    found = []
    for path in sorted(folder.glob(f"*{_SUFFIX}"), key=lambda one: one.name.casefold()):
        if not path.is_file():
            continue
        problem = ""
        try:
            load_recipe(path)
        except LungwortError as error:
            problem = str(error)
        found.append(Kept(path.stem, path, problem))
    return tuple(found)


def find(where: Where | Path | None, name: str) -> Kept:
    """Find a recipe by its name.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    name : str
        Its name.

    Returns
    -------
    Kept
        The recipe.

    Raises
    ------
    RecipeError
        Where there is none of that name, or it cannot be used.
    """
    known = listed(where)
    for one in known:
        if one.name.casefold() == name.strip().casefold():
            if one.problem:
                raise RecipeError(one.problem)
            return one
    names = ", ".join(one.name for one in known) or "none"
    raise RecipeError(f"There is no recipe {name!r} in the workspace. Kept there: {names}.")


def save(where: Where | Path | None, name: str, text: str) -> Kept:
    """Keep a recipe under a name; one of that name is replaced.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    name : str
        What to call it.
    text : str
        The recipe, as `lungwort.logs.recipe.recipe_text` writes it.

    Returns
    -------
    Kept
        The recipe.

    Raises
    ------
    InputError
        Where the name cannot be that of a file everywhere.
    OutputError
        Where it cannot be written.
    """
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant

    called = checked_name(name)
    folder = _folder(where)
    folder.mkdir(exist_ok=True)
    path = write_bytes(text.encode("utf-8"), folder / f"{called}{_SUFFIX}")
    return Kept(called, path)


def delete(where: Where | Path | None, name: str) -> str:
    """Take a recipe away; imports that were made with it keep their own copy.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    name : str
        Its name.

    Returns
    -------
    str
        One sentence on it.

    Raises
    ------
    RecipeError
        Where there is none of that name.
    """
    for one in listed(where):
        if one.name == name:
            one.path.unlink(missing_ok=True)
            return f"Recipe {one.name} was taken away. What was read with it stays as it is."
    raise RecipeError(f"There is no recipe {name!r} in the workspace.")


def checked_name(name: str) -> str:
    """Check that a name can be that of a file, everywhere.

    Parameters
    ----------
    name : str
        As typed.

    Returns
    -------
    str
        Without blanks around it.

    Raises
    ------
    InputError
        Where it cannot.
    """
    called = " ".join(name.split())
    if (
        not _NAME.fullmatch(called)
        or len(called) > _LONGEST
        or called.endswith(".")
        or _RESERVED.fullmatch(called)
    ):
        raise InputError(
            f"{name[:_LONGEST]!r} cannot be the name of a recipe. Use letters, digits, blanks, "
            f"points and hyphens, begin with a letter or a digit, and take at most {_LONGEST} "
            "characters."
        )
    return called


def _folder(where: Where | Path | None) -> Path:
    if isinstance(where, Where) and where.workspace is not None:
        return where.workspace / FOLDER
    with opened(where, read_only=True) as workspace:
        return workspace.folder / FOLDER
