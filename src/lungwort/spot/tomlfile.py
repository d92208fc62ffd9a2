"""The files of this room's library, and the reading of TOML files."""

from __future__ import annotations

from importlib import resources

from lungwort.tomlfile import (
    FORMAT,
    FROM_MEMORY,
    MAX_BYTES,
    NO_SOURCE,
    OWN,
    STANDINGS,
    Mistakes,
    Table,
    file_text,
    near,
    opened,
    shown,
)

__all__ = [
    "FORMAT",
    "FROM_MEMORY",
    "MAX_BYTES",
    "NO_SOURCE",
    "OWN",
    "STANDINGS",
    "Mistakes",
    "Table",
    "file_text",
    "near",
    "opened",
    "shipped_ids",
    "shipped_text",
    "shown",
]


def shipped_ids(folder: str) -> tuple[str, ...]:
    """Name the files of a folder of the library, in alphabetical order."""
    found = resources.files("lungwort.spot").joinpath("library", folder)
    names = (entry.name for entry in found.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def shipped_text(folder: str, name: str) -> str:
    """Read a file of the library by its folder and id."""
    entry = resources.files("lungwort.spot").joinpath("library", folder, f"{name}.toml")
    return entry.read_text(encoding="utf-8")
