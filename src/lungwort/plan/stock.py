"""How many are left of what tests use up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.plan.snapshot import by_id

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.plan.snapshot import Snapshot


def left(snapshot: Snapshot, lot_id: str, time: datetime | None = None) -> int:
    """Count what is left of a lot.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    lot_id : str
        The lot.
    time : datetime, optional
        The moment after which uses do not count, UTC; None for all uses on record.

    Returns
    -------
    int
        How many are left [1]: what came less what was used. Below 0 where more was used than
        came; 0 for a lot that is not on record.
    """
    lot = by_id(snapshot.lots, lot_id)
    if lot is None:
        return 0
    used = (
        use.count
        for use in snapshot.lot_uses
        if use.lot_id == lot_id and (time is None or use.time <= time)
    )
    return lot.stock - sum(used)
