"""Write a calculation as a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.paper.calculation import Calculation


def write_pdf(calculation: Calculation, path: Path) -> None:
    """Write a calculation on paper; wholly or not at all.

    Parameters
    ----------
    calculation : Calculation
        What is shown.
    path : Path
        Where to; only a PDF is written over.

    Raises
    ------
    OutputError
        Where it cannot be written.
    InputError
        Where a file of another kind stands there.
    """
    from lungwort.jobs.judge import PDF, refuse_to_replace  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.calculation_sheet import calculation_pdf  # noqa: PLC0415 - typst is heavy
    from lungwort.paper.write import checked, write_bytes  # noqa: PLC0415 - only here

    refuse_to_replace(checked(path), PDF)
    write_bytes(calculation_pdf(calculation), path)
