"""The plant sheet as a form on a page: filled in, refused with the field named, and recorded."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

from tests.web.kit import Visitor, text_of

from lungwort.jobs.opening import Where
from lungwort.jobs.plant_sheet import newest, plants
from lungwort.plant.sheet import read_sheet


def _supply(folder: Path, name: str) -> str:
    return next(one.id for one in plants(Where(folder)) if one.name == name)


def _fields(page: str) -> dict[str, str]:
    """Give what a browser would send: fields with a value, chosen options, ticked boxes."""
    form = page[page.index('class="form plant-form"') :]
    form = form[: form.index("</form>")]
    sent: dict[str, str] = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name = re.search(r'name="([^"]*)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name and ('type="checkbox"' not in tag or " checked" in tag):
            sent[name[1]] = unescape(value[1]) if value else ""
    for name_, body in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form):
        chosen = re.search(r'value="([^"]*)" selected', body)
        sent[name_] = chosen[1] if chosen else ""
    sent.pop("csrf", None)
    return sent


def test_a_sheet_is_changed_field_by_field(visitor: Visitor, folder: Path) -> None:
    """What was not touched stays; the version says why."""
    hall = _supply(folder, "hall-compressor")
    before = read_sheet(newest(Where(folder), hall).text, "before")
    sent = _fields(visitor.page(f"/plant/sheets/{hall}"))
    assert sent["wearer-0-at"] == "hall-1"
    sent |= {"pipe-0-length_m": "41", "pipe-3-left_out": "yes", "reason": "measured again"}
    done = visitor.done(f"/plant/sheets/{hall}/rows", sent)
    assert "Version 2 of the plant sheet of supply hall-compressor is in force." in done
    after = read_sheet(newest(Where(folder), hall).text, "after")
    assert before.network
    assert after.network
    assert [one.length_m for one in after.network.pipes] == [41.0, 46.0, 20.0]
    assert after.wearers == before.wearers
    assert after.treatments == before.treatments
    assert after.place == before.place


def test_a_mistake_is_told_at_its_field_and_nothing_is_lost(visitor: Visitor, folder: Path) -> None:
    """In the words of the form; the address of the field stands in the list above."""
    hall = _supply(folder, "hall-compressor")
    sent = _fields(visitor.page(f"/plant/sheets/{hall}"))
    sent |= {"wearer-0-minimum_bar_g": "9", "pipe-0-length_m": "1,440", "reason": "tried"}
    answer = visitor.post(f"/plant/sheets/{hall}/rows", sent)
    assert answer.status_code == 422
    said = answer.text
    assert "The plant sheet has 2 mistakes. Nothing was recorded." in text_of(said)
    assert 'href="#wearer-0-maximum_bar_g"' in said
    assert 'href="#pipe-0-length_m"' in said
    assert "not above “Least pressure, by its instructions” (9)" in text_of(said)
    assert "can be 1440 or 1.44" in text_of(said)
    field = re.search(r'<input[^>]*id="pipe-0-length_m"[^>]*>', said)
    assert field
    assert 'aria-invalid="true"' in field[0]
    assert 'value="1,440"' in field[0]
    again = _fields(said)
    assert again["wearer-0-minimum_bar_g"] == "9"
    assert again["reason"] == "tried"
    assert len(plants(Where(folder))) == 2
    assert newest(Where(folder), hall).version == 1


def test_a_reason_is_asked_for(visitor: Visitor, folder: Path) -> None:
    """As for every change of what is on record."""
    hall = _supply(folder, "hall-compressor")
    sent = _fields(visitor.page(f"/plant/sheets/{hall}")) | {"place-0-altitude_m": "44"}
    said = visitor.refused(f"/plant/sheets/{hall}/rows", sent)
    assert "why the plant sheet changes" in said


def test_more_rows_are_given_without_recording(visitor: Visitor, folder: Path) -> None:
    """What was typed stays, right or wrong."""
    hall = _supply(folder, "hall-compressor")
    sent = _fields(visitor.page(f"/plant/sheets/{hall}"))
    sent |= {"wearer-0-minimum_bar_g": "x", "more": "wearer"}
    page = visitor.post(f"/plant/sheets/{hall}/rows", sent).text
    assert 'id="wearer-4-name"' in page
    assert 'id="wearer-5-name"' not in page
    assert _fields(page)["wearer-0-minimum_bar_g"] == "x"
    assert newest(Where(folder), hall).version == 1


def test_a_number_that_german_reads_otherwise_is_asked_for(visitor: Visitor, folder: Path) -> None:
    """1.440 is fourteen hundred and forty to one reader, and 1.44 to the program: a thousandfold."""
    hall = _supply(folder, "hall-compressor")
    visitor.done("/language", {"language": "de"})
    sent = _fields(visitor.page(f"/plant/sheets/{hall}"))
    assert sent["compressor-0-declared_at_bar_g"] == "7,5"
    sent |= {"compressor-0-free_air_l_min": "1.440", "reason": "neu"}
    sent["pipe-0-bore_mm"] = "27,1250"
    answer = visitor.post(f"/plant/sheets/{hall}/rows", sent)
    assert answer.status_code == 422
    assert "1440" in text_of(answer.text)
    assert "1,44" in text_of(answer.text)
    # What was typed stays as it was typed: sent again, it is asked for again.
    assert _fields(answer.text)["compressor-0-free_air_l_min"] == "1.440"
    assert visitor.post(f"/plant/sheets/{hall}/rows", _fields(answer.text)).status_code == 422
    assert newest(Where(folder), hall).version == 1
    sent["compressor-0-free_air_l_min"] = "1440,5"
    visitor.done(f"/plant/sheets/{hall}/rows", sent)
    after = read_sheet(newest(Where(folder), hall).text, "after")
    assert after.compressors[0].free_air_l_min == 1440.5
    assert after.compressors[0].declared_at_bar_g == 7.5
    assert after.network
    assert after.network.pipes[0].bore_mm == 27.125
    shown = _fields(visitor.page(f"/plant/sheets/{hall}"))
    assert shown["pipe-0-bore_mm"] == "27,1250"


def test_what_the_form_cannot_hold_is_shown_as_text(visitor: Visitor, folder: Path) -> None:
    """A long network is kept as a file; the form would lose nothing, but nobody could use it."""
    hall = _supply(folder, "hall-compressor")
    many = "format = 1\n" + "".join(
        f"[[receiver]]\nname = 'r{n}'\nvolume_l = 9\npressure_bar_g = 9\n" for n in range(130)
    )
    visitor.done(f"/plant/sheets/{hall}", {"text": many, "reason": "all of them"})
    page = visitor.page(f"/plant/sheets/{hall}")
    assert "holds more than the form does" in text_of(page)
    assert "<textarea" in page


def test_numbers_in_the_address_of_a_question_are_read_alike(
    visitor: Visitor, folder: Path
) -> None:
    """A question is refused too where its number can be read in two ways."""
    hall = _supply(folder, "hall-compressor")
    visitor.done("/language", {"language": "de"})
    said = visitor.page(f"/plant/air?asked=1&supply={hall}&intake_c=1.440", status=422)
    assert "1440" in text_of(said)
    assert "38,5" in visitor.page(f"/plant/air?asked=1&supply={hall}&intake_c=38,5")
