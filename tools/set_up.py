"""Make a virtual environment with lungwort in it, with the standard library alone.

``python tools/set_up.py FOLDER try`` installs lungwort; ``test`` adds what the tests need, and
system packages through apt where root or sudo allows it; where not, it says what to install.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LEAST = (3, 11)
# The tests render reports to pictures with pdftoppm to see that something is on every page, look at
# the pages of the web app with chromium, and
# keep the record on a PostgreSQL server of their own.
SYSTEM = {"pdftoppm": "poppler-utils", "pg_ctlcluster": "postgresql", "chromium": "chromium"}


def main() -> int:
    """Set everything up.

    Returns
    -------
    int
        Exit code, 0 where all is ready.
    """
    folder, purpose = Path(sys.argv[1]), sys.argv[2]
    if sys.version_info < LEAST:
        wanted = ".".join(map(str, LEAST))
        return _fail(f"Python {wanted} or newer is needed; this is {sys.version.split()[0]}.")
    if not _environment(folder):
        return _fail("a virtual environment could not be made. Install the package python3-venv.")
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    _run([str(python), "-m", "pip", "install", "--quiet", "--upgrade", "pip>=25.1"])
    words = ["--quiet", "--editable", str(ROOT)]
    if purpose == "test":
        words += ["--group", f"{ROOT / 'pyproject.toml'}:dev"]
    _run([str(python), "-m", "pip", "install", *words])
    if purpose == "test":
        _system_packages()
        (folder / "ready-try").touch()
    (folder / f"ready-{purpose}").touch()
    return 0


def _environment(folder: Path) -> bool:
    if _made(folder):
        return True
    if _apt(["python3-venv"]):
        return _made(folder)
    return False


def _made(folder: Path) -> bool:
    if (folder / "pyvenv.cfg").exists() and any(folder.glob("*/python*")):
        return True
    done = subprocess.run([sys.executable, "-m", "venv", str(folder)], check=False)  # noqa: S603 - our own words
    return done.returncode == 0


def _system_packages() -> None:
    missing = [package for program, package in SYSTEM.items() if shutil.which(program) is None]
    if missing and not _apt(missing):
        _say(f"install these system packages for all tests to run: {', '.join(missing)}")


def _apt(packages: list[str]) -> bool:
    apt = shutil.which("apt-get")
    if apt is None:
        return False
    before: list[str] = []
    if hasattr(os, "geteuid") and os.geteuid() != 0:
        sudo = shutil.which("sudo")
        if sudo is None:
            return False
        before = [sudo, "-n"]
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for words in (
        ["update", "-qq"],
        ["install", "-y", "-qq", "--no-install-recommends", *packages],
    ):
        done = subprocess.run(  # noqa: S603 - our own words
            [*before, apt, *words], check=False, env=environment, stdout=subprocess.DEVNULL
        )
        if done.returncode != 0:
            return False
    return True


def _run(words: list[str]) -> None:
    subprocess.run(words, check=True)  # noqa: S603 - our own words


def _say(text: str) -> None:
    sys.stderr.write(f"set-up: {text}\n")


def _fail(text: str) -> int:
    _say(text)
    return 1


if __name__ == "__main__":
    sys.exit(main())
