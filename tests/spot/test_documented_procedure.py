"""The page on procedures, indicators and tubes of one's own shows files that load."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import pytest

from lungwort.errors import ProcedureError
from lungwort.spot import procedure_model as m
from lungwort.spot.devices import (
    IndicatorKind,
    TubeKind,
    find_device,
    load_device,
    read_device,
    shipped_devices,
)
from lungwort.spot.procedure_model import Procedure
from lungwort.spot.procedures import load_procedure, procedure_ids, read_procedure
from lungwort.spot.rows import read_rows, rows_interval
from lungwort.spot.run_model import Context, KnownLot, KnownThing, Run, Wearers
from lungwort.spot.runner import consequences, enter, finish, start
from lungwort.spot.tomlfile import STANDINGS
from lungwort.spot.tubes import tube_reading

PAGE: Final = Path(__file__).resolve().parents[2] / "docs/how-to/own-procedure.md"
BEGIN: Final = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def _page() -> str:
    return PAGE.read_text(encoding="utf-8")


def _blocks() -> dict[str, str]:
    """Give the files that the page shows by their ids."""
    texts = re.findall(r"^```toml\n(.*?)^```$", _page(), re.MULTILINE | re.DOTALL)
    return {tomllib.loads(text)["id"]: text for text in texts}


def _procedure(folder: Path) -> Procedure:
    home = folder / "procedures"
    home.mkdir()
    (home / "morning-check.toml").write_text(_blocks()["morning-check"], encoding="utf-8")
    return load_procedure("morning-check", home)


def _device(folder: Path, name: str) -> IndicatorKind | TubeKind:
    file = folder / f"{name}.toml"
    file.write_text(_blocks()[name], encoding="utf-8")
    return load_device(file)


def test_the_page_shows_one_file_of_each_kind() -> None:
    """A procedure, an indicator and a tube."""
    assert set(_blocks()) == {"morning-check", "yard-oil-indicator", "yard-co-tube"}


def test_the_procedure_loads_from_the_folder_and_by_its_path(tmp_path: Path) -> None:
    """Both ways of the page give the same procedure."""
    found = _procedure(tmp_path)

    assert found == load_procedure(str(tmp_path / "procedures" / "morning-check.toml"))
    assert [step.id for step in found.steps] == ["line-pressure", "indicator", "gas"]
    assert found.origin == "morning-check.toml"


def test_a_file_with_another_name_than_its_id_is_refused(tmp_path: Path) -> None:
    """The page says that the file is called as its id."""
    _procedure(tmp_path)
    home = tmp_path / "procedures"
    (home / "morning-check.toml").rename(home / "check.toml")

    with pytest.raises(ProcedureError, match=r"Name the file morning-check\.toml"):
        load_procedure("check", home)


def test_the_indicator_loads_and_gives_the_intervals_of_its_rows(tmp_path: Path) -> None:
    """Its thresholds are those of the file on the page."""
    kind = _device(tmp_path, "yard-oil-indicator")

    assert isinstance(kind, IndicatorKind)
    assert str(rows_interval(kind, ("nothing", "nothing"))) == "< 0.1 mg/m3"
    assert str(rows_interval(kind, ("separate dots", "nothing"))) == "> 0.1 to 0.3 mg/m3"
    assert str(rows_interval(kind, ("joined line", "nothing"))) == "> 0.3 to 0.8 mg/m3"


def test_the_tube_loads_and_reads_with_its_own_figures(tmp_path: Path) -> None:
    """Half the strokes double the content; 30 % is its own uncertainty."""
    kind = _device(tmp_path, "yard-co-tube")

    assert isinstance(kind, TubeKind)
    assert tube_reading(kind, "5", pressure_hpa=1013.0, strokes=5).text == "co=tube: 10 ± 3 ppm"
    assert tube_reading(kind, "nothing", pressure_hpa=1013.0).text == "co=tube: <2 ppm"


def _run(folder: Path) -> Run:
    kind = _device(folder, "yard-oil-indicator")
    assert isinstance(kind, IndicatorKind)
    context = Context(
        outlet_id="outlet-a",
        outlet="hose 1",
        tester_id="person-a",
        tester="Idris Pellow",
        zone="Europe/London",
        persons=(KnownThing(id="person-a", name="Idris Pellow"),),
        instruments=(KnownThing(id="instrument-a", name="logger A"),),
        lots=(KnownLot(id="lot-a", name="ind-7", kind="oil_indicator", device=kind.id),),
        wearers=(Wearers(name="hood", minimum_flow_l_min=170.0),),
        indicators=(kind,),
    )
    return start(_procedure(folder), context, BEGIN)


GOOD: Final = (
    ("line-pressure", "6", 1),
    ("indicator-lot", "ind-7", 1),
    ("seal", "intact", 1),
    ("purging", m.BEGIN, 1),
    ("purging", m.END, 2),
    ("oil-sample", m.BEGIN, 1),
    ("oil-sample", m.END, 10),
    ("rows", "nothing", 1),
    ("instrument", "logger A", 1),
    ("co", "1 ppm", 1),
    ("engine", "no", 1),
)


def _followed(run: Run, **changed: tuple[str, int]) -> Run:
    """Enter all; name=(given, minutes since the entry before) changes the last of that name."""
    moment = BEGIN
    for name, given, minutes in GOOD:
        key = name.replace("-", "_")
        new = changed.get(key) if given != m.BEGIN else None
        said, after = new or (given, minutes)
        moment += timedelta(minutes=after)
        run = enter(run, name, said, moment)
    return run


def test_the_procedure_can_be_followed_to_its_end(tmp_path: Path) -> None:
    """The device's 2 min and 10 min hold, not the 1 min and 5 min of the procedure."""
    run = _followed(_run(tmp_path))

    assert consequences(run) == ()
    outcome = finish(run, BEGIN + timedelta(hours=1))
    assert {one.text for one in outcome.readings} == {"oil=<0.1 mg/m3", "co=1 ppm"}


@pytest.mark.parametrize(
    ("name", "given", "minutes", "effect", "told"),
    [
        ("line_pressure", "4", 1, m.DOUBT, "the hoods get too little"),
        ("seal", "broken", 1, m.VOID, "The seal was broken"),
        ("oil_sample", m.END, 6, m.VOID, "cut short after 6 min of 10 min"),
    ],
)
def test_what_the_page_calls_an_effect_follows(
    tmp_path: Path, name: str, given: str, minutes: int, effect: str, told: str
) -> None:
    """A doubt, and what voids the test."""
    found = consequences(_followed(_run(tmp_path), **{name: (given, minutes)}))

    assert [one.effect for one in found] == [effect]
    assert told in found[0].text


def test_the_wrong_keys_of_the_page_are_refused_as_it_says() -> None:
    """The messages, word for word, with the near name."""
    wrong = _blocks()["morning-check"].replace("longest_minutes =", "longest_minute =")
    with pytest.raises(ProcedureError, match="Near: 'longest_minutes'") as first:
        read_procedure(wrong, "morning-check.toml")
    wrong = _blocks()["yard-co-tube"].replace("sample_min =", "sample_mins =")
    with pytest.raises(ProcedureError, match="Near: 'sample_min'") as second:
        read_device(wrong, "yard-co-tube.toml")

    assert f"```text\n{first.value}\n```" in _page()
    assert f"```text\n{second.value}\n```" in _page()


def _known_keys(text: str) -> list[set[str]]:
    """Ask the loader which keys it knows, by a key that is near none."""
    with pytest.raises(ProcedureError, match="Known keys") as caught:
        (read_device if "sample_min" in text else read_procedure)(text, "x.toml")
    found = re.findall(r"Known keys: ([^.]*)\.", str(caught.value))
    return [set(one.split(", ")) for one in found]


def _in_tables() -> set[str]:
    lines = [line for line in _page().splitlines() if line.startswith("|")]
    return {key for line in lines for key in re.findall(r"`(\w+)`", line)}


def test_every_key_that_the_loaders_know_stands_in_a_table() -> None:
    """At the top, in a step, in each kind of entry, in a choice, in a device and its rows."""
    head = 'format = 1\nid = "x"\ntitle = "X"\nqqq = 1\n[[step]]\nqqq = 1\nid = "s"\n'
    entries = "".join(f'[[step.entry]]\nname = "e"\nkind = "{one}"\nqqq = 1\n' for one in m.KINDS)
    choice = '[[step.entry]]\nname = "c"\nkind = "choose"\nchoices = [{ word = "a", qqq = 1 }]\n'
    procedure = _known_keys(head + entries + choice)
    device = _known_keys(
        'format = 1\nid = "x"\nkind = "oil_indicator"\nsample_min = 1\nqqq = 1\n'
        '[[row]]\nname = "r"\nqqq = 1\n'
    )

    assert len(procedure) == 2 + len(m.KINDS) + 1
    assert len(device) == 2
    assert set().union(*procedure, *device) - _in_tables() == set()


def test_each_kind_of_entry_has_exactly_the_keys_that_the_page_gives_it() -> None:
    """The row of a kind names its own keys, no more and no fewer."""
    common = {"name", "ask", "kind", "optional", "when", "standing", "source"}
    for kind in m.KINDS:
        row = re.search(rf"^\| `{kind}` \|[^|]*\|([^|]*)\|$", _page(), re.MULTILINE)
        assert row is not None, kind
        text = f'format = 1\nid = "x"\n[[step]]\n[[step.entry]]\nkind = "{kind}"\nqqq = 1\n'
        (known,) = _known_keys(text)
        assert set(re.findall(r"`(\w+)`", row[1])) == known - common, kind


def test_standings_and_effects_of_the_page_are_those_that_there_are() -> None:
    """All words that may stand there are named."""
    assert all(f"`{one}`" in _page() for one in (*STANDINGS, *m.EFFECTS, *m.AGAINST))


def test_the_rows_on_the_page_about_testing_give_the_intervals_shown() -> None:
    """Every line of the table, read as the tester types it, with the general indicator."""
    page = (PAGE.parent / "test-by-hand.md").read_text(encoding="utf-8")
    kind = find_device(shipped_devices(), "banded-oil-indicator")
    assert isinstance(kind, IndicatorKind)
    lines = re.findall(r"^\| ((?:nothing|dots|line) .*) \|$", page, re.MULTILINE)

    assert len(lines) == 8
    for line in lines:
        *states, shown = (cell.strip() for cell in line.split("|"))
        assert str(rows_interval(kind, read_rows(kind, ", ".join(states)))) == shown


def _choice_effects(name: str) -> dict[tuple[str, str], str]:
    return {
        (ask.name, choice.word): choice.effect
        for _, ask in load_procedure(name).asks()
        for choice in ask.choices
        if choice.effect
    }


def test_the_shipped_procedures_void_refuse_and_doubt_as_the_page_says() -> None:
    """The tables of the page about testing name every effect of a choice, a wait and a lot."""
    indicator = {("seal", "broken"): m.VOID, ("indicator-flow", "wrong"): m.VOID}
    assert _choice_effects("full-outlet-test") == indicator
    assert _choice_effects("charging-outlet-test") == {
        **indicator,
        ("regulator", "missing"): m.REFUSE,
        ("warm", "cold"): m.DOUBT,
    }
    assert _choice_effects("tube-test") == {
        ("tube-whole", "damaged"): m.VOID,
        ("ends-cut", "wrong"): m.VOID,
        ("sampled", "wrong"): m.VOID,
    }
    for name in procedure_ids():
        asks = [ask for _, ask in load_procedure(name).asks()]
        assert {ask.short for ask in asks if ask.kind == m.WAIT} == {m.VOID}
        assert {ask.expired for ask in asks if ask.kind == m.LOT} == {m.VOID}
        ranges = {ask.name: (ask.low, ask.high, ask.below, ask.above) for ask in asks}
        assert ranges["line-pressure"] == (2, 10, m.REFUSE, m.REFUSE)
        drawing = {ask.name for ask in asks if ask.against}
        assert bool(drawing) == (name == "full-outlet-test")


def test_the_ranges_on_the_page_about_testing_are_those_of_the_procedures() -> None:
    """Low, high and effect of every other range."""
    found = {
        ask.name: (ask.low, ask.high, ask.below, ask.above)
        for name in procedure_ids()
        for _, ask in load_procedure(name).asks()
        if ask.low is not None
    }
    found.pop("strokes")

    assert found == {
        "line-pressure": (2, 10, m.REFUSE, m.REFUSE),
        "fresh-air-o2": (20.6, 21.2, m.REFUSE, m.REFUSE),
        "charging-pressure": (10, 420, m.REFUSE, m.REFUSE),
        "filling-rate": (0.1, 50, m.DOUBT, m.DOUBT),
        "air-pressure": (500, 1100, m.REFUSE, m.REFUSE),
    }
