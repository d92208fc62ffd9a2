"""What a calibration or a bump test must be, and what is said of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from lungwort.air.analytes import ANALYTES
from lungwort.errors import InputError
from lungwort.jobs.catalogue import channels, shape
from lungwort.register.model import BUMP_TEST, CALIBRATION

if TYPE_CHECKING:
    from datetime import date, datetime
    from pathlib import Path

    from lungwort.register.model import Calibration, CalibrationRow, Instrument

WORDS: Final = {CALIBRATION: "calibration", BUMP_TEST: "bump test"}
_LARGEST_PAPER_BYTES: Final = 50_000_000


def refuse_if_it_did_not_pass(rows: tuple[CalibrationRow, ...], word: str) -> None:
    """Refuse to call passed what a row shows to be beyond its tolerance."""
    faults = [fault for fault in map(channels.failing, rows) if fault]
    if faults:
        raise InputError(
            f"--passed, but {'; '.join(faults)}. A {word} beyond its tolerance did not pass: record it "
            "with --failed, or check the numbers."
        )


def check_until(valid_until: date | None, moment: datetime, zone: str | None, word: str) -> None:
    """Refuse a last day that lies before the day it was done."""
    if valid_until is None:
        return
    done_on = moment.astimezone(ZoneInfo(zone or "UTC")).date()
    if valid_until < done_on:
        raise InputError(
            f"--valid-until {valid_until} lies before the {word} itself ({done_on}). Check both."
        )


def paper_content(path: Path | None) -> bytes | None:
    """Read the paper of a calibration; None where there is none."""
    if path is None:
        return None
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"--paper: the file {path} does not exist. Check the path.") from None
    except OSError as error:
        raise InputError(f"--paper: {path} cannot be read: {error.strerror or error}.") from None
    if not content:
        raise InputError(f"--paper: the file {path} is empty. Give the certificate itself.")
    if len(content) > _LARGEST_PAPER_BYTES:
        raise InputError(
            f"--paper: {path} has {len(content)} bytes. Give a file of at most "
            f"{_LARGEST_PAPER_BYTES} bytes."
        )
    return content


def remarks_on(
    instrument: Instrument, record: Calibration, now: datetime, zone: str | None
) -> list[str]:
    """Say what was taken on one's word, and what follows."""
    remarks = []
    if not record.rows:
        remarks.append(
            "No values are on record (--row): only the word how it ended."
            + ("" if record.paper_sha256 else " Keep its paper with it (--paper FILE).")
        )
    elif record.passed:
        open_rows = [row.analyte for row in record.rows if row.tolerance is None]
        if open_rows:
            remarks.append(
                f"No tolerance is stated for {', '.join(dict.fromkeys(open_rows))}: that it passed was "
                "taken on your word."
            )
        covered = {row.analyte for row in record.rows}
        missing = [
            ANALYTES[key].name
            for key in dict.fromkeys(one.analyte for one in instrument.channels)
            if key not in covered
        ]
        if missing:
            remarks.append(
                f"There is no row for {', '.join(missing)}. Check that the {WORDS[record.kind]} "
                "covered the whole instrument."
            )
    today = now.astimezone(ZoneInfo(zone or "UTC")).date()
    if record.passed and record.valid_until is not None and record.valid_until < today:
        remarks.append(f"It ended on {shape.day(record.valid_until)} and covers nothing since.")
    if not record.passed:
        remarks.append(
            f"What {instrument.name} measured since its last good check is in doubt, and what it "
            "measures from now on proves nothing."
        )
    return remarks


def told(record: Calibration) -> list[str]:
    """Say what its channels showed, and what else is kept with it."""
    said = [channels.row_words(row) for row in record.rows]
    if record.paper_sha256:
        said.append("its paper is kept ('lungwort instrument paper ID --to FILE')")
    if record.note:
        said.append(record.note)
    return said
