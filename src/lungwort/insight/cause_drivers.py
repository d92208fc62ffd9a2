"""Signs of what goes together: gases with each other, with heat, starts, the intake, and a beat."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import evolve, frozen

from lungwort.insight import periodicity
from lungwort.insight.cause_ratio import LEAST_CO2_PER_CO, companion
from lungwort.insight.features import (
    BURSTS,
    CREEP,
    DOWN,
    EPISODE,
    FAINT,
    NONE,
    SINK,
    STEP,
    THRESHOLDS,
    Movement,
    binned,
    correlation,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.insight.cause_ratio import Companion
    from lungwort.insight.cause_series import Series
    from lungwort.insight.features import Floats
    from lungwort.insight.periodicity import Beat

MOVED: Final = (STEP, EPISODE, BURSTS, CREEP, SINK, DOWN)
NAMES: Final = {
    "co": "carbon monoxide",
    "co2": "carbon dioxide",
    "o2": "oxygen",
    "water": "water",
    "voc": "organic vapours",
    "nox": "nitrogen oxides",
}
_CHANCE: Final = 1e-4
_TOGETHER: Final = 0.6
_APART: Final = 0.25
_FOLLOWS: Final = 0.65
_LEAST_SWING_C: Final = 4.0
_ON_SHARE: Final = 0.4
_AFTER_START_S: Final = 900.0
_BINS: Final = 160
_LONGEST_BEAT_S: Final = 5400.0
_STEADY: Final = 0.5
_BEFORE_START_S: Final = 60.0


@frozen
class Sign:
    """What the readings say on one point.

    Parameters
    ----------
    feature : str
        Which point; a key of ``causes.toml``.
    outcome : str
        What was found; one of the outcomes of that feature.
    text : str
        The same in words, with numbers.
    """

    feature: str
    outcome: str
    text: str


def edges_of(series: Series) -> Floats:
    """Give the edges of even bins over readings.

    Parameters
    ----------
    series : Series
        Readings.

    Returns
    -------
    numpy.ndarray
        Edges of 16 to 160 bins [s since 1970-01-01 UTC].
    """
    bins = int(np.clip(series.time_s.size // 3, 16, _BINS))
    return np.linspace(series.time_s[0], series.time_s[-1] + 1e-6, bins + 1)


def together(series: Series, moves: Mapping[str, Movement]) -> list[Sign]:
    """Tell whether carbon monoxide went together with carbon dioxide, and with vapours.

    Parameters
    ----------
    series : Series
        Readings.
    moves : mapping of str to Movement
        How each channel moved.

    Returns
    -------
    list of Sign
        A sign for each that can be told.
    """
    signs: list[Sign] = []
    edges = edges_of(series)
    if "co" not in moves or moves["co"].shape not in MOVED:
        return signs
    co = binned(series.time_s, series.values["co"], edges)
    found = (
        companion(co, binned(series.time_s, series.values["co2"], edges))
        if "co2" in moves
        else None
    )
    if found is not None:
        signs += _engine(found)
    if "voc" in moves and moves["voc"].shape in MOVED:
        rho = correlation(co, binned(series.time_s, series.values["voc"], edges))
        if rho is not None and (rho >= _TOGETHER or rho <= _APART):
            how = "together" if rho >= _TOGETHER else "apart"
            said = f"carbon monoxide and organic vapours moved {how} (correlation {rho:.2f})."
            signs.append(Sign("co_with_voc", how, said))
    return signs


def _engine(found: Companion) -> list[Sign]:
    """Tell whether as much carbon dioxide comes with carbon monoxide as an engine gives off."""
    width = f"{found.per:.2g} ± {found.half_width:.1g} ppm for each ppm of carbon monoxide"
    if found.sure and found.per >= LEAST_CO2_PER_CO:
        said = f"carbon dioxide rose together with carbon monoxide, by {width}."
        return [Sign("co_with_co2", "together", said)]
    if found.below(LEAST_CO2_PER_CO):
        said = (
            f"carbon dioxide did not rise with carbon monoxide as exhaust makes it do: by {width}, "
            f"and exhaust brings {LEAST_CO2_PER_CO} or more."
        )
        return [Sign("co_with_co2", "apart", said)]
    return []


def beat_of(series: Series, scaled: Mapping[str, Floats]) -> tuple[str, Beat | None]:
    """Look for a beat in water, then in carbon dioxide, that the line pressure does not have.

    Parameters
    ----------
    series : Series
        Readings.
    scaled : mapping of str to numpy.ndarray
        The same, water in decades.

    Returns
    -------
    tuple of (str, Beat or None)
        In what it is, empty for nothing, and the beat.
    """
    for name in ("water", "co2"):
        if name not in scaled:
            continue
        beat = periodicity.strongest(series.time_s, scaled[name], longest_s=_LONGEST_BEAT_S)
        if beat is None or beat.chance > _CHANCE or beat.amplitude < THRESHOLDS[name].faint / 2.0:
            continue
        if beat.steadiness >= _STEADY and not _of_pressure(series, beat):
            return name, beat
    return "", None


def _of_pressure(series: Series, beat: Beat) -> bool:
    """Whether the line pressure has the same beat: then it is that of the compressor."""
    if not series.measured("pressure"):
        return False
    own = periodicity.strongest(series.time_s, series.values["pressure"], longest_s=_LONGEST_BEAT_S)
    if own is None or own.chance > _CHANCE:
        return False
    return abs(own.period_s - beat.period_s) <= 0.03 * beat.period_s


def beat_sign(name: str, beat: Beat | None) -> Sign:
    """Put a beat into words.

    Parameters
    ----------
    name : str
        In what it is; empty for nothing.
    beat : Beat, optional
        The beat.

    Returns
    -------
    Sign
        The sign.
    """
    if beat is None or not name:
        return Sign("beat", "no", "no beat of its own was found in water or carbon dioxide.")
    swing = (
        f"to and fro by a factor of {10.0 ** (2.0 * beat.amplitude):.2g}"
        if name == "water"
        else f"by {2.0 * beat.amplitude:.3g} ppm from low to high"
    )
    return Sign(
        "beat",
        name,
        f"{NAMES[name]} swings {swing} every {beat.period_s / 60.0:.3g} min, {beat.cycles:.0f} times "
        f"(chance of that without a beat {beat.chance:.1g}).",
    )


def with_close(series: Series, moves: Mapping[str, Movement]) -> dict[str, Movement]:
    """Take a small rise of carbon dioxide for real where it surely comes with carbon monoxide.

    Parameters
    ----------
    series : Series
        Readings.
    moves : mapping of str to Movement
        How each channel moved.

    Returns
    -------
    dict of str to Movement
        The same, with the shape of carbon monoxide for such a rise.
    """
    made = dict(moves)
    if not {"co", "co2"} <= moves.keys() or moves["co"].shape not in MOVED:
        return made
    if moves["co2"].shape in {FAINT, NONE}:
        edges = edges_of(series)
        one, two = (binned(series.time_s, series.values[name], edges) for name in ("co", "co2"))
        found = companion(one, two)
        if found is not None and found.sure and found.per >= LEAST_CO2_PER_CO:
            co = moves["co"]
            change = found.per * co.change
            if change > 0.0:
                made["co2"] = evolve(
                    moves["co2"],
                    shape=co.shape,
                    change=change,
                    begin_s=co.begin_s,
                    end_s=co.end_s,
                    stays=co.stays,
                )
    return made


def drivers(series: Series, moves: Mapping[str, Movement], intake: Series | None) -> list[Sign]:
    """Tell whether a channel follows temperature, starts or the intake.

    Parameters
    ----------
    series : Series
        Readings at the outlet.
    moves : mapping of str to Movement
        How each channel moved.
    intake : Series, optional
        Readings at the intake.

    Returns
    -------
    list of Sign
        A sign for each that can be told.
    """
    signs = []
    edges = edges_of(series)
    if "co" in moves and moves["co"].shape in MOVED:
        co = binned(series.time_s, series.values["co"], edges)
        if series.measured("temperature"):
            heat = binned(series.time_s, series.values["temperature"], edges)
            rho = correlation(co, heat)
            swing = float(np.nanpercentile(heat, 95.0) - np.nanpercentile(heat, 5.0))
            if rho is not None and swing >= _LEAST_SWING_C:
                yes = rho >= _FOLLOWS
                signs.append(
                    Sign(
                        "co_with_heat",
                        "yes" if yes else "no",
                        f"carbon monoxide {'follows' if yes else 'does not follow'} the temperature "
                        f"(correlation {rho:.2f} over {swing:.0f} °C).",
                    )
                )
        if intake is not None and intake.measured("co"):
            outside = binned(intake.time_s, intake.values["co"], edges)
            rho = correlation(co, outside)
            there = float(np.nanpercentile(outside, 98.0)) if np.isfinite(outside).any() else 0.0
            if rho is not None:
                yes = rho >= _FOLLOWS and there >= THRESHOLDS["co"].clear
                signs.append(
                    Sign(
                        "co_with_intake",
                        "yes" if yes else "no",
                        f"carbon monoxide {'follows' if yes else 'does not follow'} that at the intake "
                        f"(correlation {rho:.2f}, up to {there:.2g} ppm there).",
                    )
                )
    return signs + _after_starts(series, moves)


def starts_of(series: Series) -> Floats | None:
    """Give when the machine started, from flow or line pressure.

    Parameters
    ----------
    series : Series
        Readings.

    Returns
    -------
    numpy.ndarray or None
        Times [s since 1970-01-01 UTC]; None where neither was measured or it never stood still.
    """
    name = next((one for one in ("flow", "pressure") if series.measured(one)), None)
    if name is None:
        return None
    values = series.values[name]
    top = float(np.nanpercentile(values, 90.0))
    good = np.isfinite(values)
    on, times = values[good] > _ON_SHARE * top, series.time_s[good]
    if top <= 0.0 or on.all():
        return None
    return times[1:][on[1:] & ~on[:-1]]


def _after_starts(series: Series, moves: Mapping[str, Movement]) -> list[Sign]:
    starts = starts_of(series)
    name = next(
        (one for one in ("co2", "co", "water") if one in moves and moves[one].shape == BURSTS), None
    )
    if starts is None or name is None or starts.size == 0:
        return []
    runs = moves[name].runs
    after = [
        any(-_BEFORE_START_S <= begin - start <= _AFTER_START_S for start in starts.tolist())
        for begin, _ in runs
    ]
    share = sum(after) / len(after)
    by_chance = min(1.0, starts.size * _AFTER_START_S / float(np.ptp(series.time_s)))
    yes = share >= max(0.6, 1.5 * by_chance)
    return [
        Sign(
            "after_starts",
            "yes" if yes else "no",
            f"{sum(after)} of {len(runs)} bursts of {NAMES[name]} came within 15 min of a start.",
        )
    ]
