"""A plant sheet as a form: what is on record comes back the same, and each mistake finds its field."""

from __future__ import annotations

import string
import tomllib
from importlib import resources

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import PlantError
from lungwort.jobs import plant_form as form
from lungwort.jobs.plant_form import Draft, Mistake
from lungwort.jobs.plant_sheet import form_text
from lungwort.plant import bank, capacity, leakage, network_sheet, reserve, sheet, treatment
from lungwort.plant.sheet import PlantSheet, read_sheet
from lungwort.wearers import demand


def shipped() -> list[str]:
    """Give the sheet to fill in, and those of the demonstration."""
    plants = resources.files("lungwort.demo") / "plants"
    return [form_text(), *(one.read_text("utf-8") for one in plants.iterdir())]


def bare(text: str) -> PlantSheet:
    """Read a sheet without what names its text; a switch that says no is one that says nothing."""
    found = read_sheet(text, "plant.toml")
    return evolve(
        found,
        text="",
        digest="",
        compressors=tuple(
            evolve(one, stated=one.stated - {"standby"}) for one in found.compressors
        ),
    )


@pytest.mark.parametrize("text", shipped())
def test_a_sheet_goes_through_the_form_unchanged(text: str) -> None:
    """Every figure comes back as it was; remarks are lost, and that is told."""
    draft = form.draft_of(text)
    assert draft is not None
    assert form.mistakes(draft) == ()
    assert bare(form.checked(draft)) == bare(text)
    assert draft.loses
    again = form.draft_of(form.toml_of(draft))
    assert again is not None
    assert not again.loses
    assert form.toml_of(again) == form.toml_of(draft)


def test_the_form_holds_every_key_of_a_sheet() -> None:
    """A key that the reader takes and the form does not would be lost at the next change."""
    known = {
        "place": sheet._PLACE,
        "compressor": capacity._COMPRESSOR,
        "leak_test": leakage._LEAK_TEST,
        "wearer": demand._WEARER,
        "source": ("node", "pressure_bar_g"),
        "pipe": network_sheet._PIPE_KEYS,
        "regulator": ("name", "from", "to", "set_bar_g"),
        "receiver": reserve._RECEIVER,
        "reserve": reserve._RESERVE,
        "escape": reserve._ESCAPE,
        "treatment": treatment._KEYS,
        "bank": bank._BANK,
        "fill": bank._FILL,
    }
    assert {one.key: {entry.key for entry in one.entries} for one in form.PARTS} == {
        key: set(keys) for key, keys in known.items()
    }
    assert set(sheet.KEYS) == {"format", "title", "remark", "invented", *known}


@pytest.mark.parametrize(
    "text",
    [
        "format = 1\nnothing = 2\n",
        "format = 1\n[[wearer]]\nname = 'a'\nhelmet = 1\n",
        "format = 1\nplace = [1]\n",
        "format = 1\nwearer = 3\n",
        "format = 1\ntitle = 3\n",
        "format = 1\n[place]\nintake_temperature_c = [1, 2, 3]\n",
        "format = 1\n[place]\naltitude_m = [1]\n",
        "no toml",
        "format = 1\n" + "".join(f"[[receiver]]\nname='{n}'\n" for n in range(form.MOST_ROWS + 1)),
    ],
)
def test_what_a_form_does_not_hold_is_left_as_text(text: str) -> None:
    """Nothing is taken away silently."""
    assert form.draft_of(text) is None


LOWEST_AND_HIGHEST = (
    "is missing. Give the lowest and the highest [°C]; both alike where it is always the same."
)


def row(**values: str) -> dict[str, str]:
    """Give a table of a form."""
    return {name.replace("__", "."): value for name, value in values.items()}


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (
            {"wearer": (row(name="a"),)},
            [("wearer", 0, "at", "is missing."), ("wearer", 0, "equipment", "is missing.")],
        ),
        (
            {"fill": (row(cylinder_l="7", from_bar_g="50", to_bar_g="30"),)},
            [("fill", 0, "to_bar_g", "found 30, which is not above from_bar_g (50).")],
        ),
        (
            {
                "leak_test": (
                    {},
                    row(volume_l="600", from_bar_g="8", to_bar_g="7", minutes="9"),
                    row(volume_l="600", from_bar_g="8", to_bar_g="7"),
                )
            },
            [("leak_test", 1, "minutes", "is missing. Give a number [min].")],
        ),
        (
            {"receiver": (row(name="r", volume_l="1,440", pressure_bar_g="7"),)},
            [
                (
                    "receiver",
                    0,
                    "volume_l",
                    "found '1,440', which can be 1440 or 1.44. Write one of the two.",
                )
            ],
        ),
        (
            {"receiver": (row(name="r", volume_l="500 L", pressure_bar_g="7"),)},
            [
                (
                    "receiver",
                    0,
                    "volume_l",
                    "found '500 L'. Give a number [L], without its unit, with a point before decimals.",
                )
            ],
        ),
        (
            {"place": (row(intake_temperature_c__low="5"),)},
            [
                (
                    "place",
                    0,
                    "intake_temperature_c.high",
                    LOWEST_AND_HIGHEST,
                )
            ],
        ),
        (
            {"place": (row(altitude_m="40000"),)},
            [("place", 0, "altitude_m", "found 40000, allowed is -400 to 5000 m.")],
        ),
        (
            {
                "receiver": (
                    row(name="r", volume_l="500", pressure_bar_g="7"),
                    row(name="r", volume_l="500", pressure_bar_g="7"),
                )
            },
            [("receiver", -1, "", "the name 'r' stands 2 times. Give each its own.")],
        ),
        (
            {"pipe": (row(name="it's", **{"from": "a", "to": "b"}, length_m="0", bore_mm="9"),)},
            [
                (
                    "pipe",
                    0,
                    "length_m",
                    "is 0, and there is no loss_coefficient: nothing would be lost in it. Give either.",
                )
            ],
        ),
    ],
)
def test_each_mistake_finds_its_field(
    rows: dict[str, tuple[dict[str, str], ...]], expected: list[tuple[str, int, str, str]]
) -> None:
    """Each is told once, at the table and the field where it is; nothing can be recorded."""
    draft = Draft(rows=rows)
    assert list(form.mistakes(draft)) == [Mistake(*one) for one in expected]
    with pytest.raises(PlantError, match=r"mistakes?\. Nothing was recorded"):
        form.checked(draft)


def test_an_empty_form_is_an_empty_sheet() -> None:
    """Tables that hold nothing are not there."""
    draft = Draft(rows={"wearer": ({}, row(name="", at=""))})
    assert form.tidied(draft).rows == {}
    assert form.checked(draft) == "format = 1\n"


def test_places_are_offered() -> None:
    """Outlets of the supply, and what the form names already; each once."""
    draft = Draft(rows={"pipe": (row(**{"from": "plant", "to": "hall-1"}), row(to="manifold "))})
    assert form.places(draft, ("hall-1", "hall-2")) == ("hall-1", "hall-2", "plant", "manifold")


_WORDS = st.text(string.printable + "äß#°\x7f'\"\\", max_size=30)
_FIGURES = st.one_of(
    st.sampled_from(["007", "+5", "−4", "1e3", ".5", "5.", "0x10", "1_000", "inf", "nan", "true"]),
    st.floats(allow_nan=False, allow_infinity=False).map(str),
    st.integers().map(str),
    _WORDS,
)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(form.PARTS).flatmap(
        lambda part: st.tuples(
            st.just(part), st.dictionaries(st.sampled_from(part.names), _FIGURES)
        )
    ),
    _WORDS,
)
def test_whatever_is_typed_makes_toml(typed: tuple[form.Part, dict[str, str]], title: str) -> None:
    """The text can always be read, holds what was typed, and mistakes never are a fault."""
    part, values = typed
    draft = Draft(title=title, rows={part.key: (values,)})
    read = tomllib.loads(form.toml_of(draft))
    assert read.get("title", "") == " ".join(title.split())
    found = form.mistakes(draft)
    told = {(one.part, one.key.partition(".")[0]) for one in found}
    for name, value in values.items():
        entry = next(one for one in part.entries if one.key == name.partition(".")[0])
        text = value.strip()
        if entry.kind in {form.NUMBER, form.ENDS} and text:
            try:
                float(text)
                plain = text.replace("_", "") == text and text[-1].isdigit() and text[0] != "."
            except ValueError:
                plain = text.startswith("−") and text[1:].isascii() and text[1:].isdecimal()
            assert plain or (part.key, entry.key) in told
