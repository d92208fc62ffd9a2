"""Make the pictures of the pages for the docs, from the invented year.

``python tools/screenshots.py [FOLDER]`` starts the app on an invented workspace of its own, opens
each page in chromium, and writes one picture a page, width and colour scheme to ``docs/images/web``.
"""

from __future__ import annotations

import argparse
import io
import re
import socket
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from playwright.sync_api import Page

ROOT: Final = Path(__file__).resolve().parent.parent
TARGET: Final = ROOT / "docs" / "images" / "web"
CHROMIUM: Final = "/usr/bin/chromium"
NOW: Final = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
COLOURS: Final = 128

SIZES: Final = {
    "wide": ((1280, 860), "light"),
    "wide-dark": ((1280, 860), "dark"),
    "narrow": ((360, 740), "light"),
    "narrow-dark": ((360, 740), "dark"),
}
PAGES: Final = (
    ("today", "/today"),
    ("supplies", "/supplies"),
    ("supply", "/supplies/{supply}"),
    ("readings", "/readings/{outlet}"),
    ("bring-in-a-log", "/logs/new"),
    ("tests", "/tests"),
    ("begin-a-test", "/tests/new"),
    ("judge", "/judge/{outlet}"),
    ("findings", "/findings"),
    ("finding", "/findings/{finding}"),
    ("plan", "/plan"),
    ("certificates", "/certificates"),
    ("certificate", "/certificates/{certificate}"),
    ("packs", "/packs"),
    ("verify", "/verify"),
    ("print", "/print"),
    ("limit-sets", "/limits"),
    ("compare-limit-sets", "/limits/compare?a=en12021-2014-airline&b=cga-g7-1-grade-d"),
    ("enough-air", "/plant/air?asked=1&supply=hall-compressor"),
    ("reserve", "/plant/reserve?asked=1&supply=hall-compressor"),
    ("cylinder-bank", "/plant/bank?asked=1&supply=charging-compressor"),
    ("treatment", "/plant/treatment?asked=1&supply=charging-compressor"),
    ("trend", "/trend?outlet=panel-1"),
    ("convert", "/convert"),
    ("instruments", "/instruments"),
    ("people", "/people"),
)
"""Name of the picture, and the page's address."""


def main() -> int:
    """Make all pictures.

    Returns
    -------
    int
        Exit code, 0 where every page could be shown.
    """
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=TARGET, help="where they go")
    target = parser.parse_args().folder
    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        address = _serve(Path(folder))
        return _draw(address, target)


def _serve(folder: Path) -> str:
    import uvicorn

    from lungwort.jobs.demo_year import write_year
    from lungwort.web.app import create_app
    from lungwort.web.settings import Settings

    workspace = write_year(folder, now=NOW).folder
    app = create_app(Settings(workspace=workspace, clock=lambda: NOW))
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
    threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    return f"http://127.0.0.1:{listening.getsockname()[1]}"


def _draw(address: str, target: Path) -> int:
    from playwright.sync_api import sync_playwright

    failed = 0
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for size, ((width, height), scheme) in SIZES.items():
            context = browser.new_context(
                viewport={"width": width, "height": height},
                color_scheme=scheme,  # type: ignore[arg-type]
                locale="en-GB",
                timezone_id="Europe/London",
                reduced_motion="reduce",
            )
            page = context.new_page()
            names = _names(page, address)
            for name, path in PAGES:
                answer = page.goto(address + path.format(**names))
                page.wait_for_load_state("networkidle")
                if answer is None or not answer.ok:
                    sys.stderr.write(f"{name}: {answer and answer.status}\n")
                    failed += 1
                    continue
                _write(page.screenshot(), target / f"{name}-{size}.png")
            context.close()
        browser.close()
    return 1 if failed else 0


def _names(page: Page, address: str) -> dict[str, str]:
    """Find the ids of what is shown, on the pages that lead to it."""

    def first(path: str, pattern: str) -> str:
        page.goto(address + path)
        found = re.search(pattern, page.content())
        if found is None:
            raise SystemExit(f"{path} leads to nothing that looks like {pattern}")
        return found[1]

    return {
        "supply": first("/supplies", r'href="/supplies/(supply-[a-z0-9]+)"'),
        "outlet": first("/outlets", r'href="/outlets/(outlet-[a-z0-9]+)"'),
        "finding": first("/findings?closed=yes", r'href="/findings/(F-[0-9-]+)"'),
        "certificate": first("/certificates", r'href="/certificates/([^"/?]+)"'),
    }


def _write(png: bytes, path: Path) -> None:
    """Keep a picture with few colours: a page has no more."""
    from PIL import Image

    picture = Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    picture.save(path, optimize=True)


if __name__ == "__main__":
    sys.exit(main())
