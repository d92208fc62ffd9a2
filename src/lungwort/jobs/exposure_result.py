"""From what people have breathed to the calculation that is shown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.jobs import exposure_words as words
from lungwort.jobs.exposure_data import data_of
from lungwort.jobs.exposure_plots import plots_of
from lungwort.jobs.exposure_tables import Ground, amount, grids_of, hours
from lungwort.paper.calculation import (
    ESTIMATE,
    FAILS,
    NOT_PROVEN,
    Calculation,
    Quantity,
    Stated,
    figure,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.wearers.exposure import Finding, Person

KIND: Final = "exposure"
TITLE: Final = "What was breathed?"
_MOST_REASONS: Final = 8


def calculation_of(ground: Ground) -> Calculation:
    """Put the calculation together.

    Parameters
    ----------
    ground : Ground
        What it rests on.

    Returns
    -------
    Calculation
        It fails where a limit was exceeded, is not proven where something is not known, and else is
        an estimate; it never clears anybody.
    """
    state, word, answer, reasons = _judged(ground)
    worst = _worst(ground.people)
    return Calculation(
        kind=KIND,
        title=TITLE,
        subject=", ".join(dict.fromkeys(one.outlet for one in ground.question.airs)),
        made_at=ground.now,
        zone=ground.zone,
        state=state,
        word=word,
        answer=answer,
        reasons=reasons,
        results=_results(ground, worst),
        inputs=_inputs(ground),
        grids=grids_of(ground),
        plots=plots_of(ground.people, worst),
        assumptions=_assumptions(ground),
        uncertainty=words.UNCERTAINTY,
        cautions=words.CAUTIONS,
        sources=(*words.SOURCES, *_limit_sources(ground)),
        left_out=(*ground.left_out, *_not_logged(ground), *words.LEFT_OUT),
        next_steps=_next_steps(ground, state),
        data=data_of(ground.question, ground.people, ground.files),
    )


def _worst(people: Sequence[Person]) -> Person:
    """Give whose blood may hold most; limits that several sets share must not outweigh it."""

    def badness(one: Person) -> tuple[float, float, float]:
        return (
            0.0 if one.blood is None else one.blood.peak_percent[2],
            max(
                (each.held.average.value / each.held.limit.upper for each in one.exceeded),
                default=0.0,
            ),
            0.0 if one.shift is None else one.shift.value,
        )

    return max(people, key=badness)


def _next_steps(ground: Ground, state: str) -> tuple[str, ...]:
    steps = {
        FAILS: words.NEXT_EXCEEDED,
        NOT_PROVEN: words.NEXT_DOUBT,
        ESTIMATE: words.NEXT_ESTIMATE,
    }[state]
    if state != FAILS and any(one.dangers for one in ground.people):
        return (steps[0], words.NEXT_OXYGEN, *steps[1:])
    return steps


def _named(one: Person, why: str) -> str:
    return why if one.assumed else f"{one.name}: {why}"


def _judged(ground: Ground) -> tuple[str, str, str, tuple[str, ...]]:
    exceeded = [(one, finding) for one in ground.people for finding in one.exceeded]
    # What may have killed somebody stands first, whoever it was.
    dangers = dict.fromkeys(_named(one, why) for one in ground.people for why in one.dangers)
    every = dict.fromkeys(_named(one, why) for one in ground.people for why in one.holes)
    holes = list({**dangers, **every})
    if exceeded:
        exceeded.sort(
            key=lambda one: one[1].held.average.value / one[1].held.limit.upper, reverse=True
        )
        said = [_says(one, finding) for one, finding in exceeded]
        more = f" {len(said) - 1} more limits are exceeded." if len(said) > 1 else ""
        hardest = _worst(ground.people)
        told = f"{_blood_words(hardest, ground.people)} {_mark_words(hardest)}".strip()
        more += f" {told}" if told else ""
        others = holes[len(dangers) :]
        reasons = _short([*dangers, *said[1:], *others])
        return FAILS, "exposure limit exceeded", said[0] + more, reasons
    worst = _worst(ground.people)
    blood, marks = _blood_words(worst, ground.people), _mark_words(worst)
    if holes:
        told = f"{_co_words(worst)} {blood} {marks}".strip()
        answer = f"Nothing is proven: {holes[0]} {told}".strip()
        return NOT_PROVEN, "not proven", answer, _short(holes[1:])
    end = "No limit held against was exceeded; this clears nobody."
    if marks:
        # Who is above a mark for the blood must not read first that nothing was exceeded.
        end = f"{marks} The averages held against are not exceeded; this clears nobody."
    answer = f"{_co_words(worst)} {blood} {end}".strip()
    return ESTIMATE, "screening estimate", answer, (*_peaks(ground), *_silent(ground))


def _mark_words(one: Person) -> str:
    """Say which marks for carboxyhaemoglobin the band reaches."""
    if one.blood is None:
        return ""
    low, _, high = one.blood.peak_percent
    above = [name for level, name in words.BLOOD_MARKS if low > level]
    maybe = [name for level, name in words.BLOOD_MARKS if low <= level < high]
    said = []
    if above:
        said.append(f"That is above {' and '.join(above)}")
    if maybe:
        said.append(f"{'and may be' if above else 'That may be'} above {' and '.join(maybe)}")
    return f"{', '.join(said)}." if said else ""


def _peaks(ground: Ground) -> tuple[str, ...]:
    """Say whose air was above what breathing air may hold, whatever the averages are."""
    found = [
        f"{one.name}: carbon monoxide rose to {amount(one.highest)} ppm, above the "
        f"{words.BREATHING_AIR_CO_PPM:g} ppm that breathing air may hold (EN 12021:2014): that air was not "
        "fit to breathe."
        for one in ground.people
        if one.highest is not None and one.highest.value > words.BREATHING_AIR_CO_PPM
    ]
    return _short(found)


def _silent(ground: Ground) -> tuple[str, ...]:
    """Say of what the sets held against hold no limit over a time."""
    names = dict.fromkeys(one.upper() for person in ground.people for one in person.not_held)
    if not names:
        return ()
    told = (
        f"{', '.join(names)}: logged, but the sets held against have no limit over a time for it; "
        "nothing is said of it."
    )
    return (told,)


def _short(reasons: Sequence[str]) -> tuple[str, ...]:
    if len(reasons) <= _MOST_REASONS:
        return tuple(reasons)
    return (*reasons[:_MOST_REASONS], f"And {len(reasons) - _MOST_REASONS} more; see the tables.")


def _says(one: Person, finding: Finding) -> str:
    limit = finding.held.limit
    over = {"any reading": "in one reading", "IDLH": "in one reading"}.get(
        limit.averaging, f"over {limit.averaging}"
    )
    danger = " (immediately dangerous to life)" if limit.averaging == "IDLH" else ""
    return (
        f"{one.name}: {amount(finding.held.average)} {limit.unit} {limit.analyte.upper()} {over}, above "
        f"{limit.upper:g} of {limit.document}{danger}."
    )


def _co_words(one: Person) -> str:
    if one.shift is None or one.highest is None:
        return ""
    return f"{one.name}: {amount(one.shift)} ppm carbon monoxide over 8 h, highest {amount(one.highest)} ppm."


def _blood_words(one: Person, people: Sequence[Person]) -> str:
    if one.blood is None:
        return ""
    low, middle, high = one.blood.peak_percent
    whose = f" of {one.name}" if len(people) > 1 else ""
    return (
        f"Carboxyhaemoglobin{whose} rises to about {figure(middle, 2)} % ({figure(low, 2)} to "
        f"{figure(high, 2)} %), an estimate"
        + (
            ", if the time of which nothing is known was as bad as the worst reading."
            if one.blood.filled
            else "."
        )
    )


def _results(ground: Ground, worst: Person) -> tuple[Quantity, ...]:
    found = [Quantity("hardest hit by carbon monoxide", worst.name, source="computed")]
    several = len(ground.people) > 1
    for name, of, unit in (
        ("CO, sum over 8 h", [one.shift for one in ground.people], "ppm"),
        ("CO, worst 15 min", [one.short for one in ground.people], "ppm"),
        ("CO, highest reading", [one.highest for one in ground.people], "ppm"),
        ("CO, dose", [one.dose for one in ground.people], "ppm·h"),
    ):
        known = [
            (average, one.name)
            for average, one in zip(of, ground.people, strict=True)
            if average is not None
        ]
        if known:
            # Each figure is the highest of all people, whoever it was.
            average, whose = max(known, key=lambda pair: pair[0].value)
            least = average.value if average.at_least else None
            found.append(
                Quantity(
                    f"{name}, {whose}" if several else name,
                    average.value,
                    unit,
                    low=least,
                    source="computed",
                )
            )
    if worst.blood is not None:
        low, middle, high = worst.blood.peak_percent
        of_whom = f", {worst.name}" if several else ""
        found += [
            Quantity(
                f"carboxyhaemoglobin, highest{of_whom}", middle, "%", low, high, "computed", 2
            ),
            Quantity(
                f"until below {ground.question.below_percent:g} % after the stay{of_whom}",
                hours(worst.blood.below_h[1]),
                source="computed, upper end of the band",
            ),
        ]
    return tuple(found)


def _inputs(ground: Ground) -> tuple[Quantity, ...]:
    question = ground.question
    given = "entered" if ground.altitude_given else "assumed"
    found = [
        Quantity("altitude", question.surroundings.altitude_m, "m", source=given),
        Quantity(
            "oxygen in the air",
            question.surroundings.oxygen_percent,
            "%",
            source="entered" if ground.oxygen_given else "assumed",
        ),
        *(
            Quantity(
                f"oxygen logged, {one.name}",
                "{:.1f} to {:.1f} %".format(*one.oxygen_percent),
                source="log",
            )
            for one in ground.people
            if one.oxygen_percent is not None
        ),
        Quantity(
            "CO between and after the stays",
            question.ambient_ppm,
            "ppm",
            source="entered or assumed",
        ),
        Quantity(
            "exposure limits",
            ", ".join(ground.chosen) if ground.chosen else "all that come with lungwort",
            source="entered" if ground.chosen else "assumed",
        ),
    ]
    found += [
        Quantity(f"log of {outlet}", name, source=f"SHA-256 {digest[:16]}…")
        for name, digest, outlet in ground.files
    ]
    return tuple(found)


def _assumptions(ground: Ground) -> tuple[Stated, ...]:
    found = [Stated(note, "", "") for note in ground.notes]
    if any(one.assumed for one in ground.people):
        found.append(
            Stated(
                "Nobody said who was where: one person on each outlet all the time was followed, at "
                "heavy work and at rest; the worse governs.",
                "own rule",
                "makes the result higher",
            )
        )
    if not ground.altitude_given:
        found.append(
            Stated(
                "Sea level.",
                "own rule",
                "higher up more carbon monoxide is bound in the end; give --altitude",
            )
        )
    if any(one.oxygen_percent is not None for one in ground.people):
        found.append(words.OXYGEN_LOGGED)
    if not ground.chosen:
        found.append(
            Stated(
                "Held against all exposure limits that come with lungwort; the lowest of each kind is "
                "marked. Which of them bind you, the law of your place says.",
                "own rule",
            )
        )
    if any(one.blood is not None and one.blood.filled for one in ground.people):
        found.append(
            Stated(
                "For the blood, stretches of which nothing is known were taken as the highest reading "
                "of the same person's stays. Averages leave them out and are lower ends.",
                "own rule",
                "there may have been more",
            )
        )
    found.append(
        Stated(
            "Who gave no level of the blood at the beginning was taken as a non-smoker, 0.75 %.",
            "public source code of the equation (confirmed)",
            "a smoker has 2 to 10 % more from the beginning",
        )
    )
    found += [
        Stated(one.text, "", "widens the band, and decides nearness to a limit")
        for key, one in ground.question.uncertainties.items()
        if any(key in person.courses for person in ground.people)
    ]
    return (*found, *words.RANGES)


def _not_logged(ground: Ground) -> list[str]:
    logged = {analyte for one in ground.people for analyte in one.courses}
    missing = sorted({one.analyte for one in ground.question.limits} - logged)
    if all(one.oxygen_percent is None for one in ground.people):
        missing.append("o2")
    return (
        [f"Not logged, so nothing is said of it: {', '.join(one.upper() for one in missing)}."]
        if missing
        else []
    )


def _limit_sources(ground: Ground) -> list[str]:
    used: dict[str, set[str]] = {}
    for person in ground.people:
        for one in person.findings:
            used.setdefault(one.held.limit.document, set()).add(one.held.limit.standing)
    return [
        f"{document}: limits {' or '.join(sorted(standings))}, as marked in the table."
        for document, standings in sorted(used.items())
    ]
