"""Why a log cannot prove anything by itself, and what its readings without a time still say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import evolve

from lungwort.logs import model as logs
from lungwort.verdict.blocks import microseconds
from lungwort.verdict.evidence import Evidence, Trust, tidy
from lungwort.verdict.model import DOES_NOT_CONFORM, Worst
from lungwort.verdict.words import amount, count, duration

if TYPE_CHECKING:
    from lungwort.logs.model import Channel, Log
    from lungwort.verdict.evidence import Court
    from lungwort.verdict.tally import ChannelTally, Check

_MOST_CAUSES: Final = 3
_CAUSE_WORDS: Final = {
    "gap": "no readings",
    "settling": "settling anew",
    "frozen": "the logger frozen",
    "stuck": "the channel stuck",
    "missing": "readings missing",
    "code": "codes in place of readings",
    "range": "readings that no sensor can give",
}


def trust_in(log: Log, channel: Channel, first_us: int, last_us: int, interval_us: int) -> Trust:
    """Gather what speaks against a channel, and where its time went.

    Parameters
    ----------
    log : Log
        The log.
    channel : Channel
        The channel.
    first_us, last_us : int
        The period [µs UTC].
    interval_us : int
        Sampling interval [µs]; 0 where it is not known.

    Returns
    -------
    Trust
        Doubts and lost time, in words.
    """
    own = [why for name, why in log.channel_doubts if name == channel.name]
    lost: dict[str, int] = {}
    for stretch in log.stretches:
        if stretch.channel not in {"", channel.name}:
            continue
        if stretch.cause != "gap" and stretch.flag not in {
            logs.NOT_EVALUATED,
            logs.BAD,
            logs.MISSING,
        }:
            continue
        start, end = microseconds(stretch.start), microseconds(stretch.end)
        if stretch.cause != "gap":
            end += interval_us
        inside = min(end, last_us) - max(start, first_us)
        if inside > 0:
            words = _CAUSE_WORDS.get(stretch.cause, stretch.cause)
            lost[words] = lost.get(words, 0) + inside
    most = sorted(lost.items(), key=lambda item: -item[1])[:_MOST_CAUSES]
    words = ", ".join(f"{cause} for {duration(length / 1e6)}" for cause, length in most)
    return Trust(doubts=(*own, *log.doubts), lost=words)


def with_unplaced(
    said: Evidence, log: Log | None, check: Check, tally: ChannelTally, court: Court
) -> Evidence:
    """Add what readings without a trusted time say.

    They are no part of the period and prove nothing, but one outside the limit was measured all
    the same: the air was outside, and nobody can say when.

    Parameters
    ----------
    said : Evidence
        What the channel's readings in time say.
    log : Log, optional
        The log.
    check : Check
        The channel held against the limit.
    tally : ChannelTally
        What was counted of the channel.
    court : Court
        What evidence is weighed with.

    Returns
    -------
    Evidence
        The same, or ``does_not_conform`` where such a reading is outside.
    """
    channel = tally.channel
    frame = None if log is None else log.unplaced
    # A single reading does not break a limit on a mean; the doubt about its time stays.
    if frame is None or channel.name not in frame.columns or court.window_s is not None:
        return said
    flag = pl.col(logs.flag_column(channel.name))
    columns = [pl.col(channel.name).alias("v"), pl.col(logs.TIME).alias("t")]
    censor_name = logs.censor_column(channel.name)
    censor = pl.col(censor_name) if censor_name in frame.columns else pl.lit(logs.PLAIN)
    kept = frame.filter(flag.is_in([logs.GOOD, logs.SUSPECT]) & pl.col(channel.name).is_finite())
    kept = kept.select(*columns, censor.cast(pl.Int8).alias("c"))
    low, high = tally.possible
    kept = kept.filter(pl.col("v").is_between(low, high))
    values = kept["v"].to_numpy()
    above, below, _ = check.basis.window.hold(values, kept["c"].to_numpy())
    for side, mask in (("above", above), ("below", below)):
        places = np.flatnonzero(mask)
        if not len(places):
            continue
        pick = np.argmax if side == "above" else np.argmin
        place = int(places[int(pick(values[places]))])
        here = tidy(check.basis.value_in_limit_unit(float(values[place])))
        bound = court.ends[1] if side == "above" else court.ends[0]
        furthest = "highest" if side == "above" else "lowest"
        stamp = kept["t"][place]
        when = f"; the logger's clock said {court.clock.show(stamp)}" if stamp is not None else ""
        told = (
            f"{count(len(places), 'reading')} without a trusted time {side} "
            f"{amount(bound or 0.0, court.limit.unit)}, the {furthest} {amount(here, court.limit.unit)}{when}."
        )
        if said.verdict == DOES_NOT_CONFORM:
            return evolve(said, remarks=(*said.remarks, f"Also {told}"))
        margin = None if bound is None else tidy(-abs(here - bound))
        return evolve(
            said,
            verdict=DOES_NOT_CONFORM,
            reason=told,
            worst=Worst(
                value=here,
                unit=court.limit.unit,
                text=amount(float(values[place]), check.basis.unit),
                logged_value=float(values[place]) if check.basis.converted else None,
                logged_unit=check.basis.unit if check.basis.converted else "",
            ),
            margin=margin,
            probability=None,
            uncertainty=None,
            uncertainty_source="",
        )
    return said
