"""Make the pictures of the documentation from the invented site; needs pdftoppm."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from lungwort.jobs import demo

ROOT: Final = Path(__file__).resolve().parent.parent
CASE: Final = "intake-exhaust"
RESOLUTION_DPI: Final = 96
JUDGED: Final = datetime(2026, 5, 20, 18, 30, tzinfo=UTC)


def main() -> int:
    """Write docs/images/report.png.

    Returns
    -------
    int
        0 where it was written.
    """
    tool = shutil.which("pdftoppm")
    if tool is None:
        sys.stderr.write("pdftoppm is missing; install poppler-utils\n")
        return 1
    target = ROOT / "docs" / "images" / "report"
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        site = demo.write_site(Path(folder))
        shown = next(one for one in demo.judge_site(site, now=JUDGED) if one.case.key == CASE)
        words = [tool, "-r", str(RESOLUTION_DPI), "-f", "1", "-l", "1", "-singlefile", "-png"]
        subprocess.run([*words, str(shown.pdf), str(target)], check=True)  # noqa: S603 - our own words
    return 0


if __name__ == "__main__":
    sys.exit(main())
