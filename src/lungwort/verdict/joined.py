"""Limits on oil and particles together: what a log's own channels of them add to hand tests."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lungwort.air import analytes
from lungwort.air.interval import Interval
from lungwort.spot.model import SpotTest
from lungwort.spot.together import PARTS, SUM, missing_part
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM
from lungwort.verdict.words import amount, analyte_name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lungwort.limits.model import LimitSet
    from lungwort.verdict.evidence import Evidence, Trust
    from lungwort.verdict.model import Options
    from lungwort.verdict.tally import ChannelTally, Check


def limits_the_sum(limit_set: LimitSet) -> bool:
    """Tell whether a set limits oil and particles together.

    Parameters
    ----------
    limit_set : LimitSet
        The set.
    """
    return any(limit.analyte == SUM for limit in limit_set)


def logged_parts(
    tallies: Sequence[ChannelTally],
    checks: Sequence[Check],
    trust: Mapping[str, Trust],
    options: Options,
    period_us: int,
    interval_us: int,
) -> list[SpotTest]:
    """Give logged oil and logged particles in the form in which they enter a sum.

    A hand test of the other part was done at one time of the log, so that a channel stands for
    anything up to its highest reading. Without the highest reading, or where the channel cannot
    prove anything by itself, it stands for anything at all, and the sum is then never inside.

    Parameters
    ----------
    tallies : sequence of ChannelTally
        What was counted of the channels.
    checks : sequence of Check
        The channels held against limits.
    trust : mapping
        Channel name to what speaks against the channel.
    options : Options
        For the least coverage.
    period_us : int
        Length of the period [µs].
    interval_us : int
        Sampling interval [µs]; 0 where it is not known.

    Returns
    -------
    list of SpotTest
        One a channel of oil or of particles that has usable readings.
    """
    parts = []
    for tally in tallies:
        channel = tally.channel
        if channel.analyte not in PARTS or not tally.usable:
            continue
        highest = next(
            (one.highest for one in checks if one.channel is channel and one.follows[1]), None
        )
        good_us = tally.covered_us - tally.covered_suspect_us
        proves = (
            interval_us > 0
            and not trust[channel.name].doubts
            and good_us >= options.min_coverage * period_us * (1 - 1e-9)
        )
        where = f"channel {channel.name} of the log"
        if proves and highest is not None and highest.value is not None and not highest.is_open:
            value = Interval(-math.inf, max(0.0, highest.value), channel.unit, lower_included=False)
            given = f"highest reading {amount(highest.value, channel.unit)} of {where}"
        else:
            value = Interval(
                -math.inf, math.inf, channel.unit, lower_included=False, upper_included=False
            )
            given = f"{where}, which proves nothing by itself"
        parts.append(
            SpotTest(
                analyte=channel.analyte,
                quantity=analytes.MASS_CONCENTRATION,
                value=value,
                means="log",
                given=given,
            )
        )
    return parts


def says_nothing(spot: SpotTest, said: Evidence) -> str:
    """Tell why a test that was worked out says nothing of a limit.

    Parameters
    ----------
    spot : SpotTest
        The test.
    said : Evidence
        What it says of the limit.

    Returns
    -------
    str
        The reason; empty where it is heard. The least that a sum can be is heard where it is
        outside, and the most that a part can be where it is inside.
    """
    lacks = missing_part(spot)
    if lacks and said.verdict != DOES_NOT_CONFORM:
        has = next(part for part in PARTS if part != lacks)
        return (
            f"The limit is on oil and particles together, and only {has} is known ({spot.given}). "
            f"A hand test of {lacks} is missing: give one, or one of both together."
        )
    if spot.analyte in PARTS and spot.parts and said.verdict != CONFORMS and not said.doubted:
        return (
            f"The test of oil and particles together ({spot.given}) does not show that "
            f"{analyte_name(spot.analyte)} alone is inside. Test it by itself."
        )
    return ""
