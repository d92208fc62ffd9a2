"""Procedures as data: what is shipped, and how mistakes in a user's own are told."""

from __future__ import annotations

from pathlib import Path

import pytest

from lungwort.errors import ProcedureError
from lungwort.spot import procedure_model as m
from lungwort.spot.procedures import (
    load_procedure,
    own_files,
    procedure_ids,
    read_procedure,
)
from lungwort.spot.tomlfile import STANDINGS

OWN = """format = 1
id = "own-test"
title = "Own test"

[[step]]
id = "one"
title = "One"
text = "Do it."
standing = "own rule"

[[step.entry]]
name = "on-air"
kind = "choose"
ask = "On air?"
choices = [
  { word = "yes" },
  { word = "no", effect = "void", why = "Off air." },
]

[[step.entry]]
name = "waiting"
kind = "wait"
ask = "Wait"
when = ["on-air=yes"]
minutes = 3

[[step]]
id = "two"
title = "Two"
text = "Read it."

[[step.entry]]
name = "monitor"
kind = "instrument"
ask = "Which?"

[[step.entry]]
name = "co"
kind = "number"
ask = "CO"
analyte = "co"
unit = "ppm"
low = 0
high = 100
why = "Look again."
instrument = "monitor"
standing = "own rule"
"""


@pytest.mark.parametrize("name", procedure_ids())
def test_shipped_procedures_state_where_their_numbers_come_from(name: str) -> None:
    """Every time and range has its standing; none is passed off as a standard's."""
    found = load_procedure(name)
    assert found.id == name
    assert any("not to be breathed" in one for one in found.cautions)
    assert any("instructions" in one for one in found.cautions)
    numbered = 0
    for _, ask in found.asks():
        if ask.minutes is not None or ask.low is not None or ask.high is not None:
            numbered += 1
            assert ask.standing in {"common practice, no source", "from memory"}
            assert ask.standing in STANDINGS
    assert numbered >= 3


def test_the_full_outlet_test_asks_for_all_that_belongs_to_it() -> None:
    """Times and ranges of the trade: common practice, no source."""
    asks = {ask.name: ask for _, ask in load_procedure("full-outlet-test").asks()}
    assert (asks["line-pressure"].low, asks["line-pressure"].high) == (2.0, 10.0)
    assert asks["line-pressure"].above == m.REFUSE
    assert (asks["fresh-air-o2"].low, asks["fresh-air-o2"].high) == (20.6, 21.2)
    assert [asks[one].minutes for one in ("settling", "purging", "oil-sample")] == [30.0, 1.0, 5.0]
    assert all(asks[one].short == m.VOID for one in ("settling", "purging", "oil-sample"))
    assert {ask.analyte for ask in asks.values()} >= {
        "o2",
        "co",
        "co2",
        "water",
        "flow",
        "pressure",
    }
    said = {choice.reading for ask in asks.values() for choice in ask.choices}
    assert said >= {"odour=none", "odour=noticeable", "liquid_water=none", "liquid_water=seen"}
    assert list(asks).index("second-person") < list(asks).index("odour")
    assert list(asks).index("co") < list(asks).index("odour")
    assert list(asks).index("line-pressure") < list(asks).index("connected")


def test_the_tube_and_the_charging_test() -> None:
    """The arrow points away from the sampling port; charging air goes through a regulator first."""
    tube = load_procedure("tube-test")
    texts = " ".join(step.text for step in tube.steps)
    assert "arrow pointing away from the sampling port" in texts
    assert "15 min where the lubricant is not known" in texts
    charging = [ask.name for _, ask in load_procedure("charging-outlet-test").asks()]
    assert (
        charging.index("regulator") < charging.index("line-pressure") < charging.index("connected")
    )


def test_a_procedure_of_the_users_own(tmp_path: Path) -> None:
    """By its file, and by its id from the folder of the workspace."""
    folder = tmp_path / "procedures"
    folder.mkdir()
    file = folder / "own-test.toml"
    file.write_text(OWN, encoding="utf-8")
    assert own_files(folder) == (file,)
    assert own_files(tmp_path / "none") == ()
    found = load_procedure("own-test", folder)
    assert found == load_procedure(str(file))
    assert found.origin == "own-test.toml"
    assert found.text == OWN
    (folder / "other.toml").write_text(OWN, encoding="utf-8")
    with pytest.raises(ProcedureError, match=r"Name the file own-test\.toml"):
        load_procedure("other", folder)
    with pytest.raises(ProcedureError, match=r"'own-tests' is not known\. Near: 'own-test'"):
        load_procedure("own-tests", folder)
    with pytest.raises(ProcedureError, match="does not exist"):
        load_procedure(str(tmp_path / "none.toml"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('id = "own-test"', 'id = "full-outlet-test"', r"line 2: key 'id': .*comes with lungwort"),
        ("minutes = 3", "minuten = 3", r"line 25: step 'one', entry 'waiting', key 'minuten'.*Near: 'minutes'"),
        ("minutes = 3", "minutes = -3", r"line 25: .*found -3, allowed is 0.01 to 1440 min"),
        ("minutes = 3", 'minutes = "3"', "a number without quotes"),
        ("minutes = 3\n", "", "key 'minutes' is missing"),
        ('kind = "wait"', 'kind = "wate"', "allowed are .*Near: 'wait'"),
        ('kind = "instrument"\n', "", "key 'kind' is missing"),
        ('when = ["on-air=yes"]', 'when = ["on-aer=yes"]', "no entry 'on-aer' stands before it.*Near: 'on-air'"),
        ('when = ["on-air=yes"]', 'when = ["on-air=maybe"]', "never answered 'maybe', only yes, no"),
        ('when = ["on-air=yes"]', 'when = ["on-air"]', "write it like"),
        ('why = "Off air." }', 'whi = "Off air." }', "'whi': this key is not known"),
        (', why = "Off air." }', " }", "has an effect and no why"),
        ('effect = "void"', 'effect = "viod"', "Near: 'void'"),
        ('effect = "void"', 'reading = "odour"', "the reading of 'no' is not understood"),
        ('unit = "ppm"', 'unit = "bar(g)"', "is not measured in bar"),
        ('unit = "ppm"\n', "", "key 'unit' is missing"),
        ('analyte = "co"', 'analyte = "coo"', "'coo' is not known"),
        ("low = 0", "low = 101", "above high = 100"),
        ('why = "Look again."\n', "", "key 'why' is missing"),
        ('instrument = "monitor"', 'instrument = "on-air"', "of kind 'instrument' stands before it"),
        ('instrument = "monitor"\nstanding = "own rule"', 'instrument = "monitor"', "'standing' is missing"),
        ('standing = "own rule"\n\n', 'standing = "confirmed"\n\n', "'source' is missing"),
        ('name = "co"', 'name = "waiting"', "'waiting' stands twice"),
        ('id = "two"', 'id = "one"', "step 'one' stands twice"),
        ('text = "Read it."', 'text = ""', "key 'text' is empty"),
        ("format = 1", "format = 3", "found 3; this version of lungwort reads 1"),
        ('title = "Own test"', "title = Own", "line 3, column 9: this is not TOML"),
        ('name = "co"', 'name = "C O"', "small letters"),
    ],
)  # fmt: skip
def test_each_mistake_is_named_with_its_place(old: str, new: str, said: str) -> None:
    """File, line, step, entry and key, and what was found."""
    assert old in OWN
    with pytest.raises(ProcedureError, match=said) as told:
        read_procedure(OWN.replace(old, new), "own-test.toml")
    assert str(told.value).startswith("own-test.toml")


def test_all_mistakes_are_told_at_once() -> None:
    """Nobody corrects a file ten times."""
    text = OWN.replace("minutes = 3", "minuten = 3").replace("low = 0", "low = 101")
    with pytest.raises(ProcedureError, match="has 3 mistakes") as told:
        read_procedure(text, "own-test.toml")
    assert "minuten" in str(told.value)
    assert "above high" in str(told.value)


@pytest.mark.parametrize("text", ["format = 1\nid = 'a'\ntitle = 'A'\n", "format = 1\nstep = 3\n"])
def test_without_steps(text: str) -> None:
    """An empty procedure proves nothing."""
    with pytest.raises(ProcedureError, match="step"):
        read_procedure(text, "a.toml")
