"""The notice of a withdrawn supply: large, black on white, one page."""

from __future__ import annotations

import io
import json
import subprocess
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pikepdf
import pytest
from attrs import evolve

from lungwort.paper.notice import ATTACHMENT, NoticeSheet, notice_pdf, page_data

if TYPE_CHECKING:
    from pathlib import Path

NASTY = 'q"uote\\ #set page *b* \u202egnp.exe 空気 שלום ' + "no_break_" * 20 + "long words " * 60
SHEET = NoticeSheet(
    supply="Compressor house, compressor 2",
    site="Merrowgate Slipway (invented)",
    since=datetime(2026, 7, 9, 14, 12, tzinfo=UTC),
    why="carbon monoxide 21.9 ppm at outlet 3, limit 5 ppm",
    withdrawn_by="Wenna Harkle",
    decides="Wenna Harkle (answers for the air)",
    finding="F-2026-0003",
    outlets=("Blasting hall, outlet 3",),
    zone="Europe/London",
)


def _text(data: bytes, tmp_path: Path, *options: str) -> str:
    path = tmp_path / "notice.pdf"
    path.write_bytes(data)
    try:
        done = subprocess.run(
            ["pdftotext", *options, str(path), "-"],  # noqa: S607 - found on the path or skipped
            check=True,
            capture_output=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    return done.stdout.decode("utf-8")


def test_what_the_notice_says(tmp_path: Path) -> None:
    """Words, supply, since when in the site's zone, why, who decides, finding."""
    shown = " ".join(_text(notice_pdf(SHEET), tmp_path).split())

    for telling in (
        "THIS AIR IS WITHDRAWN",
        "DO NOT BREATHE",
        "Compressor house, compressor 2",
        "Merrowgate Slipway (invented); Blasting hall, outlet 3",
        "9 Jul 2026 15:12, by Wenna Harkle",  # 14:12 UTC is 15:12 in British summer
        "Carbon monoxide 21.9 ppm at outlet 3, limit 5 ppm.",
        "only when Wenna Harkle (answers for the air) says so in writing",
        "F-2026-0003",
    ):
        assert telling in shown, telling


@pytest.mark.parametrize(
    "sheet",
    [
        SHEET,
        evolve(
            SHEET,
            supply=NASTY,
            site=NASTY,
            why=NASTY,
            decides=NASTY,
            outlets=(NASTY,) * 9,
            finding="",
        ),
        evolve(SHEET, supply="C", site="", why="", decides="", withdrawn_by="", outlets=()),
    ],
)
def test_it_is_one_page_across(sheet: NoticeSheet) -> None:
    """Whatever is written on it: ISO 216 A4 on its side, 297 x 210 mm."""
    with pikepdf.open(io.BytesIO(notice_pdf(sheet))) as file:
        (page,) = file.pages
        width, height = (float(side) for side in page.mediabox[2:])
        assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx((297, 210), abs=0.1)
        meta = file.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "B")


def test_the_large_words_can_be_read_from_five_metres(tmp_path: Path) -> None:
    """A letter is read from about 200 times its height (common practice, no source): 25 mm."""
    shown = _text(notice_pdf(SHEET), tmp_path, "-bbox")
    heights = {}
    for line in shown.splitlines():
        if "<word" in line:
            part = dict(piece.split("=", 1) for piece in line.split(">")[0].split() if "=" in piece)
            height_pt = float(part["yMax"].strip('"')) - float(part["yMin"].strip('"'))
            heights[line.split(">")[1].split("<")[0]] = height_pt / 72 * 25.4
    # The box of a word holds ascenders and descenders: about 1.26 em, of which a capital has 0.66.
    for word in ("DO", "NOT", "BREATHE"):
        assert heights[word] * 0.66 / 1.26 > 25.0


def test_it_prints_in_black_alone(tmp_path: Path) -> None:
    """Nothing is told by a colour: every pixel is a grey."""
    image = pytest.importorskip("PIL.Image")
    path = tmp_path / "notice.pdf"
    path.write_bytes(notice_pdf(SHEET))
    try:
        subprocess.run(
            ["pdftoppm", "-r", "30", "-png", str(path), str(tmp_path / "page")],  # noqa: S607
            check=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftoppm is not installed")
    (png,) = tmp_path.glob("*.png")
    with image.open(png) as page:
        red, green, blue = page.convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()


def test_why_is_never_left_open() -> None:
    """Without a reason or a name the notice sends the reader to the record and the one in charge."""
    said = dict(page_data(evolve(SHEET, why="", decides="", finding=""))["facts"])

    assert said["Why"] == "See the record."
    assert said["Back in use"].startswith("only when the responsible person says so in writing")


def test_the_code_and_the_attachment() -> None:
    """The code is ASCII and names supply, finding and time; the attachment has all of it."""
    data = page_data(evolve(SHEET, supply="Hof 3/ä"))
    assert data["qr_says"] == (
        "lungwort-notice/1 Hof%203%2F%C3%A4 finding:F-2026-0003 since:2026-07-09T14:12:00Z"
    )
    with pikepdf.open(io.BytesIO(notice_pdf(evolve(SHEET, why=NASTY)))) as file:
        attached = json.loads(file.attachments[ATTACHMENT].get_file().read_bytes())
    assert attached["format"] == "lungwort-notice/1"
    assert attached["why"] == NASTY
    assert attached["since"] == "2026-07-09T14:12:00Z"


def test_the_same_sheet_makes_the_same_bytes() -> None:
    """No clock."""
    assert notice_pdf(SHEET) == notice_pdf(SHEET)
