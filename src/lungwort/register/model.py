"""What the record holds: one frozen class a kind.

A record belongs to a thing, named by `Record.id` for as long as the thing is known. What is said of
the thing later is a new record with the same id and the next version, with the reason; the old one
stays. Records name other things by id, never by version.

Measured numbers are `decimal.Decimal`, so that they are kept as they were written. Times carry a
time zone and are UTC. Digests are SHA-256 in lower-case hexadecimal and name a file in the
workspace's ``files`` folder.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final

from attrs import field, frozen

if TYPE_CHECKING:
    from datetime import date, datetime
    from decimal import Decimal

# Kinds of supply.
AIRLINE_COMPRESSOR: Final = "airline_compressor"
CHARGING_COMPRESSOR: Final = "charging_compressor"
CYLINDER_BANK: Final = "cylinder_bank"
RING_MAIN: Final = "ring_main"
SUPPLY_KINDS: Final = (AIRLINE_COMPRESSOR, CHARGING_COMPRESSOR, CYLINDER_BANK, RING_MAIN)

STAGE_KINDS: Final = ("separator", "filter", "drier", "carbon", "catalyst", "cartridge", "other")
LOT_KINDS: Final = ("oil_indicator", "tube", "calibration_gas", "filter", "other")
EVENT_KINDS: Final = ("maintenance", "moved", "doubt", "other")

# States of a supply.
IN_SERVICE: Final = "in_service"
WITHDRAWN: Final = "withdrawn"
UNDER_TEST: Final = "under_test"
SUPPLY_STATES: Final = (IN_SERVICE, WITHDRAWN, UNDER_TEST)

# How a test by hand ended.
DONE: Final = "done"
ABORTED: Final = "aborted"
VOID: Final = "void"

# What an action on a finding is.
CAUSE: Final = "cause"
CURE: Final = "cure"
NOTE: Final = "note"
CLOSE: Final = "close"
ACTION_KINDS: Final = (CAUSE, CURE, NOTE, CLOSE)

PHOTO_TYPES: Final = ("image/jpeg", "image/png", "image/webp", "image/heic")

# How far a second person's approval has come.
ASKED: Final = "asked"
APPROVED: Final = "approved"
REFUSED: Final = "refused"
APPROVAL_STATES: Final = (ASKED, APPROVED, REFUSED)

CALIBRATION: Final = "calibration"
BUMP_TEST: Final = "bump_test"


@frozen(kw_only=True)
class Record:
    """What every record has.

    Parameters
    ----------
    id : str
        The thing, such as ``supply-7k3m9q2wd4xa``; empty until the register gives one.
    version : int
        1 for the first record of a thing, then in steps of one; 0 until the register gives one.
    seq : int
        Number of the journal entry that recorded it; 0 until it is recorded. Not part of what the
        entry hashes.
    reason : str
        Why it takes the place of the version before; empty for the first.
    voided : bool
        Whether the thing was recorded by mistake. It stays in the record and counts no more.
    note : str
        Whatever else is to be remembered.
    """

    KIND: ClassVar[str] = ""
    NAME: ClassVar[str] = ""
    """Field by which a user calls the thing; empty where it is called by its id."""

    id: str = ""
    version: int = 0
    seq: int = 0
    reason: str = ""
    voided: bool = False
    note: str = ""


@frozen(kw_only=True)
class Site(Record):
    """A place with breathing air.

    Parameters
    ----------
    name : str
        Short name that commands accept, unique among the sites in use.
    title, address : str
        As on paper.
    zone : str
        IANA time zone, such as Europe/London.
    limit_set : str
        Id or file of the limit set that holds where a supply names none.
    plan : str
        Id of the rule set for intervals.
    retention_years : int
        How long records are kept [years].
    second_signature : bool
        Whether a certificate must be approved by a second person.
    in_use : bool
        False once it is given up.
    """

    KIND: ClassVar[str] = "site"
    NAME: ClassVar[str] = "name"

    name: str
    title: str = ""
    address: str = ""
    zone: str = "UTC"
    limit_set: str = ""
    plan: str = ""
    retention_years: int = 5
    second_signature: bool = False
    in_use: bool = True


@frozen(kw_only=True)
class Supply(Record):
    """A source of breathing air with its treatment.

    Parameters
    ----------
    site_id, name : str
        Where, and the short name that commands accept.
    title, maker_plate : str
        As on paper; what the plate on the machine says (serial number, year).
    kind : str
        One of `SUPPLY_KINDS`.
    oil_lubricated : bool, optional
        None where not known.
    lubricant, intake, serves : str
        Which lubricant; where it draws air; who breathes it.
    pressure_bar_g : Decimal, optional
        Highest supply pressure [bar(g)].
    lowest_temperature_c : Decimal, optional
        Lowest temperature to which the air line or the cylinder is exposed [°C].
    limit_set : str
        Id or file of its limit set; empty for the site's.
    in_use : bool
        False once it is scrapped or sold.
    """

    KIND: ClassVar[str] = "supply"
    NAME: ClassVar[str] = "name"

    site_id: str
    name: str
    title: str = ""
    maker_plate: str = ""
    kind: str = AIRLINE_COMPRESSOR
    oil_lubricated: bool | None = None
    lubricant: str = ""
    intake: str = ""
    serves: str = ""
    pressure_bar_g: Decimal | None = None
    lowest_temperature_c: Decimal | None = None
    limit_set: str = ""
    in_use: bool = True


@frozen(kw_only=True)
class Stage(Record):
    """One stage of a supply's treatment.

    Parameters
    ----------
    supply_id, name : str
        Of which supply; what it is called there. A user calls it ``supply/stage``.
    kind : str
        One of `STAGE_KINDS`.
    place : int
        Its place in the air's way, from 1.
    change_hours : Decimal, optional
        Running hours after which its cartridge is changed [h].
    change_months : int, optional
        Months after which its cartridge is changed [months].
    in_use : bool
        False once it is taken out.
    """

    KIND: ClassVar[str] = "stage"

    supply_id: str
    name: str
    kind: str = "cartridge"
    place: int = 1
    change_hours: Decimal | None = None
    change_months: int | None = None
    in_use: bool = True


@frozen(kw_only=True)
class CartridgeChange(Record):
    """A cartridge was changed.

    Parameters
    ----------
    stage_id : str
        In which stage.
    time : datetime
        When, UTC.
    running_hours : Decimal, optional
        What the supply's hour meter showed [h].
    lot_id : str, optional
        Lot of the new cartridge.
    by_id : str
        Person.
    """

    KIND: ClassVar[str] = "cartridge_change"

    stage_id: str
    time: datetime
    running_hours: Decimal | None = None
    lot_id: str | None = None
    by_id: str


@frozen(kw_only=True)
class RunningHours(Record):
    """What a supply's hour meter showed.

    Parameters
    ----------
    supply_id : str
        Of which supply.
    time : datetime
        When, UTC.
    hours : Decimal
        The reading [h].
    """

    KIND: ClassVar[str] = "running_hours"

    supply_id: str
    time: datetime
    hours: Decimal


@frozen(kw_only=True)
class Event(Record):
    """Something happened to a supply that asks for a new test.

    Parameters
    ----------
    supply_id : str
        Which supply.
    kind : str
        One of `EVENT_KINDS`.
    time : datetime
        When, UTC.
    text : str
        What.
    by_id : str
        Person who says so.
    """

    KIND: ClassVar[str] = "event"

    supply_id: str
    kind: str
    time: datetime
    text: str
    by_id: str


@frozen(kw_only=True)
class RiskAssessment(Record):
    """The user's own assessment of how often a supply is tested.

    Parameters
    ----------
    supply_id : str
        Which supply.
    time : datetime
        When, UTC.
    questionnaire : str
        Id of the questionnaire.
    answers : tuple of (str, str)
        Question and answer.
    proposed_months, chosen_months : int
        Interval that the answers led to, and the one that was decided [months].
    why : str
        Reasons for another interval than the proposed one.
    by_id : str
        Person who decided.
    """

    KIND: ClassVar[str] = "risk_assessment"

    supply_id: str
    time: datetime
    questionnaire: str
    answers: tuple[tuple[str, str], ...]
    proposed_months: int
    chosen_months: int
    why: str = ""
    by_id: str


@frozen(kw_only=True)
class Outlet(Record):
    """A point where air is taken and tested.

    Parameters
    ----------
    supply_id, name : str
        Of which supply; the short name that commands accept.
    place : str
        Where it is.
    in_use : bool
        False once it is taken away.
    """

    KIND: ClassVar[str] = "outlet"
    NAME: ClassVar[str] = "name"

    supply_id: str
    name: str
    place: str = ""
    in_use: bool = True


@frozen(kw_only=True)
class WearerEquipment(Record):
    """What is worn at an outlet, and the flow that it needs.

    Parameters
    ----------
    outlet_id, name : str
        At which outlet; what it is.
    minimum_flow_l_min : Decimal, optional
        Lowest flow for one wearer, by its maker [L/min].
    lowest_pressure_bar_g, highest_pressure_bar_g : Decimal, optional
        Pressures at the hose's inlet between which it works [bar(g)].
    count : int
        How many are worn at once.
    in_use : bool
        False once it is put away.
    """

    KIND: ClassVar[str] = "wearer_equipment"

    outlet_id: str
    name: str
    minimum_flow_l_min: Decimal | None = None
    lowest_pressure_bar_g: Decimal | None = None
    highest_pressure_bar_g: Decimal | None = None
    count: int = 1
    in_use: bool = True


@frozen(kw_only=True)
class PlantRecord(Record):
    """What stands behind a supply's outlets, as its plant sheet says: a whole sheet a version.

    Parameters
    ----------
    supply_id : str
        The supply.
    name : str
        Name of the file.
    text : str
        The plant sheet, TOML.
    sheet_digest : str
        SHA-256 of the text in UTF-8.
    time : datetime
        Since when the plant is so, UTC.
    by_id : str
        Person who says so.
    """

    KIND: ClassVar[str] = "plant"

    supply_id: str
    name: str
    text: str
    sheet_digest: str
    time: datetime
    by_id: str


@frozen
class InstrumentChannel:
    """One quantity that an instrument measures.

    Parameters
    ----------
    analyte, unit : str
        What, and in which unit.
    low, high : Decimal, optional
        Range [unit].
    uncertainty : Decimal, optional
        Expanded uncertainty (k = 2) [unit].
    """

    analyte: str
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    uncertainty: Decimal | None = None


@frozen(kw_only=True)
class Instrument(Record):
    """What measures.

    Parameters
    ----------
    name : str
        Short name that commands accept.
    type, serial : str
        What it is, in words; its serial number.
    channels : tuple of InstrumentChannel
        What it measures.
    calibration_months : int, optional
        Months between calibrations [months].
    bump_days : int, optional
        Days between bump tests [days].
    in_use : bool
        False once it is put away.
    """

    KIND: ClassVar[str] = "instrument"
    NAME: ClassVar[str] = "name"

    name: str
    type: str = ""
    serial: str = ""
    channels: tuple[InstrumentChannel, ...] = ()
    calibration_months: int | None = None
    bump_days: int | None = None
    in_use: bool = True


@frozen
class CalibrationRow:
    """What one channel showed.

    Parameters
    ----------
    analyte, unit : str
        Which channel.
    reference : Decimal
        What was offered to it [unit].
    as_found : Decimal
        What it showed before adjustment [unit].
    as_left : Decimal, optional
        What it showed afterwards; None where it was not adjusted [unit].
    tolerance : Decimal, optional
        How far it may be off [unit].
    """

    analyte: str
    unit: str
    reference: Decimal
    as_found: Decimal
    as_left: Decimal | None = None
    tolerance: Decimal | None = None


@frozen(kw_only=True)
class Calibration(Record):
    """A calibration or a bump test of an instrument.

    Parameters
    ----------
    instrument_id : str
        Which instrument.
    time : datetime
        When, UTC.
    kind : str
        ``calibration`` or ``bump_test``.
    rows : tuple of CalibrationRow
        What its channels showed.
    passed : bool
        Whether it may be used.
    valid_until : date, optional
        Last day on which it holds, where its paper says so.
    by : str
        Who did it.
    paper_sha256 : str
        Its certificate, in ``files``; empty for none.
    """

    KIND: ClassVar[str] = "calibration"

    instrument_id: str
    time: datetime
    kind: str
    rows: tuple[CalibrationRow, ...] = ()
    passed: bool
    valid_until: date | None = None
    by: str
    paper_sha256: str = ""


@frozen(kw_only=True)
class Lot(Record):
    """A lot of what is used up in tests.

    Parameters
    ----------
    name : str
        Short name that commands accept.
    kind : str
        One of `LOT_KINDS`.
    device : str
        Id of the tube or indicator kind, where known.
    analyte : str
        What it is for; empty where it is for none.
    lot_number : str
        As printed.
    expires : date, optional
        Last day of use.
    stock : int
        How many there were when it came [1].
    """

    KIND: ClassVar[str] = "lot"
    NAME: ClassVar[str] = "name"

    name: str
    kind: str
    device: str = ""
    analyte: str = ""
    lot_number: str = ""
    expires: date | None = None
    stock: int = 0


@frozen(kw_only=True)
class LotUse(Record):
    """Some of a lot was used up or thrown away.

    Parameters
    ----------
    lot_id : str
        Which lot.
    time : datetime
        When, UTC.
    count : int
        How many [1], above 0.
    why : str
        What for.
    hand_test_id : str, optional
        The test in which.
    """

    KIND: ClassVar[str] = "lot_use"

    lot_id: str
    time: datetime
    count: int
    why: str = ""
    hand_test_id: str | None = None


@frozen(kw_only=True)
class Person(Record):
    """Somebody who tests, decides or signs.

    Parameters
    ----------
    name : str
        As written; commands accept it.
    role : str
        In words.
    competent_until : date, optional
        Last day of the competence to test; None where no competence is on record.
    in_use : bool
        False once the person has left.
    """

    KIND: ClassVar[str] = "person"
    NAME: ClassVar[str] = "name"

    name: str
    role: str = ""
    competent_until: date | None = None
    in_use: bool = True


@frozen
class KeptFile:
    """A file of the user's that was taken into the record.

    Parameters
    ----------
    name : str
        Name without folders.
    sha256 : str
        Digest.
    size_bytes : int
        Size [bytes].
    """

    name: str
    sha256: str
    size_bytes: int


@frozen
class Part:
    """A Parquet part in the column store.

    Parameters
    ----------
    path : str
        Below the workspace folder, with ``/`` between names.
    sha256 : str
        Digest of the file.
    rows : int
        Readings in time [1].
    """

    path: str
    sha256: str
    rows: int


@frozen(kw_only=True)
class LogImport(Record):
    """Logger's files that were read into the column store.

    Parameters
    ----------
    outlet_id : str
        Where the air was taken.
    instrument_id : str, optional
        What measured; None where it was not said.
    files : tuple of KeptFile
        The files as they came, also in ``files``.
    content_sha256 : str
        Digest over the digests of the files and of how they were read: the same files read the
        same way have the same.
    recipe_sha256 : str
        How they were read, as a recipe, in ``files``.
    log_sha256 : str
        All of the log but its readings, as JSON, in ``files``.
    parts : tuple of Part
        The readings.
    start, end : datetime, optional
        First and last time, UTC.
    rows, refused : int
        Readings in time; rows that were not used [1].
    by_id : str
        Person.
    """

    KIND: ClassVar[str] = "log_import"

    outlet_id: str
    instrument_id: str | None = None
    files: tuple[KeptFile, ...]
    content_sha256: str
    recipe_sha256: str
    log_sha256: str
    parts: tuple[Part, ...]
    start: datetime | None = None
    end: datetime | None = None
    rows: int
    refused: int
    by_id: str


@frozen
class Reading:
    """What a test by hand says of one analyte.

    Parameters
    ----------
    text : str
        As `lungwort.spot.parse.parse_spot` takes it: ``oil=indicator: 0.1-0.5``.
    time : datetime
        When it was read, UTC.
    instrument_id, lot_id : str, optional
        What it was read from.
    """

    text: str
    time: datetime
    instrument_id: str | None = None
    lot_id: str | None = None


@frozen
class Answer:
    """What was entered at one step of a procedure.

    Parameters
    ----------
    step, name : str
        Step, and the entry asked for there.
    given : str
        As entered.
    time : datetime
        When, UTC.
    """

    step: str
    name: str
    given: str
    time: datetime


@frozen(kw_only=True)
class HandTest(Record):
    """A test by hand.

    Parameters
    ----------
    outlet_id : str
        Where.
    procedure : str
        Id of the procedure.
    procedure_sha256 : str
        The procedure as it was followed, in ``files``.
    state : str
        ``done``, ``aborted`` or ``void``.
    why : str
        Why it was aborted or is void.
    started, ended : datetime
        UTC.
    tester_id : str
        Person who did it.
    second_person_id : str, optional
        Person who judged the odour.
    answers : tuple of Answer
        All entries, in the order they were made.
    readings : tuple of Reading
        What it says; empty where it is void or was aborted.
    """

    KIND: ClassVar[str] = "hand_test"

    outlet_id: str
    procedure: str
    procedure_sha256: str
    state: str
    why: str = ""
    started: datetime
    ended: datetime
    tester_id: str
    second_person_id: str | None = None
    answers: tuple[Answer, ...] = ()
    readings: tuple[Reading, ...] = ()


@frozen(kw_only=True)
class Photo(Record):
    """A photo that was taken in a test by hand.

    Parameters
    ----------
    hand_test_id : str
        Which test.
    step : str
        Step of its procedure that the photo belongs to; empty for the test as a whole.
    name : str
        Name of its file without folders, as the device gave it.
    media_type : str
        One of `PHOTO_TYPES`, by what the file begins with.
    photo_sha256 : str
        The photo as it came, in ``files``.
    size_bytes : int
        Its size [bytes].
    time : datetime
        When it was added to the test, UTC.
    by_id : str
        Person who tested.
    """

    KIND: ClassVar[str] = "photo"

    hand_test_id: str
    step: str = ""
    name: str
    media_type: str
    photo_sha256: str
    size_bytes: int
    time: datetime
    by_id: str


@frozen
class LimitWord:
    """What a verdict says of one limit, for looking up.

    Parameters
    ----------
    key, analyte : str
        Which limit.
    verdict : str
        As `lungwort.verdict.model.Finding.verdict`.
    required : bool
        False for advice.
    limit, worst : str
        As shown.
    means : str
        ``log``, the means of the hand test, or empty for none.
    evidence_time : datetime, optional
        Time of the newest evidence of it, UTC; None for none.
    """

    key: str
    analyte: str
    verdict: str
    required: bool
    limit: str = ""
    worst: str = ""
    means: str = ""
    evidence_time: datetime | None = None


@frozen(kw_only=True)
class VerdictRecord(Record):
    """A verdict, with all that is needed to draw it again.

    Parameters
    ----------
    outlet_id, supply_id : str
        Of which air.
    overall : str
        ``conforms``, ``does_not_conform`` or ``not_proven``.
    reasons : tuple of str
        Why.
    lapses : tuple of str
        What the evidence rests on and was not in order: calibration, competence, lot.
    limits : tuple of LimitWord
        A limit each.
    limit_set, limit_set_digest : str
        Id and digest of the limit set.
    inputs_sha256 : str
        Limit set, conditions, options, uncertainties, hand tests and doubts as JSON, in ``files``.
    result_sha256 : str
        The result as JSON, in ``files``.
    log_import_ids, hand_test_ids : tuple of str
        The evidence.
    start, end : datetime, optional
        Period judged, UTC.
    judged_at : datetime
        When, UTC.
    program_version : str
        Version of lungwort that judged.
    by_id : str
        Person who had it judged.
    pressure_bar_g, lowest_temperature_c : Decimal, optional
        The supply's as they were judged with [bar(g)], [°C]; None where none was given. A verdict
        counts no more once the supply's are others.
    """

    KIND: ClassVar[str] = "verdict"

    outlet_id: str
    supply_id: str
    overall: str
    reasons: tuple[str, ...] = ()
    lapses: tuple[str, ...] = ()
    limits: tuple[LimitWord, ...] = ()
    limit_set: str
    limit_set_digest: str
    inputs_sha256: str
    result_sha256: str
    log_import_ids: tuple[str, ...] = ()
    hand_test_ids: tuple[str, ...] = ()
    start: datetime | None = None
    end: datetime | None = None
    judged_at: datetime
    program_version: str
    by_id: str
    pressure_bar_g: Decimal | None = None
    lowest_temperature_c: Decimal | None = None


@frozen(kw_only=True)
class Certificate(Record):
    """A certificate that was signed.

    Parameters
    ----------
    number : str
        Such as ``YARD-2026-0001``; commands accept it.
    verdict_id, outlet_id, supply_id : str
        What it certifies.
    issued_at : datetime
        When, UTC.
    issued_by_id : str
        Person who signed.
    approved_by_id : str, optional
        Second person who signed.
    next_test_by : date, optional
        Day by which the next test is due.
    tree_size : int
        Entries in the journal when it was issued [1].
    tree_root : str
        Head of the tree over them.
    result_sha256, pdf_sha256 : str
        The result and the certificate, in ``files``.
    digitally_signed : bool
        Whether the PDF carries a digital signature.
    """

    KIND: ClassVar[str] = "certificate"
    NAME: ClassVar[str] = "number"

    number: str
    verdict_id: str
    outlet_id: str
    supply_id: str
    issued_at: datetime
    issued_by_id: str
    approved_by_id: str | None = None
    next_test_by: date | None = None
    tree_size: int
    tree_root: str
    result_sha256: str
    pdf_sha256: str
    digitally_signed: bool = False


@frozen(kw_only=True)
class Approval(Record):
    """A second person was asked to approve a certificate, and what came of it.

    Parameters
    ----------
    verdict_id, outlet_id, supply_id : str
        The verdict that is to be certified, and of which air.
    state : str
        One of `APPROVAL_STATES`.
    asked_at : datetime
        When it was asked for, UTC.
    asked_by_id : str
        Person who asked, and who issues the certificate.
    decided_at : datetime, optional
        When the second person decided, UTC.
    decided_by_id : str, optional
        The second person.
    certificate_id : str, optional
        The certificate, where it was approved.
    why : str
        Why it was refused.
    """

    KIND: ClassVar[str] = "approval"

    verdict_id: str
    outlet_id: str
    supply_id: str
    state: str = ASKED
    asked_at: datetime
    asked_by_id: str
    decided_at: datetime | None = None
    decided_by_id: str | None = None
    certificate_id: str | None = None
    why: str = ""


@frozen(kw_only=True)
class Finding(Record):
    """Something wrong with a supply's air or its keeping.

    Parameters
    ----------
    number : str
        Such as ``F-2026-0001``; commands accept it.
    supply_id : str
        Which supply.
    outlet_id, verdict_id : str, optional
        At which outlet, by which verdict.
    opened_at : datetime
        When, UTC.
    text : str
        What is wrong.
    analytes : tuple of str
        Analytes concerned.
    by_id : str
        Person who opened it.
    """

    KIND: ClassVar[str] = "finding"
    NAME: ClassVar[str] = "number"

    number: str
    supply_id: str
    outlet_id: str | None = None
    verdict_id: str | None = None
    opened_at: datetime
    text: str
    analytes: tuple[str, ...] = ()
    by_id: str


@frozen(kw_only=True)
class Action(Record):
    """What was found out or done about a finding.

    Parameters
    ----------
    finding_id : str
        Which finding.
    kind : str
        One of `ACTION_KINDS`: its cause, what cured it, a note, or its closing.
    time : datetime
        When, UTC.
    text : str
        What.
    verdict_id : str, optional
        For its closing: the verdict of the retest.
    by_id : str
        Person.
    """

    KIND: ClassVar[str] = "action"

    finding_id: str
    kind: str
    time: datetime
    text: str
    verdict_id: str | None = None
    by_id: str


@frozen(kw_only=True)
class SupplyState(Record):
    """A supply was withdrawn, put under test, or returned to service.

    Parameters
    ----------
    supply_id : str
        Which supply.
    state : str
        One of `SUPPLY_STATES`. A supply without any such record is under test.
    time : datetime
        When, UTC.
    why : str
        Why.
    finding_ids : tuple of str
        Findings that led to it.
    verdict_ids : tuple of str
        Verdicts that it rests on, an outlet each.
    by_id : str
        Person who decided.
    """

    KIND: ClassVar[str] = "supply_state"

    supply_id: str
    state: str
    time: datetime
    why: str
    finding_ids: tuple[str, ...] = ()
    verdict_ids: tuple[str, ...] = ()
    by_id: str


KINDS: Final[dict[str, type[Record]]] = {
    one.KIND: one
    for one in (
        Site,
        Person,
        Supply,
        Stage,
        Lot,
        CartridgeChange,
        RunningHours,
        Event,
        RiskAssessment,
        Outlet,
        WearerEquipment,
        PlantRecord,
        Instrument,
        Calibration,
        HandTest,
        LotUse,
        Photo,
        LogImport,
        VerdictRecord,
        Certificate,
        Approval,
        Finding,
        Action,
        SupplyState,
    )
}
"""The kinds by name, in an order in which a kind refers only to kinds before it."""


@frozen
class Entry:
    """One entry of the journal.

    Parameters
    ----------
    seq : int
        1 for the first, then in steps of one.
    time : datetime
        When it was made, UTC.
    who : str
        Who made the change, by name.
    action : str
        ``add``, ``replace`` or ``void``.
    kind, id : str
        Kind and thing.
    version : int
        Version that it recorded.
    content : str
        The entry in canonical JSON (RFC 8785): all of the above, the record and the hash of the
        entry before. Its UTF-8 bytes are what is hashed.
    hash : str
        SHA-256 of ``content``.
    """

    seq: int
    time: datetime
    who: str
    action: str
    kind: str
    id: str
    version: int
    content: str = field(repr=False)
    hash: str


@frozen
class TreeHead:
    """Head of the tree over the journal's first entries.

    Parameters
    ----------
    size : int
        How many entries [1].
    root : str
        Root hash (RFC 6962, SHA-256), lower-case hexadecimal.
    """

    size: int
    root: str
