"""Where a limit set of one's own lies, and how the record names it.

A set that lies in the folder ``limits`` of the workspace is named relative to the workspace, so
that a workspace that is moved or restored elsewhere takes it along. Any other file is named by its
absolute path.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import os

FOLDER: Final = "limits"
"""Folder of the workspace that holds the sets of one's own."""

_KEPT: Final = re.compile(re.escape(FOLDER) + r"/[a-z0-9][a-z0-9._-]{0,99}\.toml")


def is_kept(name: str) -> bool:
    """Tell whether a name leads into the workspace's own folder.

    Parameters
    ----------
    name : str
        As the record names a set.

    Returns
    -------
    bool
        True for ``limits/NAME.toml``.

    Examples
    --------
    >>> is_kept("limits/yard.toml"), is_kept("limits/../yard.toml"), is_kept("/limits/yard.toml")
    (True, False, False)
    """
    return _KEPT.fullmatch(name) is not None


def kept_name(name: str | os.PathLike[str], workspace: Path | None) -> str:
    """Name a limit set as the record does.

    Parameters
    ----------
    name : str or path
        Id of a set that comes with lungwort, or path of a file.
    workspace : pathlib.Path, optional
        Folder of the workspace.

    Returns
    -------
    str
        ``limits/NAME.toml`` for a file in the workspace's own folder; else as given.
    """
    text = str(name)
    if workspace is None or not text.lower().endswith(".toml"):
        return text
    path = Path(text)
    kept = f"{FOLDER}/{path.name}"
    if not path.is_absolute() or not is_kept(kept):
        return text
    return kept if path.resolve().parent == (workspace / FOLDER).resolve() else text


def located(name: str, workspace: Path | None) -> str:
    """Say what is to be loaded for a limit set that the record names.

    Parameters
    ----------
    name : str
        As the record names it.
    workspace : pathlib.Path, optional
        Folder of the workspace; None where it is not known.

    Returns
    -------
    str
        An id, or the path of a file; a name in the workspace leads into it, whatever the current
        folder is.
    """
    if workspace is None or not is_kept(name):
        return name
    return str(workspace.absolute().joinpath(*name.split("/")))
