"""Where one can go from every page."""

from __future__ import annotations

from typing import Final

from attrs import frozen


def N_(text: str) -> str:  # noqa: N802 - the usual name of a mark for translators
    """Mark a text for translation where it is written; it is translated where it is shown."""
    return text


@frozen
class Place:
    """A place in the menu.

    Parameters
    ----------
    address, label : str
        Where it leads, and what it says.
    role : str
        Who sees it.
    main : bool
        Whether it is among the few that a small screen shows first.
    short : str
        What it says there; the label where nothing is given.
    """

    address: str
    label: str
    role: str = "look"
    main: bool = False
    short: str = ""


MENU: Final = (
    (
        N_("Now"),
        (
            Place("/today", N_("Today"), main=True),
            Place("/supplies", N_("Supplies"), main=True),
            Place("/plan", N_("Plan")),
        ),
    ),
    (
        N_("Do"),
        (
            Place("/tests", N_("Tests by hand"), main=True, short=N_("Tests")),
            Place("/logs", N_("Readings"), main=True),
            Place("/findings", N_("Findings"), main=True),
            Place("/approvals", N_("Approvals")),
        ),
    ),
    (
        N_("Work out"),
        (
            Place("/calculations", N_("All questions")),
            Place("/plant", N_("Plant sheets")),
        ),
    ),
    (
        N_("Hand over"),
        (
            Place("/certificates", N_("Certificates")),
            Place("/packs", N_("Evidence packs")),
            Place("/print", N_("Print")),
            Place("/verify", N_("Verify")),
        ),
    ),
    (
        N_("Look up"),
        (
            Place("/limits", N_("Limit sets")),
            Place("/convert", N_("Convert")),
        ),
    ),
    (
        N_("Keep"),
        (
            Place("/sites", N_("Sites")),
            Place("/outlets", N_("Outlets")),
            Place("/instruments", N_("Instruments")),
            Place("/lots", N_("Lots")),
            Place("/people", N_("People")),
            Place("/workspace", N_("Workspace")),
            Place("/accounts", N_("Accounts"), role="keep"),
        ),
    ),
)
