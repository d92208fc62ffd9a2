"""Files that a page hands out: named, never taken for a page, never kept by a browser."""

from __future__ import annotations

from typing import Final
from urllib.parse import quote

from fastapi.responses import Response

from lungwort.web.posted import plain_name

PDF: Final = "application/pdf"
XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ZIP: Final = "application/zip"
TOML: Final = "text/plain; charset=utf-8"


def named(name: str, *, inline: bool = False) -> str:
    """Write the header that names a file.

    Parameters
    ----------
    name : str
        Its name; it may hold anything.
    inline : bool
        Whether the browser may show it instead of keeping it.

    Returns
    -------
    str
        ``Content-Disposition``, with the name in ASCII and in full (RFC 6266, section 4.3).
    """
    safe = plain_name(name)
    plain = "".join(one if one.isascii() and one not in '\\"%' else "_" for one in safe)
    way = "inline" if inline else "attachment"
    return f"{way}; filename=\"{plain}\"; filename*=UTF-8''{quote(safe, safe='')}"


def hand_out(content: bytes, name: str, media_type: str, *, inline: bool = False) -> Response:
    """Hand out a file.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        What it is called.
    media_type : str
        What it is.
    inline : bool
        Whether the browser may show it.

    Returns
    -------
    fastapi.Response
        The file.
    """
    return Response(
        content,
        media_type=media_type,
        headers={
            "Content-Disposition": named(name, inline=inline),
            "Cache-Control": "private, no-store",
        },
    )
