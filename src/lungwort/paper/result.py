"""The result as one JSON document: the form for other programs, and what the PDF carries."""

from __future__ import annotations

import hashlib
import json
import math
from typing import TYPE_CHECKING, Any

from lungwort.paper.document import (
    SCHEMA_ID,
    ChannelCoverage,
    ChannelPart,
    ConditionsPart,
    CoveragePart,
    ExcursionPart,
    IntervalPart,
    LimitPart,
    LimitSetPart,
    LogPart,
    NotJudgedPart,
    OperatorsPart,
    OptionsPart,
    PeriodPart,
    RefusalPart,
    ResultDocument,
    SourcePart,
    SpotPart,
    WorstPart,
)

if TYPE_CHECKING:
    from lungwort.air.interval import Interval
    from lungwort.limits.model import Bound
    from lungwort.logs.model import Channel, Log, Source
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.model import Coverage, Excursion, Finding, NotJudged, Verdict, Worst


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _share(value: float | None) -> float | None:
    finite = _finite(value)
    return None if finite is None else min(max(finite, 0.0), 1.0)


def _bound(bound: Bound | None) -> float | None:
    return _finite(bound.value) if bound is not None else None


def _worst(worst: Worst) -> WorstPart:
    return WorstPart(
        value=_finite(worst.value),
        unit=worst.unit,
        time=worst.time,
        text=worst.text,
        logged_value=_finite(worst.logged_value),
        logged_unit=worst.logged_unit,
    )


def _limit(finding: Finding) -> LimitPart:
    limit, lower, upper = finding.limit, finding.allowed.lower, finding.allowed.upper
    worst = finding.worst
    return LimitPart(
        key=limit.key,
        analyte=limit.analyte,
        quantity=limit.quantity,
        averaging=limit.averaging,
        verdict=finding.verdict,  # type: ignore[arg-type]  # checked by the model
        reason=finding.reason,
        limit=finding.limit_text,
        lower=_bound(lower),
        upper=_bound(upper),
        operators=OperatorsPart(
            lower=(">=" if lower.included else ">") if lower else None,
            upper=("<=" if upper.included else "<") if upper else None,
        ),
        unit=limit.unit,
        how=finding.allowed.open_reason or finding.allowed.how,
        wording=limit.wording,
        worst=_worst(worst) if worst is not None else None,
        margin=_finite(finding.margin),
        share_outside=_share(finding.share_outside),
        probability=_share(finding.probability),
        uncertainty=_finite(finding.uncertainty),
        uncertainty_source=finding.uncertainty_source,
        required=limit.required,
        status=limit.status,
        clause=limit.clause,
        source=limit.source,
        remarks=tuple(part for part in (*finding.remarks, limit.remark) if part),
        coverage=_share(finding.coverage.share) if finding.coverage is not None else None,
        channels=finding.channels,
    )


def _excursion(excursion: Excursion) -> ExcursionPart:
    return ExcursionPart(
        analyte=excursion.analyte,
        limit_key=excursion.limit_key,
        channel=excursion.channel,
        direction=excursion.direction,  # type: ignore[arg-type]  # checked by the model
        start=excursion.start,
        end=excursion.end,
        duration_s=excursion.duration_s,
        peak=_finite(excursion.peak),
        peak_time=excursion.peak_time,
        mean=_finite(excursion.mean),
        limit=excursion.limit,
        unit=excursion.unit,
        integral=_finite(excursion.integral),
        samples=excursion.samples,
        suspect_samples=excursion.suspect_samples,
        ended_by=excursion.ended_by,  # type: ignore[arg-type]  # checked by the model
        begins_after_gap=excursion.begins_after_gap,
        may_have_begun=excursion.may_have_begun,
        may_have_lasted=excursion.may_have_lasted,
        clear_of_uncertainty=excursion.clear_of_uncertainty,
    )


def _interval(interval: Interval) -> IntervalPart:
    return IntervalPart(
        lower=_finite(interval.lower),
        upper=_finite(interval.upper),
        lower_included=interval.lower_included,
        upper_included=interval.upper_included,
        unit=interval.unit,
        text=str(interval),
    )


def _spot(spot: SpotTest) -> SpotPart:
    return SpotPart(
        analyte=spot.analyte,
        quantity=spot.quantity,
        value=_interval(spot.value) if spot.value is not None else None,
        perceived=spot.perceived,
        means=spot.means,
        time=spot.time,
        given=spot.given,
        remark=spot.remark,
        doubts=spot.doubts,
    )


def _source(source: Source) -> SourcePart:
    return SourcePart(
        name=source.name,
        sha256=source.sha256,
        size_bytes=source.size_bytes,
        rows=source.rows_read,
        rows_used=source.rows_used,
        refused=source.rows_refused,
        refusals=tuple(
            RefusalPart(
                cause=refusal.cause,
                rows=refusal.rows,
                first_lines=refusal.first_lines,
                sample=refusal.sample,
            )
            for refusal in source.refusals
        ),
        recipe=source.recipe,
    )


def _channel(channel: Channel) -> ChannelPart:
    return ChannelPart(
        name=channel.name,
        analyte=channel.analyte,
        quantity=channel.quantity,
        unit=channel.unit,
        heading=channel.heading,
        logged_unit=channel.logged_unit,
        basis=channel.basis,
    )


def _log(log: Log) -> LogPart:
    return LogPart(
        outlet=log.outlet,
        readings=log.rows,
        start=log.start,
        end=log.end,
        interval_s=_finite(log.interval_s),
        zone_stated=log.zone_stated,
        settle_s=log.settle_s,
        notes=log.notes,
        doubts=log.all_doubts,
        columns_not_used=log.columns_not_used,
    )


def _not_judged(part: NotJudged) -> NotJudgedPart:
    return NotJudgedPart(
        cause=part.cause,
        channel=part.channel,
        start=part.start,
        end=part.end,
        readings=part.readings,
        text=part.text,
        outside=part.outside,
    )


def _channel_coverage(coverage: Coverage, analytes: dict[str, str]) -> ChannelCoverage:
    return ChannelCoverage(
        channel=coverage.channel,
        analyte=analytes.get(coverage.channel, ""),
        share=_share(coverage.share) or 0.0,
        readings=coverage.readings,
        usable=coverage.usable,
        settling=coverage.settling,
        suspect=coverage.suspect,
        bad=coverage.bad,
        missing=coverage.missing,
        undecided=coverage.undecided,
    )


def lowest_coverage(verdict: Verdict) -> float | None:
    """Give the lowest coverage among the channels that were held against a limit.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    float or None
        Share of the period, 0 to 1; over all channels where none was held against a limit, and
        None without any channel.
    """
    used = {name for finding in verdict.findings for name in finding.channels}
    shares = [part.share for part in verdict.coverage if part.channel in used]
    return min(shares or [part.share for part in verdict.coverage], default=None)


def to_document(verdict: Verdict) -> ResultDocument:
    """Bring a verdict to the form that is written as JSON.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    ResultDocument
        The document. Numbers that are not finite are null; what they stood for is in the texts
        beside them.
    """
    limits, log, options = verdict.limit_set, verdict.log, verdict.options
    channels = log.channels if log else ()
    analytes = {channel.name: channel.analyte for channel in channels}
    return ResultDocument(
        verdict=verdict.overall,  # type: ignore[arg-type]  # checked by the model
        reasons=verdict.reasons,
        limit_set=LimitSetPart(
            id=limits.id,
            title=limits.title,
            document=limits.document,
            edition=limits.edition,
            use=limits.use,
            digest=limits.digest,
            origin=limits.origin,
            extends=limits.extends,
            reference_temperature_c=limits.reference_temperature_c,
            reference_pressure_kpa=limits.reference_pressure_kpa,
            remarks=limits.remarks,
        ),
        period=PeriodPart(start=verdict.start, end=verdict.end, zone=verdict.shown_zone),
        coverage=CoveragePart(
            minimum_required=options.min_coverage,
            lowest=_share(lowest_coverage(verdict)),
            channels=tuple(_channel_coverage(part, analytes) for part in verdict.coverage),
        ),
        limits=tuple(map(_limit, verdict.findings)),
        excursions=tuple(map(_excursion, verdict.excursions)),
        not_judged=tuple(map(_not_judged, verdict.not_judged)),
        sources=tuple(map(_source, log.sources)) if log else (),
        channels=tuple(map(_channel, channels)),
        log=_log(log) if log else None,
        spots=tuple(map(_spot, verdict.spots)),
        conditions=ConditionsPart(
            supply_pressure_bar_g=verdict.conditions.supply_pressure_bar_g,
            lowest_temperature_c=verdict.conditions.lowest_temperature_c,
        ),
        options=OptionsPart(
            decision=options.decision,  # type: ignore[arg-type]  # checked by the model
            guard_factor=options.guard_factor,
            min_coverage=options.min_coverage,
            join_s=_finite(options.join_s),
            min_excursion_s=options.min_excursion_s,
            start=options.start,
            end=options.end,
        ),
        notes=verdict.notes,
        cautions=verdict.cautions,
        judged_at=verdict.judged_at,
        version=verdict.version,
    )


def to_json(verdict: Verdict, indent: int | None = 2) -> str:
    """Write a verdict as JSON text.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    indent : int, optional
        Blanks a level; None for one line.

    Returns
    -------
    str
        One JSON object (RFC 8259), times in UTC with Z, ending with a line break.
    """
    return to_document(verdict).model_dump_json(indent=indent) + "\n"


def digest(json_text: str) -> str:
    """Give the SHA-256 of a result's JSON text in UTF-8, lower-case hexadecimal."""
    return hashlib.sha256(json_text.encode("utf-8")).hexdigest()


def schema() -> dict[str, Any]:
    """Make the JSON Schema (draft 2020-12) of the result document."""
    made = ResultDocument.model_json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        **made,
        "title": "lungwort result, format 1",
    }


def schema_text() -> str:
    """Give the JSON Schema as it is shipped in ``paper/schema/result-1.schema.json``."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"
