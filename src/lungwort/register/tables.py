"""The tables: one a kind of record, one for the things that they speak of, one for the journal.

Times, days and decimal numbers are kept as text exactly as the journal writes them, so that a row
and its entry can be compared letter by letter, and are the same on both servers. Rows are added
and never changed: the database itself refuses it.
"""

from __future__ import annotations

# The mapper reads the annotations when it runs.
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final

from sqlalchemy import BigInteger, ForeignKey, Index, Integer, MetaData, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column
from sqlalchemy.types import TypeDecorator

from lungwort.errors import RegisterError
from lungwort.register.canonical import canonical, parse
from lungwort.register.convert import (
    date_from_text,
    number_from_text,
    plain_value,
    time_from_text,
)

if TYPE_CHECKING:
    from sqlalchemy import Dialect


class UtcTime(TypeDecorator[datetime]):
    """A time in UTC, kept as ``YYYY-MM-DDTHH:MM:SS.ffffffZ``: the order of text is that of time."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:  # noqa: ARG002, D102
        return plain_value(value)  # type: ignore[no-any-return]

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:  # noqa: ANN401, ARG002, D102
        return None if value is None else time_from_text(value)


class Day(TypeDecorator["date"]):
    """A day, kept as ``YYYY-MM-DD``."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: Dialect) -> str | None:  # noqa: ARG002, D102
        return plain_value(value)  # type: ignore[no-any-return]

    def process_result_value(self, value: Any | None, dialect: Dialect) -> date | None:  # noqa: ANN401, ARG002, D102
        return None if value is None else date_from_text(value)


class Number(TypeDecorator["Decimal"]):
    """A decimal number, kept with the digits that were given."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:  # noqa: ARG002, D102
        return plain_value(value)  # type: ignore[no-any-return]

    def process_result_value(self, value: Any | None, dialect: Dialect) -> Decimal | None:  # noqa: ANN401, ARG002, D102
        return None if value is None else number_from_text(value)


class Flag(TypeDecorator[bool]):
    """True or false, kept as 1 or 0: anything else is an alteration and not taken for true."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: bool | None, dialect: Dialect) -> int | None:  # noqa: ARG002, D102, FBT001
        return None if value is None else int(value)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> bool | None:  # noqa: ANN401, ARG002, D102
        if value is None:
            return None
        if value not in {0, 1}:
            raise RegisterError(f"The record holds {value!r} where true or false should stand.")
        return bool(value)


class Json(TypeDecorator[Any]):
    """A list of plain JSON values, kept as canonical JSON."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any | None, dialect: Dialect) -> str | None:  # noqa: ANN401, ARG002, D102
        return None if value is None else canonical(value)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> Any:  # noqa: ANN401, ARG002, D102
        return None if value is None else parse(value)


WholeNumber: Final = BigInteger().with_variant(Integer, "sqlite")

Reference = Annotated[str, mapped_column(ForeignKey("things.id"), index=True)]
"""Id of a thing."""
Items = Annotated[list[Any], mapped_column(Json)]
"""A tuple of the record."""
NameKey = Annotated[str, mapped_column(Text, index=True)]
"""The name as it is looked up, without regard to capitals."""


class Base(DeclarativeBase):
    """Where all tables are known."""

    metadata = MetaData(
        naming_convention={
            "pk": "pk_%(table_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        }
    )
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        str: Text(),
        int: WholeNumber,
        bool: Flag(),
        datetime: UtcTime(),
        date: Day(),
        Decimal: Number(),
    }


class ThingRow(Base):
    """A thing that records speak of, so that no record can name one that is not there."""

    __tablename__ = "things"
    __table_args__ = ({"sqlite_strict": True},)

    id: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str]


class JournalRow(Base):
    """An entry of the journal.

    ``subtrees`` are the hashes of the full subtrees that end with this entry, smallest first, in
    hexadecimal as a JSON list. With them a head or a proof needs a few rows, not all of them.
    """

    __tablename__ = "journal"
    __table_args__ = (
        UniqueConstraint("id", "version"),
        Index("ix_journal_kind", "kind"),
        {"sqlite_strict": True},
    )

    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    time: Mapped[datetime]
    who: Mapped[str]
    action: Mapped[str]
    kind: Mapped[str]
    id: Mapped[str] = mapped_column(ForeignKey("things.id"))
    version: Mapped[int]
    content: Mapped[str]
    hash: Mapped[str]
    subtrees: Mapped[Items]


class RecordRow(Base):
    """What every table of records has."""

    __abstract__ = True

    @declared_attr.directive
    def __table_args__(cls) -> tuple[Any, ...]:  # noqa: N805 - SQLAlchemy calls it with the class
        return (UniqueConstraint("id", "version"), {"sqlite_strict": True})

    seq: Mapped[int] = mapped_column(
        ForeignKey("journal.seq"), primary_key=True, autoincrement=False, sort_order=-9
    )
    id: Mapped[str] = mapped_column(ForeignKey("things.id"), sort_order=-8)
    version: Mapped[int] = mapped_column(sort_order=-7)
    reason: Mapped[str] = mapped_column(sort_order=-6)
    voided: Mapped[bool] = mapped_column(sort_order=-5)
    note: Mapped[str] = mapped_column(sort_order=-4)


class SiteRow(RecordRow):
    """Records of `lungwort.register.model.Site`."""

    __tablename__ = "site"

    name: Mapped[str]
    title: Mapped[str]
    address: Mapped[str]
    zone: Mapped[str]
    limit_set: Mapped[str]
    plan: Mapped[str]
    retention_years: Mapped[int]
    second_signature: Mapped[bool]
    in_use: Mapped[bool]
    name_key: Mapped[NameKey]


class PersonRow(RecordRow):
    """Records of `lungwort.register.model.Person`."""

    __tablename__ = "person"

    name: Mapped[str]
    role: Mapped[str]
    competent_until: Mapped[date | None]
    in_use: Mapped[bool]
    name_key: Mapped[NameKey]


class SupplyRow(RecordRow):
    """Records of `lungwort.register.model.Supply`."""

    __tablename__ = "supply"

    site_id: Mapped[Reference]
    name: Mapped[str]
    title: Mapped[str]
    maker_plate: Mapped[str]
    kind: Mapped[str]
    oil_lubricated: Mapped[bool | None]
    lubricant: Mapped[str]
    intake: Mapped[str]
    serves: Mapped[str]
    pressure_bar_g: Mapped[Decimal | None]
    lowest_temperature_c: Mapped[Decimal | None]
    limit_set: Mapped[str]
    in_use: Mapped[bool]
    name_key: Mapped[NameKey]


class StageRow(RecordRow):
    """Records of `lungwort.register.model.Stage`."""

    __tablename__ = "stage"

    supply_id: Mapped[Reference]
    name: Mapped[str]
    kind: Mapped[str]
    place: Mapped[int]
    change_hours: Mapped[Decimal | None]
    change_months: Mapped[int | None]
    in_use: Mapped[bool]


class LotRow(RecordRow):
    """Records of `lungwort.register.model.Lot`."""

    __tablename__ = "lot"

    name: Mapped[str]
    kind: Mapped[str]
    device: Mapped[str]
    analyte: Mapped[str]
    lot_number: Mapped[str]
    expires: Mapped[date | None]
    stock: Mapped[int]
    name_key: Mapped[NameKey]


class CartridgeChangeRow(RecordRow):
    """Records of `lungwort.register.model.CartridgeChange`."""

    __tablename__ = "cartridge_change"

    stage_id: Mapped[Reference]
    time: Mapped[datetime]
    running_hours: Mapped[Decimal | None]
    lot_id: Mapped[Reference | None]
    by_id: Mapped[Reference]


class RunningHoursRow(RecordRow):
    """Records of `lungwort.register.model.RunningHours`."""

    __tablename__ = "running_hours"

    supply_id: Mapped[Reference]
    time: Mapped[datetime]
    hours: Mapped[Decimal]


class EventRow(RecordRow):
    """Records of `lungwort.register.model.Event`."""

    __tablename__ = "event"

    supply_id: Mapped[Reference]
    kind: Mapped[str]
    time: Mapped[datetime]
    text: Mapped[str]
    by_id: Mapped[Reference]


class RiskAssessmentRow(RecordRow):
    """Records of `lungwort.register.model.RiskAssessment`."""

    __tablename__ = "risk_assessment"

    supply_id: Mapped[Reference]
    time: Mapped[datetime]
    questionnaire: Mapped[str]
    answers: Mapped[Items]
    proposed_months: Mapped[int]
    chosen_months: Mapped[int]
    why: Mapped[str]
    by_id: Mapped[Reference]


class OutletRow(RecordRow):
    """Records of `lungwort.register.model.Outlet`."""

    __tablename__ = "outlet"

    supply_id: Mapped[Reference]
    name: Mapped[str]
    place: Mapped[str]
    in_use: Mapped[bool]
    name_key: Mapped[NameKey]


class WearerEquipmentRow(RecordRow):
    """Records of `lungwort.register.model.WearerEquipment`."""

    __tablename__ = "wearer_equipment"

    outlet_id: Mapped[Reference]
    name: Mapped[str]
    minimum_flow_l_min: Mapped[Decimal | None]
    lowest_pressure_bar_g: Mapped[Decimal | None]
    highest_pressure_bar_g: Mapped[Decimal | None]
    count: Mapped[int]
    in_use: Mapped[bool]


class PlantRow(RecordRow):
    """Records of `lungwort.register.model.PlantRecord`."""

    __tablename__ = "plant"

    supply_id: Mapped[Reference]
    name: Mapped[str]
    text: Mapped[str]
    sheet_digest: Mapped[str]
    time: Mapped[datetime]
    by_id: Mapped[Reference]


class InstrumentRow(RecordRow):
    """Records of `lungwort.register.model.Instrument`."""

    __tablename__ = "instrument"

    name: Mapped[str]
    type: Mapped[str]
    serial: Mapped[str]
    channels: Mapped[Items]
    calibration_months: Mapped[int | None]
    bump_days: Mapped[int | None]
    in_use: Mapped[bool]
    name_key: Mapped[NameKey]


class CalibrationRow(RecordRow):
    """Records of `lungwort.register.model.Calibration`."""

    __tablename__ = "calibration"

    instrument_id: Mapped[Reference]
    time: Mapped[datetime]
    kind: Mapped[str]
    rows: Mapped[Items]
    passed: Mapped[bool]
    valid_until: Mapped[date | None]
    by: Mapped[str]
    paper_sha256: Mapped[str]


class HandTestRow(RecordRow):
    """Records of `lungwort.register.model.HandTest`."""

    __tablename__ = "hand_test"

    outlet_id: Mapped[Reference]
    procedure: Mapped[str]
    procedure_sha256: Mapped[str]
    state: Mapped[str]
    why: Mapped[str]
    started: Mapped[datetime]
    ended: Mapped[datetime]
    tester_id: Mapped[Reference]
    second_person_id: Mapped[Reference | None]
    answers: Mapped[Items]
    readings: Mapped[Items]


class LotUseRow(RecordRow):
    """Records of `lungwort.register.model.LotUse`."""

    __tablename__ = "lot_use"

    lot_id: Mapped[Reference]
    time: Mapped[datetime]
    count: Mapped[int]
    why: Mapped[str]
    hand_test_id: Mapped[Reference | None]


class PhotoRow(RecordRow):
    """Records of `lungwort.register.model.Photo`."""

    __tablename__ = "photo"

    hand_test_id: Mapped[Reference]
    step: Mapped[str]
    name: Mapped[str]
    media_type: Mapped[str]
    photo_sha256: Mapped[str]
    size_bytes: Mapped[int]
    time: Mapped[datetime]
    by_id: Mapped[Reference]


class LogImportRow(RecordRow):
    """Records of `lungwort.register.model.LogImport`."""

    __tablename__ = "log_import"

    outlet_id: Mapped[Reference]
    instrument_id: Mapped[Reference | None]
    files: Mapped[Items]
    content_sha256: Mapped[str]
    recipe_sha256: Mapped[str]
    log_sha256: Mapped[str]
    parts: Mapped[Items]
    start: Mapped[datetime | None]
    end: Mapped[datetime | None]
    rows: Mapped[int]
    refused: Mapped[int]
    by_id: Mapped[Reference]


class VerdictRecordRow(RecordRow):
    """Records of `lungwort.register.model.VerdictRecord`."""

    __tablename__ = "verdict"

    outlet_id: Mapped[Reference]
    supply_id: Mapped[Reference]
    overall: Mapped[str]
    reasons: Mapped[Items]
    lapses: Mapped[Items]
    limits: Mapped[Items]
    limit_set: Mapped[str]
    limit_set_digest: Mapped[str]
    inputs_sha256: Mapped[str]
    result_sha256: Mapped[str]
    log_import_ids: Mapped[Items]
    hand_test_ids: Mapped[Items]
    start: Mapped[datetime | None]
    end: Mapped[datetime | None]
    judged_at: Mapped[datetime]
    program_version: Mapped[str]
    by_id: Mapped[Reference]
    pressure_bar_g: Mapped[Decimal | None]
    lowest_temperature_c: Mapped[Decimal | None]


class CertificateRow(RecordRow):
    """Records of `lungwort.register.model.Certificate`."""

    __tablename__ = "certificate"

    number: Mapped[str]
    verdict_id: Mapped[Reference]
    outlet_id: Mapped[Reference]
    supply_id: Mapped[Reference]
    issued_at: Mapped[datetime]
    issued_by_id: Mapped[Reference]
    approved_by_id: Mapped[Reference | None]
    next_test_by: Mapped[date | None]
    tree_size: Mapped[int]
    tree_root: Mapped[str]
    result_sha256: Mapped[str]
    pdf_sha256: Mapped[str]
    digitally_signed: Mapped[bool]
    name_key: Mapped[NameKey]


class ApprovalRow(RecordRow):
    """Records of `lungwort.register.model.Approval`."""

    __tablename__ = "approval"

    verdict_id: Mapped[Reference]
    outlet_id: Mapped[Reference]
    supply_id: Mapped[Reference]
    state: Mapped[str]
    asked_at: Mapped[datetime]
    asked_by_id: Mapped[Reference]
    decided_at: Mapped[datetime | None]
    decided_by_id: Mapped[Reference | None]
    certificate_id: Mapped[Reference | None]
    why: Mapped[str]


class FindingRow(RecordRow):
    """Records of `lungwort.register.model.Finding`."""

    __tablename__ = "finding"

    number: Mapped[str]
    supply_id: Mapped[Reference]
    outlet_id: Mapped[Reference | None]
    verdict_id: Mapped[Reference | None]
    opened_at: Mapped[datetime]
    text: Mapped[str]
    analytes: Mapped[Items]
    by_id: Mapped[Reference]
    name_key: Mapped[NameKey]


class ActionRow(RecordRow):
    """Records of `lungwort.register.model.Action`."""

    __tablename__ = "action"

    finding_id: Mapped[Reference]
    kind: Mapped[str]
    time: Mapped[datetime]
    text: Mapped[str]
    verdict_id: Mapped[Reference | None]
    by_id: Mapped[Reference]


class SupplyStateRow(RecordRow):
    """Records of `lungwort.register.model.SupplyState`."""

    __tablename__ = "supply_state"

    supply_id: Mapped[Reference]
    state: Mapped[str]
    time: Mapped[datetime]
    why: Mapped[str]
    finding_ids: Mapped[Items]
    verdict_ids: Mapped[Items]
    by_id: Mapped[Reference]


ROWS: Final[dict[str, type[RecordRow]]] = {
    one.__tablename__: one
    for one in (
        SiteRow,
        PersonRow,
        SupplyRow,
        StageRow,
        LotRow,
        CartridgeChangeRow,
        RunningHoursRow,
        EventRow,
        RiskAssessmentRow,
        OutletRow,
        WearerEquipmentRow,
        PlantRow,
        InstrumentRow,
        CalibrationRow,
        HandTestRow,
        LotUseRow,
        PhotoRow,
        LogImportRow,
        VerdictRecordRow,
        CertificateRow,
        ApprovalRow,
        FindingRow,
        ActionRow,
        SupplyStateRow,
    )
}
"""The table of each kind, in the order of `lungwort.register.model.KINDS`."""
