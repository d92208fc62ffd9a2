"""All of a log but its readings comes back from its document as it was. All readings are invented."""

from __future__ import annotations

import json
import struct
from datetime import UTC, datetime, timedelta, timezone

import attrs
import polars as pl
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import RegisterError
from lungwort.logs.model import Channel, Log, Refusal, Source, Stretch
from lungwort.logs.options import ReadOptions
from lungwort.register.canonical import is_canonical
from lungwort.register.logdoc import (
    FORMAT,
    LogFacts,
    differing_options,
    facts_of,
    log_of,
    read_document,
    reading_text,
    write_document,
)

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
FRAME = pl.DataFrame(
    {"time": [START], "co": [0.4], "co_flag": [1]},
    schema={"time": pl.Datetime("us", "UTC"), "co": pl.Float64, "co_flag": pl.UInt8},
)

# Half a pair of surrogates is no text (RFC 8785, 3.2.2.2, sends to an error).
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
FLOAT = st.floats(allow_nan=False)
COUNT = st.integers(0, 2**53 - 1)
MOMENT = st.datetimes(
    datetime(1970, 1, 1),  # noqa: DTZ001 - hypothesis adds the zone
    datetime(2100, 1, 1),  # noqa: DTZ001 - hypothesis adds the zone
    timezones=st.sampled_from([UTC, timezone(timedelta(hours=5, minutes=45))]),
)
WALL = st.datetimes(datetime(1970, 1, 1), datetime(2100, 1, 1))  # noqa: DTZ001 - a wall time
TEXTS = st.lists(TEXT, max_size=3).map(tuple)
PAIRS = st.lists(st.tuples(TEXT, TEXT), max_size=3).map(tuple)
CHANNEL = st.builds(Channel, *[TEXT] * 6, st.booleans(), TEXT)
REFUSAL = st.builds(Refusal, TEXT, COUNT, st.lists(COUNT, max_size=3).map(tuple), TEXT)
SOURCE = st.builds(
    Source, TEXT, TEXT, COUNT, COUNT, COUNT, st.lists(REFUSAL, max_size=2).map(tuple), TEXT
)
STRETCH = st.builds(Stretch, MOMENT, MOMENT, TEXT, TEXT, st.integers(0, 9), COUNT, TEXT)
LOG = st.builds(
    Log,
    parts=st.just((FRAME,)),
    channels=st.lists(CHANNEL, max_size=3).map(tuple),
    sources=st.lists(SOURCE, max_size=2).map(tuple),
    rows=COUNT,
    start=st.none() | MOMENT,
    end=st.none() | MOMENT,
    interval_s=st.none() | FLOAT,
    zone=TEXT,
    zone_stated=st.booleans(),
    settle_s=FLOAT,
    stretches=st.lists(STRETCH, max_size=2).map(tuple),
    notes=TEXTS,
    columns_not_used=TEXTS,
    outlet=TEXT,
    doubts=TEXTS,
    channel_doubts=PAIRS,
    unplaced=st.sampled_from([None, FRAME]),
)
OPTIONS = st.builds(
    ReadOptions,
    zone=st.none() | TEXT,
    units=PAIRS,
    columns=PAIRS,
    only_columns=st.booleans(),
    start=st.none() | MOMENT | WALL,
    header_line=st.none() | COUNT,
    wanted=st.none() | TEXTS,
    settle_s=FLOAT,
)


@settings(deadline=None, max_examples=150)
@given(log=LOG, options=OPTIONS)
def test_the_document_gives_back_what_it_was_written_from(log: Log, options: ReadOptions) -> None:
    """Property: any log and any options come back equal, floats to the last bit."""
    content = write_document(log, options)
    facts, back = read_document(content)
    assert facts == facts_of(log)
    assert back == options
    assert is_canonical(content.decode("utf-8"))
    if log.interval_s is not None:
        assert facts.interval_s is not None
        assert struct.pack("<d", facts.interval_s) == struct.pack("<d", log.interval_s)
    again = log_of(facts)
    for one in attrs.fields(Log):
        if one.name not in {"parts", "unplaced", "spool"}:
            assert getattr(again, one.name) == getattr(log, one.name)


def test_no_field_of_a_log_is_forgotten() -> None:
    """A field that is added to the log must be kept too, or be one of its readings."""
    kept = {one.name for one in attrs.fields(LogFacts)} - {"unplaced_rows"}
    assert kept == {one.name for one in attrs.fields(Log)} - {"parts", "unplaced", "spool"}


def test_floats_are_the_shortest_text_that_gives_them_back() -> None:
    """Python's repr, so that 0.1 is '0.1' and no JSON reader can round it."""
    log = Log(parts=(FRAME,), channels=(), interval_s=0.1, settle_s=1800.0)
    written = json.loads(write_document(log, ReadOptions()))
    assert written["log"]["interval_s"] == "0.1"
    assert written["log"]["settle_s"] == "1800.0"


def test_a_wall_time_stays_one() -> None:
    """The moment of elapsed second 0 may have no zone, and must not get one."""
    wall = datetime(2026, 3, 4, 10)  # noqa: DTZ001 - a wall time
    _, back = read_document(write_document(Log((FRAME,), ()), ReadOptions(start=wall)))
    assert back.start == wall
    assert back.start is not None
    assert back.start.tzinfo is None


def test_text_that_is_no_unicode_is_refused() -> None:
    """A file name of raw bytes cannot be hashed the same everywhere."""
    log = Log((FRAME,), (), notes=("\udcff",))
    with pytest.raises(RegisterError, match="valid Unicode"):
        write_document(log, ReadOptions())


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff", "not UTF-8"),
        (b"[]", "its format is None"),
        (b'{"format":"lungwort-log/9"}', "'lungwort-log/9', and this version reads"),
        (b'{"format":"lungwort-log/1","log":{},"options":{}}', "does not fit what a log is"),
        (b'{"format":"lungwort-log/1"', "not JSON"),
    ],
)
def test_what_is_no_document_is_refused(content: bytes, said: str) -> None:
    """The message says what was found."""
    with pytest.raises(RegisterError, match=said):
        read_document(content)


@pytest.mark.parametrize(
    ("key", "value"),
    [("rows", "180"), ("rows", True), ("zone_stated", 1), ("interval_s", 60), ("outlet", None), ("strange", 1)],
)  # fmt: skip
def test_a_value_of_another_kind_is_refused(key: str, value: object) -> None:
    """A document is not bent until it fits."""
    document = json.loads(write_document(Log((FRAME,), ()), ReadOptions()))
    document["log"][key] = value
    with pytest.raises(RegisterError, match="does not fit what a log is"):
        read_document(json.dumps(document).encode())


def test_the_way_of_reading_knows_no_recipe_name() -> None:
    """The name of a recipe changes nothing about the readings; the zone does."""
    options = ReadOptions(zone="Europe/Oslo", recipe="hall")
    assert reading_text(options) == reading_text(evolve(options, recipe="other"))
    assert reading_text(options) != reading_text(evolve(options, zone="Europe/Rome"))
    assert FORMAT == "lungwort-log/1"


def test_differing_options_are_named_in_words() -> None:
    """Only what differs, and how."""
    one = ReadOptions(zone="Europe/Oslo", units=(("co", "ppm"),), recipe="a")
    other = ReadOptions(units=(("co", "mg/m3"),), settle_s=60.0, recipe="b")
    assert differing_options(one, one) == ()
    assert differing_options(one, other) == (
        "zone: Europe/Oslo instead of none",
        "units: co=ppm instead of co=mg/m3",
        "settle s: 1800 instead of 60",
    )
