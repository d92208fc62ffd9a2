"""The tag of a cartridge change."""

from __future__ import annotations

import io
import json
import subprocess
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pikepdf
import pytest
from attrs import evolve

from lungwort.errors import InputError
from lungwort.paper.tag import ATTACHMENT, TagSheet, tag_pdf

if TYPE_CHECKING:
    from pathlib import Path

NASTY = 'q"uote\\ #set page *b* \u202egnp.exe 空気 שלום ' + "no_break_" * 20 + "long words " * 20
TAG = TagSheet(
    supply="Compressor house, compressor 2",
    stage="Carbon filter",
    site="Merrowgate Slipway (invented)",
    kind="carbon, stage 3",
    changed_at=datetime(2026, 7, 9, 23, 30, tzinfo=UTC),
    by="Idris Pellow",
    running_hours="4812 h",
    lot="24-118",
    next_by=date(2027, 1, 9),
    next_hours="5812 h",
    zone="Europe/London",
)


def _text(data: bytes, tmp_path: Path) -> str:
    path = tmp_path / "tag.pdf"
    path.write_bytes(data)
    try:
        done = subprocess.run(
            ["pdftotext", "-layout", str(path), "-"],  # noqa: S607 - found on the path or skipped
            check=True,
            capture_output=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    return " ".join(done.stdout.decode("utf-8").split())


def _sizes_mm(data: bytes) -> list[tuple[float, float]]:
    with pikepdf.open(io.BytesIO(data)) as file:
        meta = file.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "B")
        return [
            (float(page.mediabox[2]) / 72 * 25.4, float(page.mediabox[3]) / 72 * 25.4)
            for page in file.pages
        ]


def test_what_a_tag_says(tmp_path: Path) -> None:
    """Stage, supply, when in the site's zone, by whom, hours, lot, next change."""
    shown = _text(tag_pdf([TAG]), tmp_path)

    for telling in (
        "CARTRIDGE CHANGED",
        "Carbon filter",
        "Compressor house, compressor 2",
        "Changed on 10 Jul 2026",  # 23:30 UTC is half past midnight in British summer
        "By Idris Pellow",
        "Hour meter 4812 h",
        "Lot 24-118",
        "NEXT CHANGE AT THE LATEST 9 Jan 2027 at 5812 h",
        "Whichever comes first; sooner with any doubt.",
        "carbon, stage 3, Merrowgate Slipway (invented)",
    ):
        assert telling in shown, telling


def test_without_an_interval_it_says_so(tmp_path: Path) -> None:
    """No day is made up."""
    shown = _text(tag_pdf([evolve(TAG, next_by=None, next_hours="")]), tmp_path)

    assert "NEXT CHANGE no interval is set" in shown
    assert "AT THE LATEST" not in shown
    by_hours = _text(tag_pdf([evolve(TAG, next_by=None)]), tmp_path)
    assert "AT THE LATEST at 5812 h Sooner with any doubt." in by_hours


def test_papers() -> None:
    """ISO 216: A6 is 105 x 148 mm, A4 210 x 297 mm; four tags go on an A4."""
    five = [evolve(TAG, stage=f"Stage {place}") for place in range(5)]

    assert _sizes_mm(tag_pdf(five)) == [pytest.approx((105, 148), abs=0.1)] * 5
    assert _sizes_mm(tag_pdf(five, paper="a4")) == [pytest.approx((210, 297), abs=0.1)] * 2


def test_long_texts_stay_on_their_tag(tmp_path: Path) -> None:
    """They are cut short on the tag and whole in the attached file."""
    nasty = evolve(
        TAG,
        supply=NASTY,
        stage=NASTY,
        site=NASTY,
        kind=NASTY,
        by=NASTY,
        lot=NASTY,
        running_hours=NASTY,
        next_hours=NASTY,
    )
    data = tag_pdf([nasty, TAG])

    assert len(_sizes_mm(data)) == 2
    assert len(_sizes_mm(tag_pdf([nasty] * 4, paper="a4"))) == 1
    with pikepdf.open(io.BytesIO(data)) as file:
        attached = json.loads(file.attachments[ATTACHMENT].get_file().read_bytes())
    assert [tag["lot"] for tag in attached["tags"]] == [NASTY, "24-118"]
    assert attached["format"] == "lungwort-tags/1"
    assert "Whichever comes first" in _text(data, tmp_path)


def test_what_cannot_be_printed_is_told() -> None:
    """Nothing to print, or another paper."""
    with pytest.raises(InputError, match="no cartridge change is on record"):
        tag_pdf([])
    with pytest.raises(InputError, match=r"no tags on 'a5'\. Give a6 or a4"):
        tag_pdf([TAG], paper="a5")


def test_the_same_tags_make_the_same_bytes() -> None:
    """No clock."""
    assert tag_pdf([TAG], paper="a4") == tag_pdf([TAG], paper="a4")
