"""The plant sheet as a whole: what is read, and what is told of mistakes."""

from __future__ import annotations

import hashlib
import tomllib

import pytest

from lungwort.demo.plant import plant_sheet
from lungwort.errors import PlantError
from lungwort.jobs.plant_sheet import form_text, missing
from lungwort.plant.sheet import KEYS, read_sheet

EMPTY = "format = 1\n"


@pytest.mark.parametrize(
    "text", [form_text(), plant_sheet("hall-compressor"), plant_sheet("charging-compressor")]
)
def test_the_shipped_sheets_are_whole_and_marked_as_invented(text: str) -> None:
    """Each table of the file is in what was read."""
    sheet = read_sheet(text, "plant.toml")
    plain = tomllib.loads(text)

    assert "invented" in text.splitlines()[0].lower() or "INVENTED" in text
    assert len(sheet.compressors) == len(plain["compressor"])
    assert len(sheet.wearers) == len(plain.get("wearer", []))
    assert len(sheet.treatments) == len(plain.get("treatment", []))
    assert len(sheet.banks) == len(plain.get("bank", []))
    assert (sheet.network is not None) == ("pipe" in plain)
    assert sheet.digest == hashlib.sha256(text.encode()).hexdigest()
    assert sheet.place.intake_temperature_c == tuple(plain["place"]["intake_temperature_c"])


def test_every_line_of_the_form_that_is_commented_out_can_be_used() -> None:
    """The tables of a charging supply."""
    text = form_text()
    at = text.index("# [[bank]]")
    used = text[:at] + "\n".join(line.removeprefix("# ") for line in text[at:].splitlines())
    sheet = read_sheet(used, "plant.toml")

    assert [one.name for one in sheet.banks] == ["low"]
    assert sheet.fill is not None


def test_line_ends_do_not_change_what_it_is() -> None:
    """A file from another system has the same digest."""
    one, other = (read_sheet(text, "a") for text in ("format = 1\n", "format = 1\r\n"))

    assert one.digest == other.digest


def test_an_empty_sheet_answers_nothing_and_says_so() -> None:
    """A sentence a question."""
    told = missing(read_sheet(EMPTY, "plant.toml"))

    assert len(told) == 6
    assert any("[[compressor]]" in one and "enough air" in one for one in told)


@pytest.mark.parametrize(
    ("text", "telling"),
    [
        ("", "key 'format': found nothing"),
        ("format = 2\n", "reads 1"),
        ("format = 1\n[plase]\n", "not known. Near: 'place'"),
        ("format = 1\nplace = 3\n", "is one table"),
        ("format = 1\n[place]\naltitude_m = 9000\n", "line 3: .*allowed is -400 to 5000 m"),
        ("format = 1\n[place]\naltitude_m = nan\n", "altitude_m.*found nan"),
        ("format = 1\n[place]\nintake_temperature_c = [30, 2]\n", "the lowest first"),
        ("format = 1\n[place]\nintake_temperature_c = [1, 2, 3]\n", "the lowest and the highest"),
        ("format = 1\n[place]\nintake_temperature_c = [true, 3]\n", "the lowest and the highest"),
        ("format = 1\n[place\n", "line 2"),
        (
            "format = 1\n" + '[[receiver]]\nname = "a"\nvolume_l = 5\npressure_bar_g = 7\n' * 2,
            "the name 'a' stands 2 times",
        ),
        ("x" * 300_001, "at most 300000"),
    ],
)
def test_mistakes(text: str, telling: str) -> None:
    """With the line and what to do."""
    with pytest.raises(PlantError, match=telling):
        read_sheet(text, "plant.toml")


def test_all_mistakes_are_told_at_once() -> None:
    """So that a file is mended in one go."""
    text = 'format = 1\n[place]\naltitude_m = 9000\nx = 1\n[[pipe]]\nname = "p"\n'
    with pytest.raises(PlantError, match=r"plant\.toml has [4-9] mistakes") as raised:
        read_sheet(text, "plant.toml")

    assert "altitude_m" in str(raised.value)
    assert "bore_mm" in str(raised.value)


def test_one_temperature_stands_for_both_ends() -> None:
    """An intake in a heated room."""
    sheet = read_sheet("format = 1\n[place]\nintake_temperature_c = 18\n", "plant.toml")

    assert sheet.place.intake_temperature_c == (18.0, 18.0)
    assert "altitude_m" not in sheet.place.stated
    assert set(KEYS) >= {"compressor", "wearer", "pipe", "receiver", "bank", "treatment"}
