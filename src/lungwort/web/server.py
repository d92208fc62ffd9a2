"""The server: the app on a port, until it is told to end."""

from __future__ import annotations

import contextlib
import signal
import threading
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lungwort.jobs import serving
from lungwort.web.app import create_app
from lungwort.web.settings import Settings
from lungwort.web.visits import new_token

if TYPE_CHECKING:
    import socket

    from fastapi import FastAPI

    from lungwort.jobs.serving import Stand

_SHUT_SECONDS: Final = 10
_MOST_AT_ONCE: Final = 256


def app_for(stand: Stand, *, port: int, clock: Callable[[], datetime]) -> FastAPI:
    """Make the app for a place.

    Parameters
    ----------
    stand : Stand
        Where it listens, and for whom.
    port : int
        The port that it was given.
    clock : callable
        Gives the present moment, UTC.

    Returns
    -------
    fastapi.FastAPI
        The app; where others reach it, it asks everybody to sign in whatever happens.
    """
    app = create_app(
        Settings(
            workspace=stand.workspace,
            host=stand.host,
            port=port,
            names=stand.names,
            secure=stand.secure,
            clock=clock,
        )
    )
    app.state.mark = new_token()
    if stand.exposed:
        app.state.visits.always = True
        app.state.needs_sign_in = lambda: True
    return app


def run(
    stand: Stand,
    listening: socket.socket,
    *,
    clock: Callable[[], datetime],
    started: Callable[[str], None],
    used: Callable[[Path], None] = lambda _: None,
    idle_seconds: float | None = None,
) -> None:
    """Serve until the process is told to end.

    Parameters
    ----------
    stand : Stand
        Where it listens, and for whom.
    listening : socket.socket
        The port, as `lungwort.jobs.serving.listen` takes it.
    clock : callable
        Gives the present moment, UTC.
    started : callable
        Called with the address once pages can be got.
    used : callable
        Called with the folder of the workspace once it is worked on.
    idle_seconds : float, optional
        Time without a request after which it ends by itself [s]; None for never.
    """
    import uvicorn  # noqa: PLC0415 - beside its use

    port: int = listening.getsockname()[1]
    app = app_for(stand, port=port, clock=clock)
    address = _address(stand, port)

    class Server(uvicorn.Server):
        announced: Path | None = None
        requests = 0
        last = time.monotonic()

        async def startup(self, *args: Any, **more: Any) -> None:  # noqa: ANN401 - uvicorn's
            await super().startup(*args, **more)
            self.announce()
            threading.Thread(target=started, args=(address,), daemon=True).start()

        async def on_tick(self, *args: Any, **more: Any) -> bool:  # noqa: ANN401 - uvicorn's
            self.announce()
            if self.requests != self.server_state.total_requests:
                self.requests = self.server_state.total_requests
                self.last = time.monotonic()
            idle = time.monotonic() - self.last
            ended = idle_seconds is not None and idle > idle_seconds
            return await super().on_tick(*args, **more) or ended

        def announce(self) -> None:
            # The first workspace may be made while the server runs.
            folder = app.state.workspace
            if folder is not None and folder != self.announced:
                self.withdraw()
                # A folder that cannot be written can still be looked at.
                with contextlib.suppress(OSError):
                    serving.announce(folder, port=port, mark=app.state.mark)
                self.announced = folder
                used(folder)

        def withdraw(self) -> None:
            if self.announced is not None:
                serving.withdraw(self.announced, mark=app.state.mark)

    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        ws="none",
        proxy_headers=stand.proxy is not None,
        forwarded_allow_ips=stand.proxy or "",
        limit_concurrency=_MOST_AT_ONCE,
        timeout_graceful_shutdown=_SHUT_SECONDS,
        ssl_certfile=stand.certificate,
        ssl_keyfile=stand.key,
    )
    # uvicorn ends what it is doing at these signals and then raises them anew; that it was told
    # to end is no failure.
    for name in ("SIGINT", "SIGTERM", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: None)
    server = Server(config)
    try:
        server.run(sockets=[listening])
    finally:
        listening.close()
        server.withdraw()


def _address(stand: Stand, port: int) -> str:
    if stand.proxy is not None:
        return f"https://{min(stand.names)}/"
    scheme = "https" if stand.secure else "http"
    host = min(stand.names) if stand.exposed and stand.names else stand.host
    if ":" in host and not host.startswith("["):
        host = f"[{host}]"
    return f"{scheme}://{host}:{port}/"
