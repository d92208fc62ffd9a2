"""The signs that readings give of a cause, each with one of a few outcomes.

A sign whose channel was not measured is left out; it never counts for or against anything.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np
from attrs import field, frozen

from lungwort.insight import mass_balance
from lungwort.insight.cause_drivers import (
    MOVED,
    NAMES,
    Sign,
    beat_of,
    beat_sign,
    drivers,
    together,
    with_close,
)
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
    movement,
    noise_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from lungwort.insight.cause_series import Series
    from lungwort.insight.features import Floats
    from lungwort.insight.mass_balance import Balance
    from lungwort.insight.periodicity import Beat

UNITS: Final = {"co": "ppm", "co2": "ppm", "o2": "%", "water": "mg/m³", "voc": "ppm", "nox": "ppm"}

GASES: Final = ("co", "co2", "o2", "voc", "nox")

O2_FAR: Final = 0.5
"""Oxygen this far from that of air [% by volume] is nothing that fumes at the intake do; reasoning."""

AMBIENT_WATER_MG_M3: Final = 3500.0
"""Water of rather dry surrounding air [mg/m³]; own rule."""

_LEAST_SATURATION: Final = 94.0
_BEYOND_SATURATION: Final = 125.0
_BELOW_ZERO_CO_PPM: Final = -1.5
_ROUGH: Final = 2.5
_PPM_A_PERCENT: Final = 1e4
# Doubt of a change within one log: cells drift, and displays round.
_CO2_DOUBT: Final = (30.0, 0.05)
_O2_DOUBT_PPM: Final = 1000.0


@frozen
class Seen:
    """All that was made out.

    Parameters
    ----------
    signs : tuple of Sign
        The signs.
    moves : mapping of str to Movement
        How each measured channel moved.
    missing : tuple of str
        Channels that would tell more and were not measured.
    balance : Balance, optional
        How carbon dioxide and oxygen went together, where both were measured and moved.
    beat : Beat, optional
        The beat that was found.
    clear : bool
        Whether anything moved clearly; else no cause is named.
    begin_s, end_s : float
        From when to when the strongest channel was off [s since 1970-01-01 UTC].
    spans : tuple of (float, float)
        The same stretch by stretch [s since 1970-01-01 UTC].
    """

    signs: tuple[Sign, ...]
    moves: Mapping[str, Movement] = field(repr=False)
    missing: tuple[str, ...]
    balance: Balance | None
    beat: Beat | None
    clear: bool
    begin_s: float
    end_s: float
    spans: tuple[tuple[float, float], ...] = ()


def decades(water_mg_m3: Floats) -> Floats:
    """Give water in decades, so that a drier that lets through twice as much shows at any level.

    Parameters
    ----------
    water_mg_m3 : numpy.ndarray
        Water, NaN for none, shape (n,) [mg/m³]; below 0.1 is taken as 0.1.

    Returns
    -------
    numpy.ndarray
        Common logarithm, shape (n,) [decades].
    """
    return np.log10(np.maximum(water_mg_m3, 0.1))


def see(series: Series, *, zone: str = "UTC", intake: Series | None = None) -> Seen:
    """Make out the signs in readings.

    Parameters
    ----------
    series : Series
        Readings at the outlet, with some time before and after the event.
    zone : str
        IANA time zone of the place.
    intake : Series, optional
        Readings at the intake over the same time.

    Returns
    -------
    Seen
        The signs, and what they rest on.
    """
    scaled = {
        name: decades(values) if name == "water" else values
        for name, values in series.values.items()
        if name in THRESHOLDS and series.measured(name)
    }
    moves = {
        name: found
        for name, values in scaled.items()
        if (found := movement(series.time_s, values, THRESHOLDS[name])) is not None
    }
    moves = with_close(series, moves)
    named, beat = beat_of(series, scaled)
    signs = [*_shapes(moves), *together(series, moves), *_levels(series, moves)]
    balance = _balance(moves)
    if balance is not None and balance.word != mass_balance.CANNOT_TELL:
        signs.append(Sign("balance", balance.word, balance.text))
    if {"co2", "water"} & scaled.keys():
        signs.append(beat_sign(named, beat))
    signs += drivers(series, moves, intake)
    strongest = _strongest(moves)
    if strongest is not None:
        signs += _strongest_signs(moves, strongest, zone)
    lead = moves[strongest] if strongest is not None else None
    return Seen(
        signs=tuple(signs),
        moves=moves,
        missing=tuple(NAMES[name] for name in THRESHOLDS if name not in moves),
        balance=balance,
        beat=beat if named else None,
        clear=strongest is not None or bool(named) or _far(series) is not None,
        begin_s=float(series.time_s[0]) if lead is None else lead.begin_s,
        end_s=float(series.time_s[-1]) if lead is None else lead.end_s,
        spans=() if lead is None else _spans(lead),
    )


def _spans(lead: Movement) -> tuple[tuple[float, float], ...]:
    """Give the stretches in which the channel that moved most was off."""
    within = tuple(one for one in lead.runs if lead.begin_s <= one[0] and one[1] <= lead.end_s)
    return within if len(within) > 1 else ((lead.begin_s, lead.end_s),)


def _said(name: str, move: Movement) -> str:
    if name == "water":
        return f"{NAMES[name]} to {10.0**move.change:.2g} times what it was"
    return (
        f"{NAMES[name]} by {move.change:+.3g} {UNITS[name]} from {move.baseline:.3g} {UNITS[name]}"
    )


_SHAPE_WORDS: Final = {
    NONE: "did not move",
    FAINT: "moved so little that it may be the cell",
    STEP: "changed and stayed",
    EPISODE: "changed for a while and came back",
    BURSTS: "rose in short bursts",
    CREEP: "crept up",
    SINK: "sank slowly",
    DOWN: "fell",
}


def _shapes(moves: Mapping[str, Movement]) -> list[Sign]:
    return [
        Sign(
            name,
            moves[name].shape,
            f"{NAMES[name]} {_SHAPE_WORDS[moves[name].shape]}"
            + ("." if moves[name].shape == NONE else f": {_said(name, moves[name])}."),
        )
        for name in moves
    ]


def _far(series: Series) -> float | None:
    """Give how far oxygen stood from that of air, where that is far."""
    if not series.measured("o2"):
        return None
    o2 = series.values["o2"]
    low, high = np.nanpercentile(o2, [5.0, 95.0])
    air = 100.0 * mass_balance.AIR_O2
    worst = max((float(low) - air, float(high) - air), key=abs)
    return worst if abs(worst) >= O2_FAR else None


def _levels(series: Series, moves: Mapping[str, Movement]) -> list[Sign]:
    """Signs that rest on where readings stood, not on how they moved."""
    signs = []
    if series.measured("o2"):
        far = _far(series)
        text = "oxygen stayed within 0.5 % of that of air."
        if far is not None:
            text = f"oxygen stood {far:+.2f} % from that of air; fumes and breath do not do that."
        signs.append(Sign("o2_far", "no" if far is None else "yes", text))
    if series.water_level and "water" in moves and moves["water"].shape in MOVED:
        at = 10.0 ** (moves["water"].baseline + moves["water"].change)
        like = at >= AMBIENT_WATER_MG_M3
        signs.append(
            Sign(
                "water_like_room",
                "yes" if like else "no",
                f"water reached about {at:.3g} mg/m³, "
                f"{'as much as in the air of a room' if like else 'far less than in the air of a room'}.",
            )
        )
    if series.saturation is not None and np.isfinite(series.saturation).any():
        top = float(np.nanpercentile(series.saturation, 98.0))
        word, said = "no", ""
        if top >= _BEYOND_SATURATION:
            word, said = "beyond", ": more than air under that pressure holds as vapour"
        elif top >= _LEAST_SATURATION:
            word, said = "full", ": water can stand in the line"
        signs.append(
            Sign(
                "saturated",
                word,
                f"the air in the line reached {min(top, 999.0):.0f} % of saturation{said}.",
            )
        )
    if series.measured("co"):
        low = float(np.nanpercentile(series.values["co"], 1.0))
        below = low <= _BELOW_ZERO_CO_PPM
        signs.append(
            Sign(
                "below_zero",
                "yes" if below else "no",
                f"carbon monoxide was read as low as {low:.2g} ppm"
                f"{', which no gas is' if below else ''}.",
            )
        )
    if "water" in moves and moves["water"].shape in MOVED:
        move = moves["water"]
        rough = roughness(series.time_s, decades(series.values["water"]), move.begin_s, move.end_s)
        if rough is not None:
            yes = rough >= _ROUGH
            signs.append(
                Sign(
                    "rough_water",
                    "yes" if yes else "no",
                    f"water jumped about {rough:.2g} times as much while it was off as before"
                    f"{', as slugs make it do' if yes else ''}.",
                )
            )
    return signs


def _balance(moves: Mapping[str, Movement]) -> Balance | None:
    if not {"co2", "o2"} <= moves.keys():
        return None
    co2, o2 = moves["co2"], moves["o2"]
    if co2.shape not in MOVED and o2.shape not in MOVED:
        return None
    rise = co2.change if co2.shape in MOVED else 0.0
    drop = -o2.change * _PPM_A_PERCENT if o2.shape in MOVED else 0.0
    return mass_balance.balance(
        rise,
        drop,
        co2_doubt_ppm=_CO2_DOUBT[0] + _CO2_DOUBT[1] * abs(rise),
        o2_doubt_ppm=_O2_DOUBT_PPM + 0.1 * abs(drop),
    )


def _strongest(moves: Mapping[str, Movement]) -> str | None:
    """Name the channel that moved most clearly."""
    clear = {
        name: abs(one.change) / THRESHOLDS[name].clear
        for name, one in moves.items()
        if one.shape in MOVED and one.clear
    }
    return max(clear, key=lambda one: clear[one]) if clear else None


def _strongest_signs(moves: Mapping[str, Movement], lead: str, zone: str) -> list[Sign]:
    from datetime import UTC, datetime  # noqa: PLC0415 - only here

    move = moves[lead]
    moved = [name for name, one in moves.items() if one.shape in MOVED]
    signs = [
        Sign(
            "stays",
            move.stays,
            f"{NAMES[lead]}, which moved most, {_STAYS[move.stays]} by the end of the readings.",
        )
    ]
    slow = len(moved) == 1 and lead in GASES and move.shape in {CREEP, SINK}
    signs.append(
        Sign(
            "slow_alone",
            "yes" if slow else "no",
            f"{NAMES[lead]} alone moved, slowly and without end, as a cell that drifts does."
            if slow
            else "no gas moved alone and slowly, as a cell that drifts does.",
        )
    )
    if len(moves) >= 3:  # noqa: PLR2004 - of two channels one alone says little
        count = "one" if len(moved) == 1 else "two" if len(moved) == 2 else "more"  # noqa: PLR2004
        signs.append(
            Sign(
                "how_many",
                count,
                f"{len(moved)} of {len(moves)} measured channels moved: "
                f"{', '.join(NAMES[name] for name in moved)}.",
            )
        )
    if move.shape in {STEP, EPISODE, BURSTS}:
        local = datetime.fromtimestamp(move.begin_s, UTC).astimezone(ZoneInfo(zone))
        day = 6 <= local.hour < 19  # noqa: PLR2004 - hours of work and traffic
        signs.append(
            Sign(
                "hour",
                "day" if day else "night",
                f"it began at {local:%H:%M}, {'in' if day else 'outside'} hours of work and traffic.",
            )
        )
    return signs


_STAYS: Final[dict[str, str]] = {
    "returns": "had come back",
    "stays": "had not come back",
    "rises on": "was still on its way",
}


def roughness(time_s: Floats, values: Floats, begin_s: float, end_s: float) -> float | None:
    """Give how much rougher readings are within a span than outside.

    Parameters
    ----------
    time_s, values : numpy.ndarray
        Times [s] and readings [any unit], NaN for none, shape (n,).
    begin_s, end_s : float
        The span [s].

    Returns
    -------
    float or None
        Noise within over noise outside [1]; None where either has fewer than twelve readings or
        there is no noise outside.
    """
    good = np.isfinite(values)
    inside = good & (time_s >= begin_s) & (time_s <= end_s)
    outside = good & ~inside
    if inside.sum() < 12 or outside.sum() < 12:  # noqa: PLR2004 - fewer give no noise
        return None
    quiet = noise_of(values[outside])
    return noise_of(values[inside]) / quiet if quiet > 0.0 else None


def as_data(seen: Seen) -> dict[str, Any]:
    """Give what was made out for machines.

    Parameters
    ----------
    seen : Seen
        What was made out.

    Returns
    -------
    dict
        Signs, movements, missing channels; numbers, texts and lists only.
    """
    return {
        "signs": [
            {"feature": one.feature, "outcome": one.outcome, "text": one.text} for one in seen.signs
        ],
        "movements": {
            name: {
                "shape": one.shape,
                "change": one.change,
                "baseline": one.baseline,
                "noise": one.noise,
                "clear": one.clear,
            }
            for name, one in seen.moves.items()
        },
        "not_measured": list(seen.missing),
        "balance": None if seen.balance is None else seen.balance.word,
        "beat_s": None if seen.beat is None else seen.beat.period_s,
    }
