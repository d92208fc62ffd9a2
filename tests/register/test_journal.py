"""Entries: made so that they check, and every alteration named."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import RegisterError
from lungwort.register.canonical import canonical
from lungwort.register.journal import (
    FIRST_PREVIOUS,
    FORMAT,
    check_entry,
    entry_hash,
    make_entry,
    time_text,
)
from lungwort.register.model import Entry

NOW = datetime(2026, 3, 2, 8, 30, 0, 125, tzinfo=UTC)


def _entry(seq: int = 1, previous: str = FIRST_PREVIOUS, **other: Any) -> Entry:
    given: dict[str, Any] = {
        "time": NOW,
        "who": "Wenna Harkle",
        "action": "add",
        "kind": "site",
        "id": "site-7k3m9q2wd4xa",
        "version": 1,
        "record": {
            "id": "site-7k3m9q2wd4xa",
            "version": 1,
            "name": "yard",
            "zone": "Europe/London",
        },
    } | other
    return make_entry(seq=seq, previous=previous, **given)


FIRST = _entry()
SECOND = _entry(
    2, FIRST.hash, version=2, action="replace", record={"id": "site-7k3m9q2wd4xa", "version": 2}
)


def _rewritten(entry: Entry, **members: Any) -> Entry:
    """Alter an entry as someone would who knows how to hash."""
    content = canonical(json.loads(entry.content) | members)
    return attrs.evolve(entry, content=content, hash=entry_hash(content))


def test_what_is_made_checks() -> None:
    """Alone and chained."""
    assert check_entry(FIRST, None) == []
    assert check_entry(SECOND, FIRST) == []


def test_content_holds_all_that_is_said() -> None:
    """The hash is SHA-256 over the UTF-8 bytes of the content (FIPS 180-4)."""
    content = json.loads(FIRST.content)

    assert content == {
        "format": FORMAT,
        "seq": 1,
        "time": "2026-03-02T08:30:00.000125Z",
        "who": "Wenna Harkle",
        "action": "add",
        "kind": "site",
        "id": "site-7k3m9q2wd4xa",
        "version": 1,
        "record": {
            "id": "site-7k3m9q2wd4xa",
            "version": 1,
            "name": "yard",
            "zone": "Europe/London",
        },
        "previous": "0" * 64,
    }
    assert FIRST.hash == hashlib.sha256(FIRST.content.encode()).hexdigest()
    assert json.loads(SECOND.content)["previous"] == FIRST.hash


def test_a_time_of_another_zone_is_recorded_in_utc() -> None:
    """The same moment gives the same entry."""
    local = NOW.astimezone(timezone(timedelta(hours=2)))

    assert _entry(time=local) == FIRST


def test_a_time_without_zone_is_refused() -> None:
    """Nobody could say later which moment it was."""
    with pytest.raises(RegisterError, match="has no time zone"):
        _entry(time=NOW.replace(tzinfo=None))
    with pytest.raises(RegisterError, match="has no time zone"):
        time_text(datetime(2026, 3, 2, 8, 30))  # noqa: DTZ001 - what is tested


def test_a_float_in_a_record_is_refused() -> None:
    """As in any canonical text."""
    with pytest.raises(RegisterError, match=r"record\.hours is 1\.5"):
        _entry(record={"hours": 1.5})


@pytest.mark.parametrize(
    ("column", "value", "telling"),
    [
        ("seq", 3, "Its number is 3, and 1 should come here"),
        ("seq", True, "Its seq is True in the table and 1"),
        (
            "time",
            NOW + timedelta(microseconds=1),
            "00.000126Z in the table and 2026-03-02T08:30:00.000125Z",
        ),
        ("time", NOW.replace(tzinfo=None), "is not in UTC"),
        ("time", NOW.astimezone(timezone(timedelta(hours=1))), "is not in UTC"),
        ("who", "Idris Pellow", "Its who is 'Idris Pellow' in the table and 'Wenna Harkle'"),
        ("action", "void", "Its action is 'void' in the table"),
        ("action", "erase", "not one of add, replace, void"),
        ("kind", "supply", "Its kind is 'supply' in the table"),
        ("id", "site-other", "Its id is 'site-other' in the table"),
        ("version", 2, "Its version is 2 in the table"),
        ("content", FIRST.content.replace("yard", "card"), "Its content has the hash"),
        ("content", FIRST.content + " ", "Its content has the hash"),
        ("hash", "0" * 64, f"and {'0' * 64} was recorded"),
    ],
)
def test_every_altered_column_is_named(column: str, value: Any, telling: str) -> None:
    """An entry whose table row was edited."""
    problems = check_entry(attrs.evolve(FIRST, **{column: value}), None)

    assert any(telling in one for one in problems), problems


@pytest.mark.parametrize(
    ("members", "telling"),
    [
        ({"seq": 2}, "Its seq is 1 in the table and 2 in what was hashed"),
        ({"who": "Idris Pellow"}, "Its who is"),
        ({"action": "void"}, "Its action is"),
        ({"kind": "supply"}, "Its kind is"),
        ({"id": "site-other"}, "Its id is"),
        ({"version": 2}, "Its version is 1 in the table and 2"),
        ({"version": True}, "Its version is 1 in the table and True"),
        ({"time": "2026-03-02T08:30:00.000126Z"}, "Its time is"),
        ({"time": "2026-03-02T08:30:00Z"}, "not written as UTC with microseconds"),
        ({"time": "2026-03-02T10:30:00.000125+02:00"}, "not written as UTC with microseconds"),
        ({"time": 7}, "not written as UTC with microseconds"),
        ({"format": "lungwort-journal/2"}, "Its format is 'lungwort-journal/2'"),
        ({"previous": "1" * 64}, "as the hash of the entry before"),
        ({"record": []}, "Its record is not a JSON object"),
        ({"record": {"id": "site-other"}}, "Its record says that its id is 'site-other'"),
        ({"record": {"version": 9}}, "Its record says that its version is 9"),
        ({"more": 1}, "a member 'more' that no entry has"),
    ],
)
def test_every_rewritten_member_is_named(members: dict[str, Any], telling: str) -> None:
    """An entry whose content and hash were rewritten together, and the columns were not."""
    problems = check_entry(_rewritten(FIRST, **members), None)

    assert any(telling in one for one in problems), problems


@pytest.mark.parametrize("member", sorted(json.loads(FIRST.content)))
def test_every_missing_member_is_named(member: str) -> None:
    """Nothing may be left out of what is hashed."""
    left = {name: value for name, value in json.loads(FIRST.content).items() if name != member}
    content = canonical(left)
    problems = check_entry(attrs.evolve(FIRST, content=content, hash=entry_hash(content)), None)

    assert f"Its content has no {member}." in problems


@pytest.mark.parametrize(
    ("content", "telling"),
    [
        (json.dumps(json.loads(FIRST.content)), "not canonical JSON"),
        (FIRST.content.replace("yard", "\\u0079ard"), "not canonical JSON"),
        ("[]", "not a JSON object"),
        ("", "cannot be read"),
        ("\ud800", "cannot be read"),
        ('{"seq":1.0}', "cannot be read"),
    ],
)
def test_content_that_is_no_entry_is_named(content: str, telling: str) -> None:
    """Though its hash was recomputed."""
    problems = check_entry(attrs.evolve(FIRST, content=content, hash=entry_hash(content)), None)

    assert any(telling in one for one in problems), problems


def test_the_chain_is_broken_by_a_rewritten_entry_before() -> None:
    """The second names the hash of the first as it was."""
    forged = _rewritten(FIRST, who="Idris Pellow")

    assert check_entry(SECOND, attrs.evolve(forged, who="Idris Pellow")) == [
        f"It names {FIRST.hash} as the hash of the entry before, and that is {forged.hash}."
    ]


def test_a_left_out_and_a_doubled_entry_are_named() -> None:
    """By the step in the number and by the hash."""
    third = _entry(3, SECOND.hash)

    assert "Its number is 3, and 2 should come here." in check_entry(third, FIRST)
    assert "Its number is 2, and 3 should come here." in check_entry(SECOND, SECOND)
    assert "Its number is 2, and 1 should come here." in check_entry(SECOND, None)


@given(st.integers(0, len(FIRST.content) - 1), st.characters(exclude_categories=["Cs"]))
@settings(deadline=None, max_examples=150)
def test_no_character_can_be_changed(place: int, other: str) -> None:
    """Any one character of the content."""
    content = FIRST.content[:place] + other + FIRST.content[place + 1 :]
    problems = check_entry(attrs.evolve(FIRST, content=content), None)

    assert bool(problems) == (content != FIRST.content)


@given(
    st.text(st.characters(exclude_categories=["Cs"])),
    st.datetimes(timezones=st.just(UTC)),
    st.integers(1, 10**9),
)
@settings(deadline=None, max_examples=60)
def test_any_name_and_time_makes_an_entry_that_checks(who: str, time: datetime, seq: int) -> None:
    """Also years of four digits with leading noughts, and names in any script."""
    before = attrs.evolve(FIRST, seq=seq)
    entry = _entry(seq + 1, before.hash, who=who, time=time)

    assert check_entry(entry, before) == []
