"""The ids of things by their names, for faces that lead from a name to a thing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.jobs.opening import Where, opened

if TYPE_CHECKING:
    from pathlib import Path


def ids_by_name(where: Where | Path | None) -> dict[tuple[str, str], str]:
    """Give the ids of all things in force by kind and name.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.

    Returns
    -------
    dict of (str, str) to str
        From the kind (such as ``outlet``) and the name, number or id in lower case (as
        `str.casefold` makes it) to the id.
    """
    from lungwort.register.model import (  # noqa: PLC0415 - beside their use
        Certificate,
        Finding,
        Instrument,
        Lot,
        Outlet,
        Person,
        Record,
        Site,
        Supply,
    )

    kinds: dict[str, type[Record]] = {
        "site": Site,
        "supply": Supply,
        "outlet": Outlet,
        "instrument": Instrument,
        "person": Person,
        "lot": Lot,
        "finding": Finding,
        "certificate": Certificate,
    }
    found: dict[tuple[str, str], str] = {}
    with opened(where, read_only=True) as workspace:
        for word, kind in kinds.items():
            for one in workspace.register.all(kind):
                found[word, one.id.casefold()] = one.id
                found[word, str(getattr(one, one.NAME)).casefold()] = one.id
    return found
