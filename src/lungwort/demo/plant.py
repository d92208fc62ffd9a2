"""Plant sheets of the invented yard."""

from __future__ import annotations

from importlib import resources


def plant_sheet(supply: str) -> str:
    """Give the plant sheet of a supply of the yard.

    Parameters
    ----------
    supply : str
        ``hall-compressor`` or ``charging-compressor``.

    Returns
    -------
    str
        TOML, marked as invented in its first line.
    """
    place = resources.files("lungwort.demo") / "plants" / f"{supply}.toml"
    return place.read_text(encoding="utf-8")
