"""``lungwort-workspace.toml``: the few lines that make a folder a workspace."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final

from lungwort.errors import WorkspaceError

if TYPE_CHECKING:
    from pathlib import Path

FILE: Final = "lungwort-workspace.toml"
FORMAT: Final = "lungwort-workspace/1"


def text(name: str, database: str, created: str) -> str:
    """Write the description that makes a folder a workspace.

    Parameters
    ----------
    name : str
        What it is called.
    database : str
        ``sqlite``, or a URL without password.
    created : str
        When, UTC.

    Returns
    -------
    str
        TOML.
    """
    return (
        "# A workspace of lungwort. Do not edit the files beside this one: every alteration shows.\n"
        f'format = "{FORMAT}"\n'
        f"name = {_toml_text(name)}\n"
        f'created = "{created}"\n'
        f"database = {_toml_text(database)}\n"
    )


def _toml_text(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def read(folder: Path) -> dict[str, str]:
    """Read the description of a workspace.

    Parameters
    ----------
    folder : pathlib.Path
        Where it lies.

    Returns
    -------
    dict
        Its ``name``, ``database`` and ``created``.

    Raises
    ------
    WorkspaceError
        Where it is no workspace or has a mistake.
    """
    path = folder / FILE
    if not folder.is_dir():
        raise WorkspaceError(
            f"There is no folder {folder}. Make a workspace with 'lungwort workspace create'."
        )
    try:
        described: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as error:
        raise WorkspaceError(
            f"{folder} is no workspace: it has no {FILE}. Give the right folder, or make a workspace "
            "with 'lungwort workspace create'."
        ) from error
    except OSError as error:
        raise WorkspaceError(f"{path} cannot be read: {cause(error)}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise WorkspaceError(f"{path} has a mistake: {error}. Put it right.") from error
    form = described.get("format")
    if form != FORMAT:
        raise WorkspaceError(
            f"{path} has the format {form!r}, and this lungwort knows {FORMAT!r}. It may have been "
            "made by a newer lungwort: install that."
        )
    for field in ("name", "database", "created"):
        if not isinstance(described.get(field), str) or not described[field]:
            raise WorkspaceError(f'{path} has no {field}. Add a line such as {field} = "…".')
    return {field: described[field] for field in ("name", "database", "created")}


def cause(error: OSError) -> str:
    """Say why a file could not be used.

    Parameters
    ----------
    error : OSError
        The system's.

    Returns
    -------
    str
        In words, with what to do.
    """
    reason = (error.strerror or type(error).__name__).rstrip(".")
    return f"{reason[:1].lower()}{reason[1:]}. Check your rights and the space on the disk."
