"""How it was judged, in sentences that a reader can check."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.paper.text import duration, number, percent
from lungwort.verdict.model import GUARDED

if TYPE_CHECKING:
    from lungwort.logs.model import Log
    from lungwort.verdict.model import Options, Verdict


def sentences(verdict: Verdict) -> tuple[tuple[str, str], ...]:
    """Describe the rules that led to the verdict.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    tuple of (str, str)
        A heading and its text, for each rule.
    """
    rules = [
        ("Decision rule", _decision(verdict)),
        ("Overall verdict", _overall(verdict)),
        ("Coverage", _coverage(verdict)),
    ]
    if verdict.log is not None:
        rules += [
            ("Settling", _settling(verdict.log)),
            ("Excursions", _excursions(verdict.options, verdict.log)),
            ("Weighting", _weighting(verdict.log)),
        ]
    rules += [
        ("Uncertainty", _uncertainty(verdict)),
        ("Reference state", _reference(verdict)),
    ]
    return tuple(rules)


def _decision(verdict: Verdict) -> str:
    options = verdict.options
    if options.decision == GUARDED:
        return (
            "Guarded acceptance (JCGM 106, ILAC-G8): a value is accepted only where it stands "
            f"clear of the limit by {number(options.guard_factor)} times its expanded uncertainty "
            "U (k = 2)."
        )
    return (
        "Simple acceptance (JCGM 106, ILAC-G8): a value on the allowed side of the limit is "
        "accepted. At the limit itself the risk of a wrong acceptance is up to 50 %."
    )


def _overall(verdict: Verdict) -> str:
    return (
        "Does not conform, where any required limit is not kept. Otherwise not proven, where a "
        "required limit is undecided or without evidence, or its usable readings cover less than "
        f"{percent(verdict.options.min_coverage)} of the period. Otherwise conforms. Advice never "
        "decides."
    )


def _coverage(verdict: Verdict) -> str:
    return (
        "Coverage is the share of the period that usable readings stand for. At least "
        f"{percent(verdict.options.min_coverage)} is required of every log channel that a required "
        "limit rests on."
    )


def _settling(log: Log) -> str:
    if not log.settle_s:
        return "No settling time was applied."
    return (
        f"Readings in the first {duration(log.settle_s)} after the start and after a long gap are "
        "not judged, because cells adjust. Where one of them was outside a limit, it is told."
    )


def _excursions(options: Options, log: Log) -> str:
    if options.join_s is not None:
        join = duration(options.join_s)
    elif log.interval_s:
        join = f"{duration(3 * log.interval_s)} (three sampling intervals)"
    else:
        join = "three sampling intervals"
    least = (
        f"Excursions shorter than {duration(options.min_excursion_s)} are not listed apart, but "
        "they count."
        if options.min_excursion_s
        else "None is too short to count."
    )
    return f"Stretches outside a limit that lie nearer together than {join} are one. {least}"


def _weighting(log: Log) -> str:
    most = f" ({duration(1.5 * log.interval_s)})" if log.interval_s else ""
    return (
        "A reading stands for the time until the next one, at most for one and a half sampling "
        f"intervals{most}. Durations, shares and means follow from that."
    )


def _uncertainty(verdict: Verdict) -> str:
    if not any(finding.uncertainty is not None for finding in verdict.findings):
        return "No uncertainty is known for the values used, so no probability is stated."
    return (
        "Probabilities follow JCGM 106 from the expanded uncertainties listed below. Those marked "
        "as assumed are assumptions, not calibration results."
    )


def _reference(verdict: Verdict) -> str:
    limits = verdict.limit_set
    return (
        f"Concentrations of the limit set refer to {number(limits.reference_temperature_c)} °C and "
        f"{number(limits.reference_pressure_kpa, 6)} kPa (absolute)."
    )
