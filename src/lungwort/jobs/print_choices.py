"""What can be chosen where something is printed or packed: supplies, sites, people, stages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.jobs.opening import opened
from lungwort.register.model import WITHDRAWN, Certificate

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.jobs.opening import Where

Pairs = tuple[tuple[str, str], ...]


@frozen(kw_only=True)
class Choices:
    """What can be chosen, each as id and name.

    Parameters
    ----------
    supplies, sites, people : tuple of (str, str)
        Those in use.
    withdrawn : tuple of (str, str)
        Supplies that are withdrawn.
    stages : tuple of (str, str)
        Stages of treatment with a change on record: name, and supply.
    certificates : tuple of (str, str, str)
        Number, supply's id, and name of the outlet; the newest first, without voided ones.
    """

    supplies: Pairs
    sites: Pairs
    people: Pairs
    withdrawn: Pairs
    stages: Pairs
    certificates: tuple[tuple[str, str, str], ...]


def choices(where: Where, *, now: datetime) -> Choices:
    """List what can be chosen.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Choices
        In alphabetical order.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import supply_state  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        newest = {one.id: one for one in workspace.register.rows(Certificate)}
    outlets = {one.id: one.name for one in snapshot.outlets}
    changed = {one.stage_id for one in snapshot.cartridge_changes}
    used = {one.id: one.title or one.name for one in snapshot.supplies_in_use()}
    # A supply that was given up has papers still.
    given_up = {one.id: one.title or one.name for one in snapshot.supplies if one.id not in used}
    return Choices(
        supplies=(*_sorted(used), *_sorted(given_up)),
        sites=_sorted({one.id: one.title or one.name for one in snapshot.sites if one.in_use}),
        people=_sorted({one.id: one.name for one in snapshot.persons if one.in_use}),
        withdrawn=_sorted(
            {
                key: name
                for key, name in {**used, **given_up}.items()
                if supply_state(snapshot, key).state == WITHDRAWN
            }
        ),
        stages=tuple(
            (one.name, used[one.supply_id])
            for one in snapshot.stages
            if one.id in changed and one.in_use and one.supply_id in used
        ),
        certificates=tuple(
            (one.number, one.supply_id, outlets.get(one.outlet_id, one.outlet_id))
            for one in sorted(newest.values(), key=lambda one: one.seq, reverse=True)
            if not one.voided
        ),
    )


def _sorted(named: dict[str, str]) -> Pairs:
    return tuple(sorted(named.items(), key=lambda one: (one[1].casefold(), one[0])))
