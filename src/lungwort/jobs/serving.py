"""The job of serving: where it may be done, and whether somebody does it already."""

from __future__ import annotations

import ipaddress
import json
import os
import socket
import ssl
from http import HTTPStatus
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Final

from attrs import frozen

from lungwort.errors import InputError, WorkspaceError
from lungwort.jobs import account
from lungwort.jobs.opening import Where, opened

SERVER_FILE: Final = "lungwort-server.json"
"""Says in the folder of the workspace which server runs on it."""

ALIVE: Final = "/alive"
"""Address at which a server tells its mark."""

LARGEST_PORT: Final = 65_535
_ASK_SECONDS: Final = 2
_LONGEST_ANSWER: Final = 200
_EVERYWHERE: Final = frozenset({"0.0.0.0", "::"})  # noqa: S104 - compared, not bound


@frozen(kw_only=True)
class Stand:
    """Where a server is to listen, and for whom.

    Parameters
    ----------
    workspace : Path, optional
        Folder of the workspace; None where there is none yet.
    title : str
        What the workspace is called.
    host : str
        Address to listen on.
    port : int
        Port to listen on; 0 for a free one.
    names : frozenset of str
        Further names under which browsers reach it.
    certificate, key : Path, optional
        Files for HTTPS.
    proxy : str, optional
        Address of the proxy before it; None where there is none.
    exposed : bool
        Whether others than this computer reach it.
    """

    workspace: Path | None
    title: str
    host: str
    port: int
    names: frozenset[str] = frozenset()
    certificate: Path | None = None
    key: Path | None = None
    proxy: str | None = None
    exposed: bool = False

    @property
    def secure(self) -> bool:
        """Whether browsers reach it by HTTPS."""
        return self.certificate is not None or self.proxy is not None


def prepare(
    where: Where,
    *,
    host: str,
    port: int,
    names: tuple[str, ...] = (),
    certificate: Path | None = None,
    key: Path | None = None,
    behind_proxy: bool = False,
    proxy: str | None = None,
) -> Stand:
    """Check whether a server may be started so.

    Parameters
    ----------
    where : Where
        Which workspace.
    host : str
        Address to listen on.
    port : int
        Port to listen on; 0 for a free one.
    names : tuple of str
        Further names under which browsers reach it.
    certificate, key : Path, optional
        Files for HTTPS.
    behind_proxy : bool
        Whether a proxy that speaks HTTPS stands before it.
    proxy : str, optional
        Address of that proxy; this computer's own where none is given.

    Returns
    -------
    Stand
        Where it is to listen.

    Raises
    ------
    InputError
        Where it may not be started so: on a network without accounts or without HTTPS.
    WorkspaceError
        Where the workspace cannot be used.
    """
    if not 0 <= port <= LARGEST_PORT:
        raise InputError(f"--port {port} is no port: give 0 to {LARGEST_PORT}.")
    if (certificate is None) != (key is None):
        raise InputError("--certificate and --key belong together: give both.")
    if certificate is not None and key is not None:
        _check_certificate(certificate, key)
    if proxy is not None and not behind_proxy:
        raise InputError("--proxy-address has a meaning only with --behind-proxy.")
    folder, title = _workspace(where)
    exposed = behind_proxy or not is_loopback(host)
    if exposed:
        _check_exposed(where, folder, host, names, secure=certificate is not None or behind_proxy)
    if behind_proxy and not names:
        raise InputError("Say with --public-name under which name browsers reach the proxy.")
    return Stand(
        workspace=folder,
        title=title,
        host=host,
        port=port,
        names=frozenset(name.strip().lower() for name in names),
        certificate=certificate,
        key=key,
        proxy=(proxy or "127.0.0.1") if behind_proxy else None,
        exposed=exposed,
    )


def is_loopback(host: str) -> bool:
    """Tell whether only this computer reaches an address.

    Parameters
    ----------
    host : str
        The address.

    Returns
    -------
    bool
        True for ``localhost``, 127.0.0.0/8 and ::1.
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _check_exposed(
    where: Where, folder: Path | None, host: str, names: tuple[str, ...], *, secure: bool
) -> None:
    told = f"On {host} others than this computer reach the server"
    if folder is None:
        raise InputError(
            f"{told}, and there is no workspace yet. Make one first: start without --host, or "
            "use 'lungwort workspace create'."
        )
    if not account.exist(Where(workspace=folder, start=where.start)):
        raise InputError(
            f"{told}, so everybody must sign in, and there are no accounts. Make the first with "
            "'lungwort account add PERSON --role keep'."
        )
    if not secure:
        raise InputError(
            f"{told}, and without HTTPS passwords could be read on the way. Give --certificate "
            "and --key, or put a proxy that speaks HTTPS before it and give --behind-proxy."
        )
    if host in _EVERYWHERE and not names:
        raise InputError(
            f"--host {host} means all addresses of this computer. Say with --public-name under "
            "which name or address browsers reach it; repeat as needed."
        )


def _check_certificate(certificate: Path, key: Path) -> None:
    for option, file in (("--certificate", certificate), ("--key", key)):
        if not file.is_file():
            raise InputError(f"{option} {file} is no file.")
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(
            certificate, key, password=_no_password
        )
    except (ssl.SSLError, OSError, ValueError) as error:
        raise InputError(
            f"--certificate {certificate} and --key {key} cannot be used together: {error}. "
            "Both must be PEM files that belong together, the key without a password."
        ) from error


def _no_password() -> str:
    return ""


def _workspace(where: Where) -> tuple[Path | None, str]:
    from lungwort.register.workspace import find_workspace  # noqa: PLC0415 - keeps --help instant

    folder = where.workspace
    if folder is None:
        try:
            folder = find_workspace(where.start or Path.cwd())
        except WorkspaceError:
            # Without one the server still starts: its first page makes one.
            return None, ""
    with opened(folder, read_only=True) as workspace:
        return workspace.folder, workspace.name


def listen(stand: Stand) -> socket.socket:
    """Take the port.

    Parameters
    ----------
    stand : Stand
        Where to listen.

    Returns
    -------
    socket.socket
        Bound, not listening yet.

    Raises
    ------
    InputError
        Where the port is taken or the address is not this computer's.
    """
    host = stand.host.strip("[]")
    try:
        # The protocol must be named: asyncio sends small pieces without delay (TCP_NODELAY) only
        # where the socket says that it is TCP. Otherwise each answer takes 40 ms longer.
        family, kind, protocol, _, address = socket.getaddrinfo(
            host,
            stand.port,
            type=socket.SOCK_STREAM,
            proto=socket.IPPROTO_TCP,
            flags=socket.AI_PASSIVE,
        )[0]
    except OSError as error:
        raise InputError(f"--host {stand.host} is no address: {error.strerror}.") from error
    made = socket.socket(family, kind, protocol)
    if os.name == "posix":
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    elif hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
        made.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    try:
        made.bind(address)
    except PermissionError as error:
        made.close()
        raise InputError(
            f"The system does not let this user listen on port {stand.port}. Give another --port."
        ) from error
    except OSError as error:
        made.close()
        raise InputError(
            f"Nothing can listen on {stand.host}, port {stand.port}: {error.strerror}. Another "
            "program may use it (a lungwort that runs already?). Give another --port, or 0 for "
            "any that is free."
        ) from error
    return made


def announce(folder: Path, *, port: int, mark: str) -> None:
    """Write down which server runs on a workspace.

    Parameters
    ----------
    folder : Path
        Folder of the workspace.
    port : int
        Its port on this computer.
    mark : str
        What it answers at `ALIVE`.
    """
    text = json.dumps({"port": port, "pid": os.getpid(), "mark": mark}) + "\n"
    (folder / SERVER_FILE).write_text(text, encoding="utf-8")


def withdraw(folder: Path, *, mark: str) -> None:
    """Take back what `announce` wrote, unless another server wrote after it.

    Parameters
    ----------
    folder : Path
        Folder of the workspace.
    mark : str
        As it was announced.
    """
    found = _announced(folder)
    if found is not None and found[1] == mark:
        (folder / SERVER_FILE).unlink(missing_ok=True)


def running(folder: Path) -> int | None:
    """Find the port of a server that runs on a workspace on this computer.

    Parameters
    ----------
    folder : Path
        Folder of the workspace.

    Returns
    -------
    int or None
        None where none runs: also where the file was left behind by one that was broken off.
    """
    found = _announced(folder)
    if found is None:
        return None
    port, mark = found
    connection = HTTPConnection("127.0.0.1", port, timeout=_ASK_SECONDS)
    try:
        connection.request("GET", ALIVE)
        answer = connection.getresponse()
        said = answer.read(_LONGEST_ANSWER).decode("utf-8", "replace")
    except (OSError, HTTPException):
        return None
    finally:
        connection.close()
    return port if answer.status == HTTPStatus.OK and said == mark else None


def _announced(folder: Path) -> tuple[int, str] | None:
    try:
        found = json.loads((folder / SERVER_FILE).read_text(encoding="utf-8"))
        port, mark = int(found["port"]), str(found["mark"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return (port, mark) if 0 < port <= LARGEST_PORT and mark else None
