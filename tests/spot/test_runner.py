"""The state machine of a test by hand: order, waits by the clock, refusals, amendments, outcomes."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.spot.hand_test_kit import BEGIN, CONTEXT, FULL, SAYS, begun, followed

from lungwort.errors import SpotError
from lungwort.spot.parse import parse_spot
from lungwort.spot.run_json import from_json, to_json
from lungwort.spot.run_model import Run
from lungwort.spot.runner import (
    abort,
    amend,
    current,
    enter,
    finish,
    start,
    void_reasons,
    wait_left,
)

MINUTE = timedelta(minutes=1)


def test_a_test_without_anything_amiss() -> None:
    """All entered: done, every reading understood, one indicator used, nothing in doubt."""
    run, now = followed(begun())
    assert current(run) is None
    outcome = finish(run, now)
    assert outcome.state == "done"
    assert tuple(one.text for one in outcome.readings) == SAYS
    assert all(parse_spot(one.text).given == one.text for one in outcome.readings)
    by = {one.text.partition("=")[0]: one for one in outcome.readings}
    assert by["oil"].lot_id == "lot-a"
    assert by["co"].instrument_id == "instrument-a"
    assert outcome.second_person_id == "person-b"
    assert outcome.used == ("lot-a",)
    assert outcome.doubts == ()
    assert outcome.remarks == ()


@pytest.mark.parametrize("place", range(len(FULL) + 1))
def test_written_and_read_back_at_every_entry(place: int) -> None:
    """A crash at any point loses nothing: the run read back is equal, to the last microsecond."""
    until = FULL[place][0] if place < len(FULL) else ""
    run, _ = followed(begun(), until)
    run = evolve(run, started=BEGIN + timedelta(microseconds=1), id="open-k3m9q2wd")
    back = from_json(to_json(run), "x.json")
    assert back == run
    assert current(back) == current(run)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda text: text[: len(text) // 2], "holds no test that is under way"),
        (lambda text: text.replace("open-test/1", "open-test/9"), "reads lungwort-open-test/1"),
        (lambda text: text.replace('"started"', '"begun"'), "holds no whole test"),
        (lambda _: "[]", "holds no test that is under way"),
    ],
    ids=["cut", "newer", "renamed", "another document"],
)
def test_a_spoiled_file_is_told(spoil: object, said: str) -> None:
    """A cut or altered file is refused, never half read."""
    assert callable(spoil)
    with pytest.raises(SpotError, match=said):
        from_json(spoil(to_json(begun())), "x.json")


def test_only_the_next_entry_is_taken() -> None:
    """No step can be passed over."""
    run, now = followed(begun(), "seal")
    with pytest.raises(SpotError, match="the next entry is 'seal'"):
        enter(run, "rows", "nothing", now)
    with pytest.raises(SpotError, match="'seal' is still to be entered"):
        finish(run, now)


@pytest.mark.parametrize(
    ("given", "said"),
    [("12", r"above 10 bar\(g\).*common practice, no source"), ("1.5", "below 2")],
)
def test_line_pressure_outside_is_not_accepted(given: str, said: str) -> None:
    """Refused and asked again; what was refused stays to be seen (2 to 10 bar(g), no source)."""
    run, now = followed(begun(), "line-pressure")
    refused = enter(run, "line-pressure", given, now)
    assert refused.entries[-1].state == "refused"

    assert re.search(said, refused.entries[-1].why)
    here = current(refused)
    assert here is not None
    assert here[1].name == "line-pressure"
    again = enter(refused, "line-pressure", "100 psi(g)", now)
    assert again.given("line-pressure").startswith("6.89")  # 100 psi = 6.8948 bar


@pytest.mark.parametrize("given", ["20.5", "21.3"])
def test_a_cell_off_in_fresh_air_is_not_accepted(given: str) -> None:
    """20.9 % ± 0.3 %: common practice, no source."""
    run, now = followed(begun(), "fresh-air-o2")
    assert enter(run, "fresh-air-o2", given, now).entries[-1].state == "refused"
    for fine in ("20.6", "21.2", "20,9 %"):
        assert enter(run, "fresh-air-o2", fine, now).entries[-1].state == "taken"


def test_settling_is_asked_for_where_the_monitor_was_off_air() -> None:
    """At least 30 min (common practice, no source)."""
    run, now = followed(begun(), "on-air")
    off = enter(run, "on-air", "no", now)
    here = current(off)
    assert here is not None
    assert here[1].name == "settling"
    off = enter(off, "settling", "begin", now)
    assert wait_left(off, now) == 30 * MINUTE
    done = enter(off, "settling", "end", now + 30 * MINUTE)
    assert void_reasons(done) == ()
    short = enter(off, "settling", "end", now + 30 * MINUTE - timedelta(seconds=1))
    assert "cut short after 29 min 59 s of 30 min" in void_reasons(short)[0]


def test_a_wait_goes_on_by_the_clock() -> None:
    """Whatever became of the program: it ends at its beginning plus its length."""
    run, now = followed(begun(), "purging")
    run = enter(run, "purging", "begin", now)
    back = from_json(to_json(run), "x.json")
    assert wait_left(back, now + timedelta(seconds=25)) == timedelta(seconds=35)
    assert wait_left(back, now + 5 * MINUTE) == timedelta(0)
    with pytest.raises(SpotError, match="it began already"):
        enter(back, "purging", "begin", now)


def test_a_clock_that_went_back_restarts_the_wait() -> None:
    """And says so: the sample is never taken as longer than it was."""
    run, now = followed(begun(), "purging")
    run = enter(run, "purging", "begin", now)
    earlier = now - timedelta(hours=1)
    assert wait_left(run, earlier) == MINUTE
    run = enter(run, "purging", "end", earlier)
    assert wait_left(run, earlier) == MINUTE
    assert any("went back behind its beginning, so it began anew" in one for one in run.notes)
    run = enter(run, "purging", "end", earlier + MINUTE)
    assert void_reasons(run) == ()
    assert any("clock went back" in one for one in finish(abort(run, "x", now), now).remarks)


def test_a_wait_cannot_be_ended_before_it_began() -> None:
    """And takes nothing but its two words."""
    run, now = followed(begun(), "purging")
    with pytest.raises(SpotError, match="it has not begun"):
        enter(run, "purging", "end", now)
    with pytest.raises(SpotError, match="'skip' was entered"):
        enter(run, "purging", "skip", now)


@pytest.mark.parametrize(
    ("name", "given", "said"),
    [
        ("seal", "broken", "seal of the indicator was broken"),
        ("indicator-flow", "wrong", "flow through the indicator was wrong"),
        ("indicator-lot", "ind-old", "expired on 2026-03-01"),
    ],
)
def test_what_voids_a_test(name: str, given: str, said: str) -> None:
    """A broken seal, a wrong flow and an expired lot: void, with why, and no reading at all."""
    run, now = followed(begun(), changed={name: given})
    outcome = finish(run, now)
    assert outcome.state == "void"
    assert said in outcome.why
    assert outcome.readings == ()
    assert len(outcome.used) == 1


def test_a_sample_that_was_cut_short_voids_the_test() -> None:
    """The bands hold for 5 min (common practice, no source); it may be finished as void at once."""
    run, now = followed(begun(), "oil-sample")
    run = enter(run, "oil-sample", "begin", now)
    run = enter(run, "oil-sample", "end", now + 4 * MINUTE)
    outcome = finish(run, now + 4 * MINUTE)
    assert outcome.state == "void"
    assert "cut short after 4 min of 5 min" in outcome.why


def test_a_sample_that_was_too_long_is_told() -> None:
    """It can only show too much: a remark."""
    run, now = followed(begun(), "oil-sample")
    run = enter(run, "oil-sample", "begin", now)
    run = enter(run, "oil-sample", "end", now + 20 * MINUTE)
    assert void_reasons(run) == ()
    aborted = abort(run, "enough", now + 20 * MINUTE)
    assert any("lasted 20 min" in one for one in finish(aborted, now + 20 * MINUTE).remarks)


def test_the_expiry_is_a_day_of_the_site() -> None:
    """A lot may be used until the end of its last day where the site is."""
    late = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    for zone, states in (("Europe/London", ()), ("Asia/Tokyo", ("void",))):
        run, _ = followed(begun(context=evolve(CONTEXT, zone=zone)), "indicator-lot")
        run = enter(run, "indicator-lot", "ind-1", late)
        assert len(void_reasons(run)) == len(states)


def test_too_little_flow_is_in_doubt_and_gives_readings_all_the_same() -> None:
    """Less than the hood needs: the test stands, and cannot prove anything."""
    run, now = followed(begun(), changed={"drawing-flow": "169", "drawing-pressure": "3.9"})
    outcome = finish(run, now)
    assert outcome.state == "done"
    assert [one.name for one in outcome.doubts] == ["drawing-pressure", "drawing-flow"]
    assert "169 L/min is less than the 170 L/min that hood needs" in outcome.doubts[1].text
    assert "flow=169 L/min" in [one.text for one in outcome.readings]


def test_without_equipment_on_record_nothing_is_compared_and_that_is_told() -> None:
    """No minimum is made up."""
    run, now = followed(begun(context=evolve(CONTEXT, wearers=())))
    assert any("held against no minimum" in one for one in finish(run, now).remarks)


@pytest.mark.parametrize(
    ("device", "doubts"), [("", 0), ("banded-oil-indicator", 0), ("as on the box", 1)]
)
def test_bands_of_a_kind_that_is_not_known_prove_nothing(device: str, doubts: int) -> None:
    """Other thresholds could make a trace look like none; without a kind the general one holds."""
    lots = (evolve(CONTEXT.lots[0], device=device), *CONTEXT.lots[1:])
    run, now = followed(begun(context=evolve(CONTEXT, lots=lots)))
    outcome = finish(run, now)
    assert len(outcome.doubts) == doubts
    assert len(outcome.remarks) == (1 if device == "" else 0)


def test_an_impossible_row_is_refused_and_asked_again() -> None:
    """The run is as it was."""
    run, now = followed(begun(), "rows")
    with pytest.raises(SpotError, match="this cannot be: row 'middle' shows 'joined line'"):
        enter(run, "rows", "dots, line, nothing", now)
    assert finish(abort(run, "x", now), now).readings == ()


def test_left_out_is_told_and_gives_no_reading() -> None:
    """What was not measured is no reading, and is said."""
    run, now = followed(begun(), changed={"co": "-", "second-person": ""})
    outcome = finish(run, now)
    assert not any(one.text.startswith("co=") for one in outcome.readings)
    assert "Left out: Carbon monoxide" in outcome.remarks
    assert outcome.second_person_id is None


@pytest.mark.parametrize(
    ("name", "given", "said"),
    [
        ("second-person", "Idris Pellow", "a second person is needed"),
        ("second-person", "Wena Harkel", "Did you mean Wenna Harkle"),
        ("instrument", "logger B", "Did you mean logger A"),
        ("indicator-lot", "co-1", "not on record for this"),
        ("connected", "no", "Enter 'yes' once it is done"),
        ("line-pressure", "seven", "is no number"),
        ("line-pressure", "7 bar", "gauge or absolute is not stated"),
        ("line-pressure", "1,234", "can be read as 1234 or as 1.234"),
        ("co", "2 mg", "unit 'mg' is not known"),
        ("co", "-4", "below zero"),
        ("moisture", "-40 °C", "a dew point at which pressure"),
        ("odour", "roses", "Enter one of: none"),
        ("seal", "", "nothing was entered"),
        ("fresh-air-o2", "20\x07", "cannot be seen"),
    ],
)
def test_what_is_not_understood(name: str, given: str, said: str) -> None:
    """It is said what was found and what will do; the run is as it was."""
    run, now = followed(begun(), name)
    with pytest.raises(SpotError, match=said):
        enter(run, name, given, now)


def test_an_amendment_stays_beside_what_it_amends() -> None:
    """Both are in the entries; the reading keeps its time."""
    run, now = followed(begun())
    read_at = next(one.time for one in run.entries if one.name == "co")
    run = amend(run, "co", "4", "read from the wrong line", now + 10 * MINUTE)
    outcome = finish(run, now)
    reading = next(one for one in outcome.readings if one.text.startswith("co="))
    assert (reading.text, reading.time) == ("co=4 ppm", read_at)
    both = [(one.given, one.why, one.amends) for one in run.entries if one.name == "co"]
    assert both == [("< 1 ppm", "", False), ("4 ppm", "read from the wrong line", True)]


def test_amending_cures_a_slip_that_voided() -> None:
    """A wrong word is no fate, and the reason is kept."""
    run, now = followed(begun(), "indicator-flow", {"seal": "broken"})
    assert void_reasons(run)
    assert void_reasons(amend(run, "seal", "intact", "typed wrongly", now)) == ()


@pytest.mark.parametrize(
    ("name", "given", "why", "said"),
    [
        ("purging", "begin", "x", "time of a wait cannot be amended"),
        ("co", "4", " ", "needs a reason"),
        ("rows2", "x", "x", "nothing was entered there"),
        ("line-pressure", "12", "x", "above 10"),
    ],
)
def test_amendments_that_are_refused(name: str, given: str, why: str, said: str) -> None:
    """Waits, no reason, unknown entries, and what is not accepted."""
    run, now = followed(begun())
    with pytest.raises(SpotError, match=said):
        amend(run, name, given, why, now)


def test_an_amendment_may_not_pull_the_ground_from_a_later_entry() -> None:
    """A tube reading that no longer fits its lot is told."""
    run = begun("tube-test")
    run = _tube(run, "co-1", "8")
    with pytest.raises(SpotError, match=r"'scale' = '8 ppm' no longer fits.*is in mg/m3"):
        amend(run, "tube-lot", "oil-1", "took the other box", BEGIN + 60 * MINUTE)


def _tube(run: Run, lot: str, unit_less: str) -> Run:
    now = BEGIN
    for name, said, minutes in (
        ("line-pressure", "7", 0),
        ("air-pressure", "900", 0),
        ("tube-lot", lot, 0),
        ("tube-whole", "whole", 0),
        ("purging", "begin", 0),
        ("purging", "end", 1),
        ("ends-cut", "yes", 1),
        ("sample-time", "begin", 1),
        ("sample-time", "end", 16),
        ("sampled", "strokes differ" if lot == "co-1" else "as stated", 0),
        *((("strokes", "20", 0),) if lot == "co-1" else ()),
        ("scale", f"{unit_less} ppm" if lot == "co-1" else unit_less, 0),
        ("remarks", "-", 0),
    ):
        now += timedelta(minutes=minutes)
        run = enter(run, name, said, now)
    return run


def test_a_tube_test_worked_by_hand() -> None:
    """8 ppm, 900 hPa, 20 strokes on a scale for 10: 8 × 1013/900 × 10/20 = 4.502 ± 2.251 ppm."""
    run = _tube(begun("tube-test"), "co-1", "8")
    outcome = finish(run, BEGIN + 60 * MINUTE)
    assert [one.text for one in outcome.readings] == ["co=tube: 4.5020 ± 2.2510 ppm"]
    assert outcome.readings[0].lot_id == "lot-c"
    assert outcome.used == ("lot-c",)
    assert any("1013/900" in one for one in outcome.remarks)


def test_oil_by_tube_takes_fifteen_minutes() -> None:
    """Where the lubricant is not known (common practice, no source)."""
    run = _tube(begun("tube-test"), "oil-1", "< 0.5")
    outcome = finish(run, BEGIN + 60 * MINUTE)
    assert outcome.state == "done"
    # 0.5 × 1013/900 = 0.56278, rounded up
    assert [one.text for one in outcome.readings] == ["oil=tube: <0.5628 mg/m3"]
    assert any("names no kind of tube that is known" in one for one in outcome.remarks)


def test_a_tube_of_no_known_kind_is_not_guessed() -> None:
    """Neither kind nor analyte: refused."""
    run = begun("tube-test")
    for name, said in (("line-pressure", "7"), ("air-pressure", "1013")):
        run = enter(run, name, said, BEGIN)
    with pytest.raises(SpotError, match="names neither a kind of tube that is known"):
        enter(run, "tube-lot", "odd-1", BEGIN)


def test_aborted_is_the_end() -> None:
    """With a reason, once; nothing is read from it, and an unopened indicator is not used up."""
    run, now = followed(begun(), "seal")
    with pytest.raises(SpotError, match="Give a reason"):
        abort(run, " ", now)
    run = abort(run, "compressor tripped", now)
    outcome = finish(run, now)
    assert (outcome.state, outcome.why, outcome.readings, outcome.used) == (
        "aborted",
        "compressor tripped",
        (),
        (),
    )
    with pytest.raises(SpotError, match="was aborted"):
        enter(run, "seal", "intact", now)
    with pytest.raises(SpotError, match="was aborted"):
        amend(run, "co", "1", "x", now)
    with pytest.raises(SpotError, match="was aborted"):
        abort(run, "x", now)


def test_a_time_without_zone_is_refused() -> None:
    """Times are never guessed."""
    with pytest.raises(SpotError, match="has no time zone"):
        start(begun().procedure, CONTEXT, datetime(2026, 3, 2, 10))  # noqa: DTZ001 - what is refused


@settings(deadline=None, max_examples=40)
@given(
    words=st.lists(
        st.sampled_from(
            [
                "yes",
                "no",
                "begin",
                "end",
                "-",
                "7",
                "20.9",
                "none",
                "nothing",
                "ind-1",
                "ind-old",
                "logger A",
                "intact",
                "broken",
                "wrong",
                "as stated",
                "dots",
                "x",
            ]
        ),
        min_size=5,
        max_size=80,
    ),
    steps=st.lists(st.integers(-120, 600), min_size=80, max_size=80),
)
def test_whatever_is_entered(words: list[str], steps: list[int]) -> None:
    """Nothing is lost, a run is read back equal, and only a complete test gives readings."""
    run, now = begun(), BEGIN
    for word, seconds in zip(words, steps, strict=False):
        now += timedelta(seconds=seconds)
        here = current(run)
        if here is None:
            break
        before = run.entries
        try:
            run = enter(run, here[1].name, word, now)
        except SpotError:
            continue
        assert run.entries[: len(before)] == before
        assert len(run.entries) == len(before) + 1
    assert from_json(to_json(run), "x") == run
    if current(run) is None or void_reasons(run):
        outcome = finish(run, now)
        assert not (outcome.state == "void" and outcome.readings)
        assert all(parse_spot(one.text) for one in outcome.readings)
    else:
        with pytest.raises(SpotError, match="still to be entered"):
            finish(run, now)
