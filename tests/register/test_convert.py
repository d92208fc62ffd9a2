"""Records as JSON values and as rows: nothing is lost, nothing odd gets in."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.register.invented import DIGEST, NOON, records_of

from lungwort.errors import RegisterError
from lungwort.register import convert, model
from lungwort.register.canonical import canonical
from lungwort.register.checking import REFERENCES, in_order, naming_fields, references
from lungwort.register.queries import from_row, to_row
from lungwort.register.tables import ROWS

KINDS = sorted(model.KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_has_a_table_with_its_fields(kind: str) -> None:
    """A field that was added to a kind and not to its table would be lost."""
    fields = convert.field_types(model.KINDS[kind])
    columns = set(ROWS[kind].__table__.columns.keys())

    assert columns - {"name_key"} == set(fields)
    assert ("name_key" in columns) == bool(model.KINDS[kind].NAME)
    for name, shape in fields.items():
        optional = type(None) in getattr(shape, "__args__", ())
        assert ROWS[kind].__table__.columns[name].nullable == optional, name


@pytest.mark.parametrize("kind", KINDS)
def test_each_reference_is_known(kind: str) -> None:
    """A field that names a thing is in the list of references and has a foreign key."""
    for name, shape in convert.field_types(model.KINDS[kind]).items():
        if re.search(r"_ids?$", name):
            assert REFERENCES[name] in model.KINDS, name
        if name.endswith("_id"):
            keys = ROWS[kind].__table__.columns[name].foreign_keys
            assert [one.target_fullname for one in keys] == ["things.id"], name
        if convert.is_tuple(shape) and attrs.has(shape.__args__[0]):
            for inner in convert.field_types(shape.__args__[0]):
                if re.search(r"_ids?$", inner):
                    assert REFERENCES[inner] in model.KINDS, inner


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
@settings(deadline=None, max_examples=15)
def test_a_record_comes_back_from_json(kind: str, data: st.DataObject) -> None:
    """Through canonical JSON and back every kind is the same."""
    record = data.draw(records_of(model.KINDS[kind]))

    text = canonical(convert.to_plain(record))

    assert convert.from_plain(model.KINDS[kind], json.loads(text)) == record
    assert "seq" not in json.loads(text)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
@settings(deadline=None, max_examples=10)
def test_a_record_comes_back_from_its_row(kind: str, data: st.DataObject) -> None:
    """Row and record hold the same."""
    record = data.draw(records_of(model.KINDS[kind]))

    assert from_row(model.KINDS[kind], to_row(record)) == record


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
@settings(deadline=None, max_examples=10)
def test_what_may_be_recorded_is_left_as_it_is(kind: str, data: st.DataObject) -> None:
    """A record that is in order is not changed by checking it."""
    record = data.draw(records_of(model.KINDS[kind]))

    assert in_order(record) == record


def test_decimal_numbers_keep_their_digits() -> None:
    """7.50 stays 7.50: the digits say how well it was read."""
    supply = model.Supply(site_id="site-a", name="hall", pressure_bar_g=Decimal("7.50"))

    plain = convert.to_plain(supply)

    assert plain["pressure_bar_g"] == "7.50"
    assert str(convert.from_plain(model.Supply, plain).pressure_bar_g) == "7.50"


def test_times_are_written_in_utc_with_microseconds() -> None:
    """RFC 3339, section 4.3: Z is UTC; always six digits, so that text sorts as time."""
    time = datetime(2026, 3, 2, 9, 30, tzinfo=timezone(timedelta(hours=1)))
    record = in_order(model.RunningHours(supply_id="supply-a", time=time, hours=Decimal(1)))

    assert record.time.tzinfo is UTC
    assert convert.to_plain(record)["time"] == "2026-03-02T08:30:00.000000Z"


def _hours(**changed: Any) -> model.RunningHours:
    whole: dict[str, Any] = {"supply_id": "supply-a", "time": NOON, "hours": Decimal(1)}
    return model.RunningHours(**{**whole, **changed})


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (_hours(hours=1.5), r"hours 1\.5 is of a kind that cannot be recorded \(float\)"),
        (_hours(hours=Decimal("NaN")), "hours is NaN, which is no number"),
        (_hours(hours=Decimal("-Infinity")), "hours is -Infinity, which is no number"),
        (_hours(hours=1), "a decimal number should stand as text"),
        (_hours(hours="1"), "hours is '1', which is of the wrong kind"),
        (_hours(time=datetime(2026, 3, 2)), "has no time zone"),  # noqa: DTZ001 - the fault
        (_hours(time=date(2026, 3, 2)), "where a time in UTC should stand"),
        (_hours(time="2026-03-02T08:30:00.000000Z"), "time is .*wrong kind"),
        (_hours(supply_id=None), "where text should stand"),
        (_hours(note="a\0b"), r"note of the running hours holds a character .*U\+0000"),
        (_hours(note="a\ud800b"), r"note of the running hours holds a character .*U\+D800"),
        (_hours(note=b"x"), "cannot be recorded"),
        (model.Site(name=""), "name of the site is empty"),
        (model.Site(name=" yard"), "begins or ends with a blank"),
        (model.Site(name="ya\nrd"), "cannot be seen"),
        (model.Site(name="site-abcdefghabcdefgh"), "has the form of an id"),
        (model.Site(name="yard", retention_years=True), "where a whole number should stand"),
        (model.Site(name="yard", second_signature=1), "where true or false should stand"),  # type: ignore[arg-type]
        (model.Site(name="yard", retention_years=2**53), "whole numbers between"),
        (model.Supply(site_id="s", name="hall", kind="pump"), "kind of the supply is 'pump'. Give"),
        (model.Lot(name="a", kind="paint"), "kind of the lot is 'paint'. Give one of: oil_indic"),
        (
            model.RiskAssessment(
                supply_id="s",
                time=NOON,
                questionnaire="q",
                answers=(("a",),),  # type: ignore[arg-type]
                proposed_months=1,
                chosen_months=1,
                by_id="p",
            ),
            "where 2 values should stand",
        ),
        (
            model.Calibration(
                instrument_id="i",
                time=NOON,
                kind="bump_test",
                passed=True,
                by="x",
                paper_sha256="AB",
            ),
            "paper_sha256 of the calibration is 'AB', which is no SHA-256",
        ),
    ],
)
def test_what_cannot_be_recorded_is_refused(record: model.Record, said: str) -> None:
    """The message names the field, what was found and what to give."""
    with pytest.raises(RegisterError, match=said):
        canonical(convert.to_plain(in_order(record)))


def test_a_class_that_is_no_kind_is_refused() -> None:
    """Only the kinds of the model have a table."""

    @attrs.frozen(kw_only=True)
    class Other(model.Site):
        pass

    with pytest.raises(RegisterError, match="Other is no kind of record"):
        in_order(Other(name="yard"))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"hours": 1}, "1 where a decimal number should stand as text"),
        ({"hours": "1,5"}, "'1,5' where a decimal number"),
        ({"hours": "1_000"}, "'1_000' where a decimal number"),
        ({"hours": "NaN"}, "'NaN' where a decimal number"),
        ({"hours": " 1"}, "' 1' where a decimal number"),
        ({"time": "2026-03-02T08:30:00Z"}, "where a time in UTC should stand"),
        ({"time": "2026-13-02T08:30:00.000000Z"}, "where a time in UTC should stand"),
        ({"time": "2026-03-02T08:30:00.000000+00:00"}, "where a time in UTC should stand"),
        ({"version": True}, "True where a whole number should stand"),
        ({"voided": 0}, "0 where true or false should stand"),
        ({"note": 5}, "5 where text should stand"),
        ({"colour": "red"}, "unknown: colour"),
        ({"supply_id": ...}, "supply_id is missing"),
    ],
)
def test_altered_json_is_refused(changed: dict[str, Any], said: str) -> None:
    """What reads back otherwise than it was written is not taken."""
    plain = {**convert.to_plain(_hours()), **changed}

    with pytest.raises(RegisterError, match=said):
        convert.from_plain(
            model.RunningHours, {name: one for name, one in plain.items() if one is not ...}
        )


@given(st.text(max_size=30) | st.none() | st.integers())
@settings(deadline=None, max_examples=100)
def test_no_text_but_that_of_the_record_is_read(text: str | int | None) -> None:
    """Either it is refused, or written again it is the same, letter by letter."""
    for read in (convert.time_from_text, convert.date_from_text, convert.number_from_text):
        try:
            value = read(text)
        except RegisterError:
            continue
        assert convert.plain_value(value) == text or isinstance(value, Decimal)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (convert.date_from_text, "2026-02-30"),
        (convert.date_from_text, "2026-2-3"),
        (convert.time_from_text, "2026-02-30T00:00:00.000000Z"),
        (convert.time_from_text, "0000-01-01T00:00:00.000000Z"),
        (convert.number_from_text, "1e99999999999999999999"),
        (convert.number_from_text, "1E99999999999999999999"),
        (convert.number_from_text, "٣"),
        (convert.number_from_text, ""),
    ],
)
def test_days_and_numbers_that_are_none(read: Any, text: str) -> None:
    """The calendar and the range of numbers hold here too."""
    with pytest.raises(RegisterError, match="The record holds"):
        read(text)


def test_a_list_is_a_list() -> None:
    """Text is a sequence too, and must not be taken apart into letters."""
    plain = convert.to_plain(model.Instrument(name="one"))

    with pytest.raises(RegisterError, match="'co' where a list should stand"):
        convert.from_plain(model.Instrument, {**plain, "channels": "co"})


def test_things_named_in_parts_are_found() -> None:
    """An instrument that only a reading names is a reference all the same."""
    test = model.HandTest(
        outlet_id="o",
        procedure="p",
        procedure_sha256=DIGEST,
        state="done",
        started=NOON,
        ended=NOON,
        tester_id="w",
        second_person_id="i",
        readings=(model.Reading("co=1 ppm", NOON, "n"), model.Reading("oil=…", NOON, None, "l")),
    )

    assert set(references(test)) == {
        ("outlet_id", "outlet", "o"),
        ("tester_id", "person", "w"),
        ("second_person_id", "person", "i"),
        ("instrument_id", "instrument", "n"),
        ("lot_id", "lot", "l"),
    }
    assert naming_fields(model.HandTest, "lot") == [("readings", True)]
    assert naming_fields(model.SupplyState, "verdict") == [("verdict_ids", True)]
    assert naming_fields(model.HandTest, "person") == [
        ("tester_id", False),
        ("second_person_id", False),
    ]
