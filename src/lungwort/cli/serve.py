"""``lungwort serve``: all of it in a browser, on this computer or on a network."""

from __future__ import annotations

import html
import importlib
import os
import sys
import tempfile
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from lungwort.cli import options as opt
from lungwort.cli import things
from lungwort.errors import LungwortError

if TYPE_CHECKING:
    from lungwort.jobs.serving import Stand

PORT: Final = 8765
_IDLE_SECONDS: Final = 24 * 3600.0
_WHERE: Final = "Where it listens"


def serve(
    workspace: opt.Workspace = None,
    host: Annotated[
        str,
        typer.Option(
            "--host",
            metavar="ADDRESS",
            help="Address to listen on; any but this computer's own needs accounts and HTTPS.",
            rich_help_panel=_WHERE,
        ),
    ] = "127.0.0.1",
    port: Annotated[
        int,
        typer.Option(
            "--port",
            metavar="N",
            help="Port to listen on; 0 for any that is free.",
            rich_help_panel=_WHERE,
        ),
    ] = PORT,
    open_: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the browser once it is ready.")
    ] = True,
    certificate: Annotated[
        Path | None,
        typer.Option(
            "--certificate",
            metavar="FILE",
            help="Certificate for HTTPS, PEM, with those that it rests on.",
            rich_help_panel=_WHERE,
        ),
    ] = None,
    key: Annotated[
        Path | None,
        typer.Option(
            "--key",
            metavar="FILE",
            help="Key of the certificate, PEM, without a password.",
            rich_help_panel=_WHERE,
        ),
    ] = None,
    behind_proxy: Annotated[
        bool,
        typer.Option(
            "--behind-proxy",
            help="A proxy that speaks HTTPS stands before it.",
            rich_help_panel=_WHERE,
        ),
    ] = False,
    proxy_address: Annotated[
        str | None,
        typer.Option(
            "--proxy-address",
            metavar="ADDRESS",
            help="Address of that proxy, where it is on another computer.",
            rich_help_panel=_WHERE,
        ),
    ] = None,
    public_name: Annotated[
        list[str] | None,
        typer.Option(
            "--public-name",
            metavar="HOST",
            help="Name or address under which browsers reach it; repeat as needed.",
            rich_help_panel=_WHERE,
        ),
    ] = None,
) -> None:
    """Open the workspace in a browser: everything that the commands do, on pages.

    On this computer alone it asks for no password, unless there are accounts. Ctrl-C ends it.

    Example: lungwort serve --workspace slipway
    """
    from lungwort.jobs import serving as job  # noqa: PLC0415 - keeps --help instant

    stand = job.prepare(
        things.where(workspace),
        host=host,
        port=port,
        names=tuple(public_name or ()),
        certificate=certificate,
        key=key,
        behind_proxy=behind_proxy,
        proxy=proxy_address,
    )

    if stand.workspace is not None and port == job.running(stand.workspace):
        # One server a workspace is enough: the one that runs is used.
        address = f"http://127.0.0.1:{port}/"
        sys.stdout.write(f"{stand.title} is open already: {address}\n")
        if open_:
            webbrowser.open(address)
        return

    def started(address: str) -> None:
        place = f"{stand.title}: " if stand.title else "No workspace yet; the page makes one: "
        sys.stdout.write(f"{place}{address}\nLeave this window open. Ctrl-C ends it.\n")
        sys.stdout.flush()
        if open_:
            webbrowser.open(address)

    _run(stand, started)


def _run(stand: Stand, started: Any, *, idle_seconds: float | None = None) -> None:  # noqa: ANN401 - a callable
    from lungwort.jobs import serving as job  # noqa: PLC0415 - keeps --help instant

    listening = job.listen(stand)
    # The two faces know nothing of each other: here stands the other's name alone.
    server = importlib.import_module("lungwort.web.server")
    server.run(
        stand,
        listening,
        clock=things.now,
        started=started,
        used=_remember,
        idle_seconds=idle_seconds,
    )


def run_windowless() -> None:
    """Open the browser on the workspace that was used last, without a terminal.

    A server that runs on it already is used; otherwise one is started on a free port of this
    computer. What goes wrong is told on a page, since there is no terminal to tell it on.
    """
    try:
        _open_last()
    except (LungwortError, OSError) as error:
        webbrowser.open(_told_on_a_page(str(error)).as_uri())
        sys.exit(2)


def _open_last() -> None:
    from lungwort.jobs import serving as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - see above

    last = _last()
    if last is not None and (port := job.running(last)) is not None:
        webbrowser.open(f"http://127.0.0.1:{port}/")
        return
    # Nothing is looked for around the folder in which a double click happens to start.
    stand = job.prepare(
        Where(workspace=last, start=Path.home() / "lungwort"), host="127.0.0.1", port=0
    )

    def started(address: str) -> None:
        webbrowser.open(address)

    # There is no window to close: it ends by itself once nobody has used it for a day.
    _run(stand, started, idle_seconds=_IDLE_SECONDS)


def _config() -> Path:
    """Give the file that holds the folder of the workspace that was used last."""
    if given := os.environ.get("LUNGWORT_CONFIG"):
        return Path(given) / "last-workspace"
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    return base / "lungwort" / "last-workspace"


def _remember(folder: Path) -> None:
    file = _config()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"{folder.resolve()}\n", encoding="utf-8")
    except OSError:
        # A convenience: that it cannot be kept is no reason to fail.
        return


def _last() -> Path | None:
    try:
        folder = Path(_config().read_text(encoding="utf-8").strip())
    except (OSError, ValueError):
        return None
    return folder if folder.is_dir() and any(folder.glob("lungwort-workspace.toml")) else None


def _told_on_a_page(words: str) -> Path:
    page = Path(tempfile.gettempdir()) / "lungwort-did-not-start.html"
    page.write_text(
        "<!doctype html><html lang=en><meta charset=utf-8><title>lungwort did not start</title>"
        f"<h1>lungwort did not start</h1><p>{html.escape(words)}</p>",
        encoding="utf-8",
    )
    return page
