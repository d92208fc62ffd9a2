"""Sentences that say why there is a trend or none."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lungwort.insight.mann_kendall import MannKendall
    from lungwort.insight.robust_slope import Slope
    from lungwort.insight.season import Season


def moved(first: float, last: float, count: int) -> str:
    """Say that the days went far one way, and that a line with a date cannot be laid through them.

    Parameters
    ----------
    first, last : float
        Levels of the first and the last quarter of the days [unit of the channel].
    count : int
        How many of the newest days they are [1].

    Returns
    -------
    str
        A sentence or two.
    """
    return (
        f"The newest {count} days went from {first:.4g} to {last:.4g}, almost all of them one way, and each is much like "
        "the one before: a straight line with a date cannot be laid through them. Take it for a trend "
        "until its cause was found."
    )


def never_moved(level: float, count: int, by: str) -> str:
    """Say that no reading differs from another.

    Parameters
    ----------
    level : float
        What all of them read [unit of the channel].
    count : int
        Days or weeks [1].
    by : str
        ``day`` or ``week``.

    Returns
    -------
    str
        Two sentences.
    """
    return (
        f"All readings of the newest {count} {by}s are {level:.4g} and never moved: clean air can look like that to "
        "a coarse instrument, and so does a dead cell. Test it with gas; until it answers, nothing is "
        "known of a trend."
    )


def not_shown(test: MannKendall, line: Slope, sure: float) -> str:
    """Say why no trend is shown.

    Parameters
    ----------
    test : MannKendall
        The test.
    line : Slope
        The line.
    sure : float
        Probability below which the test counts, 0 to 1 [1].

    Returns
    -------
    str
        A sentence.
    """
    if test.variance == 0:
        return "All days are alike."
    if test.p < sure and line.slope == 0:
        return (
            "The days move by single steps of the reading only: too coarse to tell a slope from "
            "none."
        )
    return (
        f"Days without a trend would look like this with probability {share(test.p)} "
        f"(a trend needs less than {sure:g}), or the slope could be zero."
    )


def said(test: MannKendall, line: Slope) -> str:
    """Say that the days have a trend.

    Parameters
    ----------
    test : MannKendall
        The test.
    line : Slope
        The line.

    Returns
    -------
    str
        A sentence.
    """
    way = "rise" if line.slope > 0 else "fall"
    return (
        f"The days {way}: days without a trend would look like this with probability "
        f"{share(test.p)} only, with their memory taken into account."
    )


def share(p: float) -> str:
    """Write a probability.

    Parameters
    ----------
    p : float
        The probability, 0 to 1 [1].

    Returns
    -------
    str
        Three places, or that it is below them.

    Examples
    --------
    >>> share(0.0304), share(1e-9)
    ('0.030', 'below 0.001')
    """
    return "below 0.001" if p < 0.001 else f"{p:.3f}"  # noqa: PLR2004 - three places are shown


def season_said(season: Season | None) -> tuple[str, ...]:
    """Say what was taken out for temperature.

    Parameters
    ----------
    season : Season, optional
        What was looked for.

    Returns
    -------
    tuple of str
        One sentence or none.
    """
    if season is None:
        return ()
    if season.used:
        return (
            (
                f"The part that goes with temperature ({season.per_k:.2g} for each kelvin) was taken "
                f"out; the days are given as at {season.mean_c:.1f} °C."
            ),
        )
    if not season.told_apart:
        return (
            (
                "Temperature could not be told apart from time, or hardly moved: what looks like a "
                "trend may be the season."
            ),
        )
    return ()
