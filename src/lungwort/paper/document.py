"""The form of the result document: what JSON readers may rely on."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Final, Literal

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
)

from lungwort.paper.text import encodable

FORMAT: Final = "lungwort-result/1"
SCHEMA_ID: Final = "urn:lungwort:result:1"

OverallVerdict = Literal["conforms", "does_not_conform", "not_proven"]
LimitVerdict = Literal["conforms", "does_not_conform", "undecided", "no_evidence", "not_applicable"]


def _to_utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)


Text = Annotated[str, BeforeValidator(encodable)]
Moment = Annotated[AwareDatetime, AfterValidator(_to_utc)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Count = Annotated[int, Field(ge=0)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LimitSetPart(_Part):
    """Which limits were used."""

    id: Text
    title: Text
    document: Text
    edition: Text
    use: Text
    digest: Text = Field(description="SHA-256 of the set's content in canonical form.")
    origin: Text = Field(description="'shipped', or the name of the user's file.")
    extends: Text = ""
    reference_temperature_c: Number
    reference_pressure_kpa: Number
    remarks: tuple[Text, ...] = ()


class PeriodPart(_Part):
    """From when to when was judged."""

    start: Moment | None
    end: Moment | None
    zone: Text = Field(description="Time zone of the site, for showing; times here are in UTC.")


class ChannelCoverage(_Part):
    """How much of the period the usable readings of one channel cover."""

    channel: Text
    analyte: Text
    share: Share
    readings: Count
    usable: Count
    settling: Count
    suspect: Count
    bad: Count
    missing: Count
    undecided: Count


class CoveragePart(_Part):
    """How much of the period has usable readings."""

    minimum_required: Share
    lowest: Share | None = Field(
        description="Lowest share among the channels held against a limit; null without a log."
    )
    channels: tuple[ChannelCoverage, ...]


class WorstPart(_Part):
    """The reading nearest to a bound, or furthest beyond it."""

    value: Number | None = Field(description="Null where the reading has no end on that side.")
    unit: Text
    time: Moment | None
    text: Text
    logged_value: Number | None = None
    logged_unit: Text = ""


class OperatorsPart(_Part):
    """Whether a reading on the bound itself is allowed ('>=' and '<=') or not ('>' and '<')."""

    lower: Literal[">=", ">"] | None
    upper: Literal["<=", "<"] | None


class LimitPart(_Part):
    """What the evidence says of one limit."""

    key: Text
    analyte: Text
    quantity: Text
    averaging: Text
    verdict: LimitVerdict
    reason: Text
    limit: Text = Field(description="The limit as shown, such as '≤ 5 ppm'.")
    lower: Number | None
    upper: Number | None
    operators: OperatorsPart
    unit: Text
    how: Text = Field(description="How the bounds came about, where a condition entered them.")
    wording: Text
    worst: WorstPart | None
    margin: Number | None = Field(
        description="Distance of the worst reading to the bound, negative beyond it [unit]."
    )
    share_outside: Share | None = Field(description="Part of the covered time outside.")
    probability: Share | None = Field(
        description="Probability that the worst value conforms (JCGM 106)."
    )
    uncertainty: Number | None = Field(description="Expanded uncertainty U, k = 2 [unit].")
    uncertainty_source: Text
    required: bool
    status: Text = Field(description="'confirmed' or 'from memory'.")
    clause: Text
    source: Text
    remarks: tuple[Text, ...]
    coverage: Share | None
    channels: tuple[Text, ...]


class ExcursionPart(_Part):
    """A stretch of time outside a limit."""

    analyte: Text
    limit_key: Text
    channel: Text
    direction: Literal["above", "below"]
    start: Moment
    end: Moment
    duration_s: Number
    peak: Number | None
    peak_time: Moment
    mean: Number | None
    limit: Number
    unit: Text
    integral: Number | None = Field(description="Integral beyond the bound [unit x h].")
    samples: Count
    suspect_samples: Count
    ended_by: Literal["returned", "log_ended", "data_gap"]
    begins_after_gap: bool
    may_have_begun: Moment | None
    may_have_lasted: Moment | None
    clear_of_uncertainty: bool | None


class RefusalPart(_Part):
    """Rows of a file that were not used, by cause."""

    cause: Text
    rows: Count
    first_lines: tuple[int, ...]
    sample: Text


class SourcePart(_Part):
    """One file that was read."""

    name: Text
    sha256: Text
    size_bytes: Count
    rows: Count
    rows_used: Count
    refused: Count
    refusals: tuple[RefusalPart, ...]
    recipe: Text


class NotJudgedPart(_Part):
    """Readings or time that did not enter the verdict."""

    cause: Text
    channel: Text
    start: Moment | None
    end: Moment | None
    readings: Count
    text: Text
    outside: tuple[Text, ...]


class OptionsPart(_Part):
    """How evidence was held against limits."""

    decision: Literal["simple", "guarded"]
    guard_factor: Number
    min_coverage: Share
    join_s: Number | None
    min_excursion_s: Number
    start: Moment | None
    end: Moment | None


class ConditionsPart(_Part):
    """What was known of the supply."""

    supply_pressure_bar_g: Number | None
    lowest_temperature_c: Number | None


class IntervalPart(_Part):
    """What a hand test says: all between two ends; null where there is no end."""

    lower: Number | None
    upper: Number | None
    lower_included: bool
    upper_included: bool
    unit: Text
    text: Text


class SpotPart(_Part):
    """One test done by hand."""

    analyte: Text
    quantity: Text
    value: IntervalPart | None
    perceived: bool | None
    means: Text
    time: Moment | None
    given: Text
    remark: Text
    doubts: tuple[Text, ...] = ()


class ChannelPart(_Part):
    """One measured quantity of the log."""

    name: Text
    analyte: Text
    quantity: Text
    unit: Text
    heading: Text
    logged_unit: Text
    basis: Text


class LogPart(_Part):
    """What is known of the log as a whole."""

    outlet: Text
    readings: Count
    start: Moment | None
    end: Moment | None
    interval_s: Number | None
    zone_stated: bool
    settle_s: Number
    notes: tuple[Text, ...]
    doubts: tuple[Text, ...]
    columns_not_used: tuple[Text, ...]


class ResultDocument(_Part):
    """A verdict with its findings, evidence and everything needed to reproduce it."""

    format: Literal["lungwort-result/1"] = FORMAT
    verdict: OverallVerdict
    reasons: tuple[Text, ...]
    limit_set: LimitSetPart
    period: PeriodPart
    coverage: CoveragePart
    limits: tuple[LimitPart, ...]
    excursions: tuple[ExcursionPart, ...]
    not_judged: tuple[NotJudgedPart, ...]
    sources: tuple[SourcePart, ...]
    channels: tuple[ChannelPart, ...]
    log: LogPart | None
    spots: tuple[SpotPart, ...]
    conditions: ConditionsPart
    options: OptionsPart
    notes: tuple[Text, ...]
    cautions: tuple[Text, ...]
    judged_at: Moment | None
    version: Text
