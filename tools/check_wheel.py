"""Build the wheel and run the demonstration from it, away from the checkout.

A wheel that lacks the limit sets, the templates or the fonts works in an editable checkout and
nowhere else; this is where it shows.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MUST_HOLD = (".toml", ".typ", ".json", "py.typed")


def main() -> int:
    """Build, unpack, run.

    Returns
    -------
    int
        0 where the demonstration ran from the wheel.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pip = [sys.executable, "-m", "pip"]
        words = [*pip, "wheel", "--quiet", "--no-deps", "--wheel-dir", str(folder), str(ROOT)]
        subprocess.run(words, check=True)  # noqa: S603 - our own words
        (wheel,) = folder.glob("*.whl")
        site = folder / "site"
        with zipfile.ZipFile(wheel) as archive:
            held = archive.namelist()
            archive.extractall(site)
        for ending in MUST_HOLD:
            if not any(one.endswith(ending) for one in held):
                sys.stderr.write(f"the wheel holds no {ending}\n")
                return 1
        environment = {**os.environ, "PYTHONPATH": str(site), "PYTHONSAFEPATH": "1"}
        where = "import lungwort, sys; sys.stdout.write(lungwort.__file__)"
        found = subprocess.run(  # noqa: S603 - our own words
            [sys.executable, "-c", where],
            check=True,
            env=environment,
            cwd=folder,
            capture_output=True,
            text=True,
        ).stdout
        if not Path(found).is_relative_to(site):
            sys.stderr.write(f"the wheel was not used but {found}\n")
            return 1
        done = subprocess.run(  # noqa: S603 - our own words
            [sys.executable, "-m", "lungwort", "demo", str(folder / "demo")],
            check=False,
            env=environment,
            cwd=folder,
            stdout=subprocess.DEVNULL,
        )
        return done.returncode


if __name__ == "__main__":
    sys.exit(main())
