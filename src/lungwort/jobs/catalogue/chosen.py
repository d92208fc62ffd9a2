"""What a user chooses from what comes with the program: time zone, limit set, rule set."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path
from typing import Any

from lungwort.errors import InputError, LimitSetError, PlanError
from lungwort.jobs.catalogue.typed import NOTHING, near
from lungwort.limits.place import is_kept, kept_name, located


def zone(text: str, option: str) -> str:
    """Read a time zone.

    Parameters
    ----------
    text : str
        IANA name, such as Europe/London.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The name.

    Raises
    ------
    InputError
        Where there is no such zone; near ones are named.
    """
    from zoneinfo import available_timezones  # noqa: PLC0415 - reads the whole folder of zones

    name = text.strip()
    known = available_timezones()
    exact = {one.casefold(): one for one in known}
    name = exact.get(name.replace(" ", "_").casefold(), name)
    if name not in known:
        tails = {one.rpartition("/")[2].casefold(): one for one in sorted(known)}
        city = name.rpartition("/")[2].replace(" ", "_").casefold()
        found = tails.get(city)
        meant = f" Did you mean {found!r}?" if found else near(name, known)
        raise InputError(
            f"{option} {text!r} is no time zone.{meant} Use an IANA name such as Europe/London."
        )
    return name


@cache
def zones() -> tuple[str, ...]:
    """Name the time zones that can be chosen, in alphabetical order.

    Returns
    -------
    tuple of str
        IANA names of places, and UTC; without old aliases such as ``GB`` or ``EST5EDT``.
    """
    from zoneinfo import available_timezones  # noqa: PLC0415 - reads the whole folder of zones

    left_out = {"Etc", "SystemV", "US", "Canada", "Brazil", "Chile", "Mexico"}
    named = sorted(
        one for one in available_timezones() if "/" in one and one.partition("/")[0] not in left_out
    )
    return ("UTC", *named)


def zone_of_computer() -> str:
    """Tell in which time zone this computer is set to be.

    Returns
    -------
    str
        IANA name; empty where it cannot be told.
    """
    told = os.environ.get("TZ", "").lstrip(":")
    if told in zones():
        return told
    try:
        parts = Path("/etc/localtime").resolve().parts
    except OSError:
        return ""
    name = "/".join(parts[parts.index("zoneinfo") + 1 :]) if "zoneinfo" in parts else ""
    return name if name in zones() else ""


def plans() -> tuple[tuple[str, str], ...]:
    """Name the rule sets for intervals that come with the program.

    Returns
    -------
    tuple of (str, str)
        Id and title.
    """
    from lungwort.plan import rules  # noqa: PLC0415 - only where a plan is chosen

    return tuple((one, rules.load_plan(one).title) for one in rules.plan_ids())


def limit_set(text: str, option: str) -> str:
    """Read which limit set holds.

    Parameters
    ----------
    text : str
        Id of a set that comes with lungwort, the path of a TOML file of the user's own, or
        ``limits/NAME.toml`` for one in the workspace.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The id, or the absolute path of the file; empty where ``none`` was given. A name in the
        workspace is left as it is: `placed` looks there.

    Raises
    ------
    InputError
        Where the set is not known or has mistakes.
    """
    from lungwort.limits import load  # noqa: PLC0415 - only where a set is given

    said = text.strip()
    if not said or said.casefold() == NOTHING:
        return ""
    if is_kept(said) and not Path(said).exists():
        return said
    try:
        found = load.limit_set(said)
    except LimitSetError as error:
        raise InputError(f"{option}: {error}") from error
    return found.id if said in load.shipped_ids() else str(Path(said).resolve())


_OWN = (
    "The limit set is a file of your own and is read anew at each verdict: keep it where it is. Each "
    "verdict keeps what it was judged with."
)


def placed(values: dict[str, Any], workspace: Path | None) -> dict[str, Any]:
    """Name a limit set of the workspace's own relative to it, and look whether it is there.

    Parameters
    ----------
    values : dict
        What is to be recorded of a site or a supply.
    workspace : pathlib.Path, optional
        Folder of the workspace; None where it is not known.

    Returns
    -------
    dict
        The same, with ``limit_set`` as the record names it.

    Raises
    ------
    InputError
        Where a set in the workspace is not there or has mistakes.
    """
    from lungwort.limits import load  # noqa: PLC0415 - only where a set is given

    if not values.get("limit_set"):
        return values
    name = kept_name(values["limit_set"], workspace)
    if is_kept(name):
        try:
            load.limit_set(located(name, workspace))
        except LimitSetError as error:
            raise InputError(f"--limits: {error}") from error
    return {**values, "limit_set": name}


def limit_set_remarks(name: str) -> tuple[str, ...]:
    """Say what to mind about a limit set that is to hold for a supply.

    Parameters
    ----------
    name : str
        As `limit_set` gives it.

    Returns
    -------
    tuple of str
        Remarks; empty for none.
    """
    from lungwort.limits import load  # noqa: PLC0415 - only where a set is given

    if not name:
        return ()
    if is_kept(name):
        return (_OWN,)
    found = load.limit_set(name)
    remarks = []
    if found.use in {"compressed air in general", "workplace exposure", "medicinal air"}:
        remarks.append(
            f"The limit set {found.id} is for {found.use}, not for breathing air from an airline "
            "or a cylinder. Check that this is what is meant."
        )
    if name not in load.shipped_ids():
        remarks.append(_OWN)
    return tuple(remarks)


def plan_id(text: str, option: str) -> str:
    """Read which rule set for intervals holds.

    Parameters
    ----------
    text : str
        Id of a set that comes with lungwort, or the path of a TOML file of the user's own.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The id, or the absolute path of the file; empty where ``none`` was given.

    Raises
    ------
    InputError
        Where the set is not known or has mistakes.
    """
    from lungwort.plan import rules  # noqa: PLC0415 - only where a plan is given

    said = text.strip()
    if not said or said.casefold() == NOTHING:
        return ""
    try:
        rules.load_plan(said)
    except PlanError as error:
        raise InputError(f"{option}: {error}") from error
    return said if said in rules.plan_ids() else str(Path(said).resolve())
