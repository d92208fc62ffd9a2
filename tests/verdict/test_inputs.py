"""What a verdict was drawn from, as bytes and back."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta, timezone

import pytest
import rfc8785
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air.interval import Interval
from lungwort.errors import InputError
from lungwort.limits.load import limit_set, shipped_ids
from lungwort.limits.model import Conditions
from lungwort.paper.result import to_json
from lungwort.spot.model import SpotTest
from lungwort.spot.parse import parse_spot
from lungwort.verdict import decision
from lungwort.verdict.inputs import Inputs, from_bytes, to_bytes
from lungwort.verdict.judge import judge
from lungwort.verdict.model import Options

NOON = datetime(2026, 3, 4, 12, 0, 0, 123456, tzinfo=UTC)
AIRLINE = "en12021-2014-airline"


def inputs(**more: object) -> Inputs:
    """Make inputs of every kind of value."""
    told = Inputs(
        limit_set=limit_set(AIRLINE),
        conditions=Conditions(7.0, -3.25),
        options=Options("guarded", 0.5, 0.95, None, 30.0, NOON - timedelta(hours=1), NOON),
        uncertainties=decision.uncertainties(),
        spots=(
            evolve(parse_spot("oil=<0.05 mg/m3", time=NOON), doubts=("The lot had expired.",)),
            parse_spot("oil=indicator: 0.1-0.5"),
            parse_spot("odour=none"),
        ),
        log_doubts=("Its calibration had run out.",),
        channel_doubts=(("co", "Its bump test had run out."),),
        outlet="Slip 2",
        reasons=("A test was aborted.",),
        notes=("A note.",),
        judged_at=NOON,
    )
    return evolve(told, **more)  # type: ignore[arg-type] # fields of Inputs


@pytest.mark.parametrize("name", shipped_ids())
def test_every_shipped_set_comes_back(name: str) -> None:
    """The set comes back whole, with its digest, and the bytes are the same again."""
    before = inputs(limit_set=limit_set(name))
    content = to_bytes(before)
    after = from_bytes(content)
    assert after == before
    assert to_bytes(after) == content


def test_the_bytes_are_canonical_and_hold_no_float() -> None:
    """RFC 8785, 3.2: sorted names, no blanks; numbers are text, as two programs print floats in two ways."""
    content = to_bytes(inputs())

    def refuse(text: str) -> float:
        raise AssertionError(text)

    plain = json.loads(content, parse_float=refuse, parse_constant=refuse)
    assert rfc8785.dumps(plain) == content
    assert plain["format"] == "lungwort-inputs/1"
    assert plain["conditions"] == {
        "lowest_temperature_c": "-3.25",
        "supply_pressure_bar_g": "7.0",
    }
    assert plain["judged_at"] == "2026-03-04T12:00:00.123456Z"
    assert plain["spots"][0]["value"]["lower"] == "-inf"


def test_whole_numbers_in_place_of_floats_are_the_same_bytes() -> None:
    """7 and 7.0 are one pressure, and one digest."""
    whole = inputs(conditions=Conditions(7, None), options=Options(join_s=60, min_coverage=1))
    same = inputs(conditions=Conditions(7.0, None), options=Options(join_s=60.0, min_coverage=1.0))
    assert to_bytes(whole) == to_bytes(same)


def test_the_zone_of_a_time_does_not_matter() -> None:
    """One instant has one text."""
    there = NOON.astimezone(timezone(timedelta(hours=5)))
    assert to_bytes(inputs(judged_at=there)) == to_bytes(inputs())


def test_the_same_verdict_is_drawn_from_what_comes_back() -> None:
    """The result is equal byte for byte."""
    before = inputs(options=Options())
    after = from_bytes(to_bytes(before))
    drawn = [
        to_json(
            judge(
                None,
                one.limit_set,
                spots=one.spots,
                supply=one.conditions,
                options=one.options,
                uncertainties=one.uncertainties,
                now=one.judged_at,
            )
        )
        for one in (before, after)
    ]
    assert drawn[0] == drawn[1]


FINITE = st.floats(allow_nan=False, allow_infinity=False)
TEXTS = st.text(st.characters(codec="utf-8"), max_size=20)
TIMES = st.none() | st.integers(0, 2**52).map(
    lambda us: datetime(1970, 1, 2, tzinfo=UTC) + timedelta(microseconds=us)
)


@st.composite
def intervals(draw: st.DrawFn) -> Interval:
    """Draw an interval of any form."""
    low, high = sorted(
        draw(st.tuples(*[st.floats(allow_nan=False)] * 2).filter(lambda pair: pair[0] != pair[1]))
    )
    return Interval(low, high, draw(TEXTS), draw(st.booleans()), draw(st.booleans()))


@given(
    low=FINITE,
    pressure=st.none() | FINITE,
    options=st.builds(
        Options,
        decision=st.sampled_from(["simple", "guarded"]),
        guard_factor=FINITE,
        min_coverage=FINITE,
        join_s=st.none() | FINITE,
        min_excursion_s=FINITE,
        start=TIMES,
        end=TIMES,
    ),
    spots=st.lists(
        st.builds(
            SpotTest,
            analyte=TEXTS,
            quantity=TEXTS,
            value=st.none() | intervals(),
            perceived=st.none() | st.booleans(),
            means=TEXTS,
            time=TIMES,
            given=TEXTS,
            remark=TEXTS,
            doubts=st.lists(TEXTS, max_size=2).map(tuple),
        ),
        max_size=3,
    ).map(tuple),
    texts=st.lists(TEXTS, max_size=3).map(tuple),
)
@settings(deadline=None, max_examples=100)
def test_everything_comes_back_to_the_last_digit(
    low: float,
    pressure: float | None,
    options: Options,
    spots: tuple[SpotTest, ...],
    texts: tuple[str, ...],
) -> None:
    """Floats, infinities, times and texts are not changed on the way."""
    before = inputs(
        conditions=Conditions(pressure, low),
        options=options,
        spots=spots,
        log_doubts=texts,
        notes=texts,
    )
    content = to_bytes(before)
    after = from_bytes(content)
    assert after == before
    assert math.copysign(1.0, after.conditions.lowest_temperature_c or 0.0) == math.copysign(
        1.0, low or (after.conditions.lowest_temperature_c or 0.0)
    )
    assert to_bytes(after) == content


def _changed(change: str) -> bytes:
    plain = json.loads(to_bytes(inputs()))
    if change == "a bound":
        limit = next(one for one in plain["limit_set"]["limits"] if one["upper"])
        limit["upper"]["value"] = "1000.0"
    elif change == "a key too many":
        plain["options"]["surprise"] = "1"
    elif change == "a key too few":
        del plain["conditions"]["lowest_temperature_c"], plain["options"]
    elif change == "a number that is no text":
        plain["options"]["min_coverage"] = 0.5
    elif change == "a text that is no text":
        plain["outlet"] = 7
    elif change == "an empty interval":
        plain["spots"][0]["value"].update(lower="1.0", upper="0.0")
    elif change == "a time without a zone":
        plain["judged_at"] = "2026-03-04 12:00"
    elif change == "null":
        plain["spots"] = None
    return json.dumps(plain).encode("utf-8")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("a bound", "does not have the digest that it names"),
        ("a key too many", r"ForbiddenExtraKeysError.*surprise"),
        ("a key too few", "cannot be read"),
        ("a number that is no text", "0.5 is not a number kept as text"),
        ("a text that is no text", "7 is not of the kind str"),
        ("an empty interval", "runs backwards"),
        ("a time without a zone", "does not match format"),
        ("null", "cannot be read"),
    ],
)
def test_altered_inputs_are_refused(change: str, told: str) -> None:
    """What was altered does not come back as if nothing were."""
    with pytest.raises(InputError, match=told):
        from_bytes(_changed(change))


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xff", "it is no JSON"),
        (b"{", "it is no JSON"),
        (b"[]", "lungwort-inputs/1"),
        (b'{"format":"lungwort-inputs/2"}', "lungwort-inputs/1"),
    ],
)
def test_other_files_are_refused(content: bytes, told: str) -> None:
    """A file of another kind is named as such."""
    with pytest.raises(InputError, match=told):
        from_bytes(content)


def test_what_cannot_be_kept_is_refused() -> None:
    """A time without a zone and half a surrogate pair have no canonical text."""
    with pytest.raises(InputError, match="states no time zone"):
        to_bytes(inputs(judged_at=datetime(2026, 1, 1)))  # noqa: DTZ001 - that is the point
    with pytest.raises(InputError, match="valid Unicode"):
        to_bytes(inputs(outlet="\ud800"))
