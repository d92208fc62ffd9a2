"""What the guard goes by: limits, headers, and how names and first fields are read."""

from __future__ import annotations

import re
from collections.abc import MutableMapping
from hmac import compare_digest
from typing import Any, Final
from urllib.parse import urlsplit

from lungwort.web.visits import COOKIE

FORM_LIMIT_BYTES: Final = 64 * 1024
LONG_FORM_LIMIT_BYTES: Final = 1024 * 1024
CSRF_WINDOW_BYTES: Final = 8 * 1024
API: Final = "/api/v1"
STATIC: Final = "/static/"
UPLOAD_PATHS: Final = (
    "/logs",
    "/tests",
    "/verify",
    "/limits",
    "/findings",
    "/instruments",
    "/lots",
    "/plan",
    "/judge",
    "/outlets",
    "/supplies",
    "/certificates",
    "/packs",
    "/workspace",
    "/welcome",
    "/cause",
    "/exposure",
    "/plant",
    "/trend",
    API,
)
"""Where files are sent in: this address and all below it."""

SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})

CONTENT_SECURITY_POLICY: Final = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "font-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'"
)
HEADERS: Final = (
    (b"content-security-policy", CONTENT_SECURITY_POLICY.encode("ascii")),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (
        b"permissions-policy",
        b"camera=(self), microphone=(), geolocation=(), usb=(), serial=(), payment=()",
    ),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
STRICT_TRANSPORT: Final = (b"strict-transport-security", b"max-age=31536000")
FOR_EVER: Final = b"public, max-age=31536000, immutable"

LANGUAGE: Final = re.compile(r"[a-z]{2}")
_HOST: Final = re.compile(r"(?P<name>\[[0-9a-fA-F:.]+\]|[A-Za-z0-9._-]+)(?::(?P<port>\d{1,5}))?")


def host_name(host: str) -> str | None:
    """Take the name out of a ``Host`` header.

    Parameters
    ----------
    host : str
        The header.

    Returns
    -------
    str or None
        In small letters, without brackets and port; None where it cannot be read.

    Examples
    --------
    >>> host_name("Air.Example:8765")
    'air.example'
    >>> host_name("[::1]:8765")
    '::1'
    >>> host_name("127.0.0.1@elsewhere.example")
    """
    match = _HOST.fullmatch(host)
    return None if match is None else match["name"].strip("[]").lower()


def takes_uploads(path: str) -> bool:
    """Tell whether files are sent in at a path."""
    return any(path == one or path.startswith(f"{one}/") for one in UPLOAD_PATHS)


def is_api(path: str) -> bool:
    """Tell whether a path belongs to the interface for machines."""
    return path == API or path.startswith(f"{API}/")


def first_form_field(beginning: bytes, content_type: str) -> tuple[str, str] | None:
    """Read the first field of a multipart form from the beginning of its body.

    Parameters
    ----------
    beginning : bytes
        At least the first part as a whole.
    content_type : str
        The header, with its boundary.

    Returns
    -------
    tuple of (str, str) or None
        Name and value; None where the first part is a file or is not there as a whole.
    """
    found = re.search(r'boundary=(?:"([^"]{1,70})"|([^\s;]{1,70}))', content_type, re.IGNORECASE)
    if found is None:
        return None
    mark = b"--" + (found[1] or found[2]).encode("latin-1", "replace")
    if not beginning.startswith(mark + b"\r\n"):
        return None
    head, blank, rest = beginning[len(mark) + 2 :].partition(b"\r\n\r\n")
    value, end, _ = rest.partition(b"\r\n" + mark)
    if not blank or not end:
        return None
    named = re.search(
        rb'^content-disposition:\s*form-data;\s*name="([^"\r\n]*)"\s*$',
        head,
        re.IGNORECASE | re.MULTILINE,
    )
    if named is None:
        return None
    return named[1].decode("latin-1"), value.decode("utf-8", "replace")


def cookie_name(scope: MutableMapping[str, Any]) -> str:
    """Name the cookie of a visit.

    Browsers send a cookie to every port of a host; the port in its name keeps two servers on
    one computer from ending each other's visits.

    Parameters
    ----------
    scope : dict
        The request.

    Returns
    -------
    str
        The name.
    """
    port = (scope.get("server") or ("", None))[1]
    return COOKIE if port is None else f"{COOKIE}_{port}"


def origin(text: str) -> tuple[str, str] | None:
    """Take scheme and host out of an address.

    Parameters
    ----------
    text : str
        An ``Origin`` or ``Referer`` header.

    Returns
    -------
    tuple of (str, str) or None
        Scheme and host with port, in small letters; None where it cannot be read.

    Examples
    --------
    >>> origin("HTTP://Air.Example:8765/logs")
    ('http', 'air.example:8765')
    """
    try:
        parts = urlsplit(text)
    except ValueError:
        return None
    return (parts.scheme.lower(), parts.netloc.lower())


def same(one: str, other: str) -> bool:
    """Compare two secrets, in a time that does not tell where they differ.

    Parameters
    ----------
    one, other : str
        The secrets.

    Returns
    -------
    bool
        Whether they are the same.
    """
    return compare_digest(one.encode("utf-8"), other.encode("utf-8"))


def size_words(size_bytes: int) -> str:
    """Write a limit in whole units.

    Parameters
    ----------
    size_bytes : int
        The limit [bytes].

    Returns
    -------
    str
        Such as ``64 KiB``.
    """
    mebibyte = 1024 * 1024
    return (
        f"{size_bytes // mebibyte} MiB" if size_bytes >= mebibyte else f"{size_bytes // 1024} KiB"
    )
