"""Put the causes of bad air in words, tables and drawings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import field, frozen

from lungwort.insight.cause import LEFT_TO_OTHER
from lungwort.insight.cause_drivers import NAMES
from lungwort.insight.cause_signs import UNITS, as_data
from lungwort.insight.cause_table import OTHER, OTHER_TITLE, causes
from lungwort.paper.calculation import (
    ESTIMATE,
    NOT_PROVEN,
    Calculation,
    Curve,
    Grid,
    Plot,
    Quantity,
    Stated,
)

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.insight.cause import Ranked, Ranking
    from lungwort.insight.cause_series import Series

KIND: Final = "cause"
TITLE: Final = "Why did the air go wrong?"
CAUTIONS: Final = (
    (
        "What is named is a pointer to what to look at first. It is no finding, and it never makes air "
        "fit to breathe again."
    ),
    "Whatever the cause, the air counts as bad until it was tested again and found good.",
    "Whoever may have breathed bad air is sent to a doctor at once, whatever the number.",
    (
        "A calculation from the readings given; it does not replace a measurement at the wearer, the "
        "equipment maker's instructions, the standard itself, local codes or a competent person."
    ),
)
UNCERTAINTY: Final = (
    "The beliefs rest on judgement of how machines, driers and cells behave, tried on invented logs "
    "with known causes; no counts of real cases were at hand. Two causes at once look like "
    "neither. Read them as an order in which to look, not as chances to bet on."
)
SOURCES: Final = (
    "Carbon dioxide up per oxygen down, 1/(1 + h/4): stoichiometry; computed.",
    "Dry air, 20.947 % oxygen: published air composition; confirmed.",
    (
        "Carbon monoxide from oil: little chance in normal running, significant on overheating; OSHA "
        "memo of 1994-07-05; confirmed."
    ),
    (
        "Beat in the readings: M. Zechmeister and M. Kürster, Astronomy and Astrophysics 496 (2009) 577; "
        "chance of noise: R. V. Baluev, Monthly Notices of the Royal Astronomical Society 385 (2008) "
        "1279; from memory."
    ),
    "How likely a sign is under a cause: reasoning; own rule.",
)
_MOST_REASONS: Final = 4
_MOST_DRAWN: Final = 1500
_MOST_SHADES: Final = 60
_DRAWN: Final = ("co", "co2", "o2", "water")


ORDINARY: Final = {
    "co": (0.0, 5.0, "ppm"),
    "co2": (0.0, 1000.0, "ppm"),
    "o2": (19.5, 23.5, "%"),
}
"""Between these nobody calls a gas bad for that alone [unit]; own rule. They are no limits."""
DRAWN_IN: Final = (
    "Carbon monoxide and carbon dioxide rose together, as where exhaust is drawn in: a catalyst makes "
    "none, it only lets it through."
)
LOOK_AT_INTAKE: Final = "Look at the intake first: engines, boilers and fires near it, and the wind. The catalyst comes second."
HOLE_S: Final = 600.0
"""Time without a reading from which it is told [s]; own rule."""
HOLE_STEPS: Final = 5.0
MOST_HOLES: Final = 5


@frozen
class Ground:
    """What a result rests on.

    Parameters
    ----------
    ranking : Ranking
        The causes in order.
    series : Series
        The readings.
    subject : str
        Of what.
    zone : str
        IANA time zone.
    now : datetime
        The time, UTC.
    inputs : tuple of Quantity
        What went in.
    assumptions : tuple of Stated
        What was taken for granted.
    left_out : tuple of str
        What was not taken into account.
    intake : bool
        Whether readings at the intake were given.
    """

    ranking: Ranking = field(repr=False)
    series: Series = field(repr=False)
    subject: str
    zone: str
    now: datetime
    inputs: tuple[Quantity, ...] = ()
    assumptions: tuple[Stated, ...] = ()
    left_out: tuple[str, ...] = ()
    intake: bool = False


def calculation_of(ground: Ground) -> Calculation:
    """Put a ranking of causes into words.

    Parameters
    ----------
    ground : Ground
        What it rests on.

    Returns
    -------
    Calculation
        An estimate where a cause stands out, else not proven; never more.
    """
    ranking = ground.ranking
    named = ranking.named
    return Calculation(
        kind=KIND,
        title=TITLE,
        subject=ground.subject,
        made_at=ground.now,
        zone=ground.zone,
        state=ESTIMATE if ranking.told else NOT_PROVEN,
        word="likely cause" if ranking.told else "cannot be told",
        answer=_answer(ground),
        reasons=(*bad_all_along(ground.series), *_holes(ground), *_reasons(ranking)),
        results=_results(ground),
        inputs=ground.inputs,
        grids=_grids(ranking, named),
        plots=_plots(ground),
        assumptions=ground.assumptions,
        uncertainty=UNCERTAINTY,
        cautions=_cautions(ranking, named),
        sources=SOURCES,
        left_out=(*_missing(ground), *ground.left_out),
        next_steps=_next(ground, named),
        data=_data(ranking),
    )


def bad_all_along(series: Series) -> tuple[str, ...]:
    """Tell which gases were bad from the first reading to the last, so that nothing moved.

    Parameters
    ----------
    series : Series
        The readings.

    Returns
    -------
    tuple of str
        A sentence for each; empty for none.
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    found = []
    for analyte, (low, high, unit) in ORDINARY.items():
        if not series.measured(analyte):
            continue
        values = series.values[analyte][np.isfinite(series.values[analyte])]
        least, most = (float(np.quantile(values, share)) for share in (0.02, 0.98))
        if least > high or most < low:
            level, word = (least, "or more") if least > high else (most, "or less")
            found.append(
                f"{_capital(NAMES.get(analyte, analyte))} was at {level:.3g} {unit} {word} all along, which "
                "is bad air: what went wrong began before these readings. Give an earlier beginning with "
                "--from."
            )
    return tuple(found)


def _holes(ground: Ground) -> tuple[str, ...]:
    """Tell where there is no reading that can be used: what happened there nobody knows."""
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    found: dict[tuple[float, float], list[str]] = {}
    for analyte, values in ground.series.values.items():
        if analyte not in ORDINARY or not ground.series.measured(analyte):
            continue
        times = ground.series.time_s[np.isfinite(values)]
        steps = np.diff(times)
        long = steps > max(HOLE_S, HOLE_STEPS * float(np.median(steps)))
        for at in np.flatnonzero(long).tolist():
            hole = (float(times[at]), float(times[at + 1]))
            found.setdefault(hole, []).append(NAMES.get(analyte, analyte))
    told = [
        f"Nothing is known of {', '.join(names)} from {_when(ground, begin)} to {_when(ground, end)} "
        f"({(end - begin) / 60.0:.0f} min): there is no reading that can be used."
        for (begin, end), names in sorted(found.items())
    ]
    if len(told) > MOST_HOLES:
        told = [*told[:MOST_HOLES], f"There are {len(told) - MOST_HOLES} more such holes."]
    return tuple(told)


def _percent(belief: float) -> str:
    return f"{100.0 * belief:.0f} %"


def _answer(ground: Ground) -> str:
    ranking = ground.ranking
    first = ranking.ranked[0]
    if ranking.told:
        said = (
            f"Most likely {first.title} (belief {_percent(first.belief)}). Confirm it before you "
            "act on it alone."
        )
        return f"{said} {DRAWN_IN}" if _is_drawn_in(ranking) else said
    named = ranking.named
    unknown = (*bad_all_along(ground.series), *_holes(ground))
    if unknown and not _moved(ranking):
        return f"No cause can be told. {unknown[0]}"
    if not named:
        return f"No cause can be told: {ranking.why_not}"
    listed = "; ".join(f"{one.title} ({_percent(one.belief)})" for one in named[:3])
    return f"No cause can be told for certain: {ranking.why_not} Possible: {listed}."


def _is_drawn_in(ranking: Ranking) -> bool:
    """Tell whether a catalyst is named, and what it lets through looks like exhaust."""
    return ranking.ranked[0].id == "catalyst" and any(
        (one.feature, one.outcome) == ("co_with_co2", "together") for one in ranking.seen.signs
    )


def _reasons(ranking: Ranking) -> tuple[str, ...]:
    if not ranking.told:
        return (_capital(ranking.why_not), *(_capital(text) for text in _moved(ranking)))
    first = ranking.ranked[0]
    for_ = [f"{_capital(one.sign.text)} That {one.word} it." for one in first.speaks_for]
    against = [f"{_capital(one.sign.text)} That {one.word} it." for one in first.speaks_against]
    return (*for_[:_MOST_REASONS], *against[:_MOST_REASONS])


def _moved(ranking: Ranking) -> list[str]:
    return [
        one.text
        for one in ranking.seen.signs
        if one.feature in ranking.seen.moves and one.outcome != "none"
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _results(ground: Ground) -> tuple[Quantity, ...]:
    ranking, seen = ground.ranking, ground.ranking.seen
    made = [
        Quantity(f"Belief in {one.title}", 100.0 * one.belief, "%", source="computed", digits=2)
        for one in (*ranking.named[:4], *(one for one in ranking.ranked if one.id == OTHER))
    ]
    if seen.clear:
        made += [
            Quantity("Off from", _when(ground, seen.begin_s), source="computed"),
            Quantity("Off until", _when(ground, seen.end_s), source="computed"),
        ]
    for name, move in seen.moves.items():
        if name == "water" or move.shape == "none":
            continue
        made.append(
            Quantity(f"Change of {NAMES[name]}", move.change, UNITS[name], source="computed")
        )
    co, co2 = (seen.moves.get(name) for name in ("co", "co2"))
    if co is not None and co2 is not None and co.clear and co2.clear and co.change > 0.0:
        ratio = co2.change / co.change
        made.append(Quantity("Carbon dioxide per carbon monoxide", ratio, source="computed"))
    if seen.beat is not None:
        made.append(Quantity("Beat", seen.beat.period_s / 60.0, "min", source="computed"))
    return tuple(made)


def _when(ground: Ground, second: float) -> str:
    from datetime import UTC, datetime  # noqa: PLC0415 - only here
    from zoneinfo import ZoneInfo  # noqa: PLC0415 - only here

    moment = datetime.fromtimestamp(second, UTC).astimezone(ZoneInfo(ground.zone))
    return f"{moment:%Y-%m-%d %H:%M}"


def _grids(ranking: Ranking, named: tuple[Ranked, ...]) -> tuple[Grid, ...]:
    order = Grid(
        title="Causes in order",
        head=("Cause", "Belief [%]", "How likely", "What speaks for it", "What speaks against it"),
        rows=tuple(
            (
                one.title,
                round(100.0 * one.belief, 1),
                "–" if one.id == OTHER or not ranking.seen.clear else one.word,
                _words(one, speaks_for=True),
                _words(one, speaks_for=False),
            )
            for one in ranking.ranked
        ),
        marked=(0,) if ranking.told else (),
        note=f"'{_capital(OTHER_TITLE)}' always keeps {_percent(LEFT_TO_OTHER)} at least.",
    )
    shown = named[:2] or ranking.ranked[:1]
    shown = tuple(one for one in shown if one.cause is not None)
    signs = Grid(
        title="What the readings say",
        head=("Sign", *(f"For {one.title}" for one in shown)),
        rows=tuple(
            (_capital(sign.text), *(_weight(one, sign.feature) for one in shown))
            for sign in ranking.seen.signs
        ),
    )
    confirm = Grid(
        title="What would confirm it",
        head=("Cause", "What it does", "What would confirm it", "What to do first"),
        rows=tuple(
            (one.title, one.cause.why, " ".join(one.cause.confirm), " ".join(one.cause.first))
            for one in named
            if one.cause is not None
        ),
    )
    return (order, signs, confirm)


def _words(one: Ranked, *, speaks_for: bool) -> str:
    if one.cause is None:
        return "–"
    found = one.speaks_for if speaks_for else one.speaks_against
    said = [_SHORT.get(each.sign.feature, each.sign.feature) for each in found[:5]]
    if not speaks_for and one.lacking:
        said.append("not measured: " + ", ".join(_SHORT.get(need, need) for need in one.lacking))
    return ", ".join(said) or "–"


_SHORT: Final = {
    **NAMES,
    "co_with_co2": "carbon monoxide with carbon dioxide",
    "co_with_voc": "carbon monoxide with vapours",
    "balance": "balance of carbon dioxide and oxygen",
    "o2_far": "oxygen far off",
    "water_like_room": "water as in a room",
    "saturated": "saturation in the line",
    "below_zero": "readings below zero",
    "beat": "a beat",
    "co_with_heat": "carbon monoxide with heat",
    "co_with_intake": "carbon monoxide with the intake",
    "after_starts": "bursts after starts",
    "stays": "how it ended",
    "how_many": "how many channels moved",
    "slow_alone": "one gas alone and slowly",
    "rough_water": "slugs of water",
    "hour": "the hour",
}


def _weight(one: Ranked, feature: str) -> str:
    return next((each.word for each in one.weighed if each.sign.feature == feature), "–")


def _cautions(ranking: Ranking, named: tuple[Ranked, ...]) -> tuple[str, ...]:
    shown = named[:1] if ranking.told else named[:3]
    own = [text for one in shown if one.cause is not None for text in one.cause.cautions]
    return (*own, *CAUTIONS)


def _next(ground: Ground, named: tuple[Ranked, ...]) -> tuple[str, ...]:
    ranking = ground.ranking
    if ranking.told and named and named[0].cause is not None:
        cause = named[0].cause
        beside = (LOOK_AT_INTAKE,) if _is_drawn_in(ranking) else ()
        return (*beside, *cause.first, *(f"To confirm it: {text}" for text in cause.confirm))
    if not _moved(ranking) and bad_all_along(ground.series):
        return (
            "Treat the air as bad: take the supply out of use, and test it again with a second instrument.",
            "Look at readings from before it went bad: give an earlier beginning with --from.",
        )
    if not _moved(ranking) and _holes(ground):
        return (
            (
                "Look for other readings of the time in which there are none; until then take it that the "
                "air may have been bad there."
            ),
        )
    if not _moved(ranking):
        # Where nothing went wrong nobody is to be frightened; nothing is proven clean by it either.
        return (
            (
                "Nothing moved clearly in these readings. If there was bad air, give its span with --from "
                "and --to; whether the air is fit to breathe is judged with 'lungwort judge'."
            ),
        )
    steps = ["Treat the air as bad, and test it again with a second instrument."]
    steps += [
        f"To tell whether it is {one.title}: {one.cause.confirm[0]}"
        for one in named[:3]
        if one.cause is not None
    ]
    if ranking.seen.missing:
        steps.append(
            f"Measure these as well where you can: {', '.join(ranking.seen.missing)}; and carbon "
            "monoxide at the intake at the same time."
        )
    return tuple(steps)


def _missing(ground: Ground) -> tuple[str, ...]:
    made = [
        f"{_capital(name)}: not measured, or too few readings; it counts neither for nor against "
        "anything."
        for name in ground.ranking.seen.missing
    ]
    signs = {one.feature for one in ground.ranking.seen.signs}
    if not ground.intake:
        made.append("The air at the intake: no readings of it were given.")
    elif "co_with_intake" not in signs:
        made.append(
            "The air at the intake: its readings say nothing here, since carbon monoxide did not "
            "move at the outlet, or too few of them lie in the same time."
        )
    made += [
        f"{_capital(one.title)}: what would show it was not measured "
        f"({', '.join(_SHORT.get(need, need) for need in one.lacking)}), so what speaks for it counts half."
        for one in ground.ranking.ranked
        if one.lacking and one.cause is not None and one.belief >= 0.02  # noqa: PLR2004 - the others matter not
    ]
    made += [_capital(text) for text in ground.series.notes]
    return tuple(made)


def _plots(ground: Ground) -> tuple[Plot, ...]:
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    series, seen = ground.series, ground.ranking.seen
    made = []
    for name in _DRAWN:
        if name not in seen.moves:
            continue
        values = series.values[name]
        per = -(-values.size // _MOST_DRAWN)
        places = np.arange(0, values.size, per)
        x = series.time_s[places]
        pieces = [values[at : at + per] for at in places.tolist()]
        good = [one[np.isfinite(one)] for one in pieces]
        high = [float(one.max()) if one.size else float("nan") for one in good]
        low = [float(one.min()) if one.size else float("nan") for one in good]
        curves = [Curve("highest" if per > 1 else NAMES[name], tuple(x.tolist()), tuple(high))]
        if per > 1:
            curves.append(Curve("lowest", tuple(x.tolist()), tuple(low)))
        made.append(
            Plot(
                title=_capital(NAMES[name]),
                x_name="time",
                x_unit="time",
                y_name=_capital(NAMES[name]),
                y_unit=UNITS[name],
                curves=tuple(curves),
                shades=seen.spans[:_MOST_SHADES],
                says=next(_capital(one.text) for one in seen.signs if one.feature == name),
            )
        )
    return tuple(made)


def _data(ranking: Ranking) -> dict[str, Any]:
    table = causes()
    return {
        "told": ranking.told,
        "why_not": ranking.why_not,
        "causes": [
            {
                "id": one.id,
                "title": one.title,
                "belief": one.belief,
                "likely": one.word if one.id != OTHER else "",
                "lacking": list(one.lacking),
                "signs": [
                    {
                        "feature": each.sign.feature,
                        "outcome": each.sign.outcome,
                        "log_ratio": each.log_ratio,
                        "word": each.word,
                    }
                    for each in one.weighed
                ],
            }
            for one in ranking.ranked
        ],
        "seen": as_data(ranking.seen),
        "table": {"standing": table.standing, "source": table.source},
    }
