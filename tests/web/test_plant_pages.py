"""Plant sheets on pages, and the files of calculations."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from tests.paper.calculation_kit import invented
from tests.web.kit import Visitor, app_on, text_of, visitor_on

from lungwort.jobs.opening import Where
from lungwort.jobs.plant_sheet import plants
from lungwort.web.calculated import Kept, calculated
from lungwort.web.context import Looking
from lungwort.web.forms import Field


def _hall(folder: Path) -> str:
    return next(one.id for one in plants(Where(folder)) if one.name == "hall-compressor")


def test_the_questions_are_listed(reader: Visitor) -> None:
    """With a way to each."""
    page = reader.page("/calculations")

    assert "Is there enough air?" in page
    assert "A calculation is no verdict on the air." in page
    for address in re.findall(r'<li><a href="(/[^"]+)">', page[page.index('class="rows"') :]):
        assert reader.get(address).status_code == 200, address


def test_a_plant_sheet_is_shown_and_changed(visitor: Visitor, folder: Path) -> None:
    """A reason is asked for; what is wrong is told with its line, and nothing is lost."""
    hall = _hall(folder)
    listed = text_of(visitor.page("/plant"))
    assert "hall-compressor" in listed
    assert "version 1" in listed
    page = visitor.page(f"/plant/sheets/{hall}?as=text")
    text = unescape(re.findall(r"<textarea[^>]*>(.*?)</textarea>", page, re.DOTALL)[0])

    wrong = text.replace("altitude_m = 40", "altitude_m = 40000")
    said = visitor.refused(f"/plant/sheets/{hall}", {"text": wrong, "reason": "moved"})
    assert "altitude_m" in said
    assert "-400 to 5000" in said.replace("−", "-")
    same = visitor.refused(f"/plant/sheets/{hall}", {"text": text, "reason": "again"})
    assert "on record already" in same
    bare = visitor.refused(f"/plant/sheets/{hall}", {"text": text.replace("= 40\n", "= 45\n")})
    assert "why the plant sheet changes" in bare.lower() or "Why it changes" in bare

    done = visitor.done(
        f"/plant/sheets/{hall}",
        {"text": text.replace("altitude_m = 40", "altitude_m = 45"), "reason": "measured"},
    )
    assert "Version 2 of the plant sheet of supply hall-compressor is in force." in done
    assert "Version 1" in done
    assert "measured" in done
    older = unescape(visitor.page(f"/plant/sheets/{hall}?version=1"))
    assert "altitude_m = 40\n" in older
    assert "version 9" in visitor.page(f"/plant/sheets/{hall}?version=9", status=422)


def test_a_sheet_can_be_sent_as_a_file(visitor: Visitor, folder: Path) -> None:
    """The file goes before what stands in the field."""
    hall = _hall(folder)
    done = visitor.done(
        f"/plant/sheets/{hall}",
        {"text": "", "reason": "a new one"},
        files={"file": ("own.toml", b"format = 1\n", "text/plain")},
    )

    assert "it cannot be told whether there is enough air" in done
    assert "Is there enough air?" in text_of(visitor.page("/plant"))


def test_a_sheet_to_fill_in(reader: Visitor) -> None:
    """As a file."""
    answer = reader.get("/plant/form.toml")

    assert answer.text.startswith("# Plant sheet")
    assert "attachment" in answer.headers["content-disposition"]


def test_an_unknown_supply_is_told(reader: Visitor) -> None:
    """Not a fault."""
    assert "no such supply" in reader.page("/plant/sheets/supply-none", status=404)


def test_a_calculation_is_taken_along_just_as_it_was_shown(year: Path) -> None:
    """As PDF and as data; what is not kept any more is told."""
    app = app_on(year)

    @app.get("/asks")
    def asks(ctx: Looking):  # type: ignore[no-untyped-def]  # noqa: ANN202 - FastAPI reads it
        return calculated(
            ctx,
            title="Asks?",
            lead="Asks.",
            fields=(Field(name="flow", label="Flow", kind="number", option="--flow"),),
            action="/asks",
            submit="Go",
            work=lambda values: invented(answer=f"It is {values['flow']}."),
        )

    with visitor_on(app) as one:
        assert "It is" not in text_of(one.page("/asks"))
        page = one.page("/asks?asked=1&flow=12")
        assert "It is 12." in text_of(page)
        assert "It does not replace a measurement at the wearer." in text_of(page)
        assert "A calculation is no verdict on the air" in text_of(page)
        assert "&lt;b&gt;" in page
        assert 'role="img"' in page
        pdf, data = re.findall(r'href="(/calculations/[^"]+)"', page)
        assert one.get(pdf).content.startswith(b"%PDF")
        assert json.loads(one.get(data).text)["answer"] == "It is 12."
        assert one.get("/calculations/none/pdf").status_code == 404


def test_only_so_many_are_kept() -> None:
    """The oldest goes first."""
    kept = Kept()
    names = [kept.keep(invented(answer=str(at))) for at in range(61)]

    assert kept.get(names[0]) is None
    found = kept.get(names[-1])
    assert found is not None
    assert found.answer == "60"


@pytest.mark.parametrize("address", ["/cause", "/exposure"])
def test_a_log_of_a_day_can_be_sent_in(reader: Visitor, address: str) -> None:
    """A file of some hundred kilobytes is no attack."""
    began = datetime(2026, 11, 20, 7, 0, tzinfo=UTC)
    rows = [
        f"{(began + timedelta(seconds=10 * at)).isoformat()},{2.0 if 4000 < at < 4400 else 0.2},430,20.9"
        for at in range(8640)
    ]
    text = "\n".join(["Time,CO [ppm],CO2 [ppm],O2 [%]", *rows]) + "\n"
    assert len(text) > 300_000
    answer = reader.post(
        address, {"zone": "Europe/London"}, files={"files": ("day.csv", text.encode(), "text/csv")}
    )

    assert answer.status_code in {200, 422}, text_of(answer.text)
    assert "too large" not in text_of(answer.text)
    assert answer.status_code == 200, text_of(answer.text)
