"""The evidence pack: one ZIP that an inspector can check without lungwort.

What goes into it is worked out here from plain data; `lungwort.paper.verify_pack` is the script
that goes with it and that checks it.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
from datetime import UTC
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from attrs import frozen

from lungwort.errors import OutputError
from lungwort.paper.verify_pack import (
    MANIFEST,
    MANIFEST_DIGEST,
    PACK_FORMAT,
    PROOFS,
    PROVES,
    PROVES_NOT,
)
from lungwort.paper.write import checked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

README: Final = "README.txt"
SCRIPT: Final = "verify_pack.py"

_WIDTH: Final = 90
_PACKED_ALREADY: Final = (".parquet", ".pdf")
_LONGEST_NAME: Final = 80
_FIRST_YEAR: Final = 1980


@frozen
class Member:
    """One file of the pack.

    Parameters
    ----------
    path : str
        Its path in the pack, with ``/``.
    content : bytes or Path
        What it holds, or where that lies.
    about : str
        What it is, in words.
    """

    path: str
    content: bytes | Path
    about: str


@frozen
class ProvedEntry:
    """An entry of the journal with the proof that it stands there.

    Parameters
    ----------
    seq : int
        Its number.
    kind, id : str
        Kind and thing.
    version : int
        Version that it recorded.
    content : str
        The entry in canonical JSON.
    record : dict
        The record in it.
    path : tuple of str
        Audit path to the pack's head, hexadecimal.
    """

    seq: int
    kind: str
    id: str
    version: int
    content: str
    record: dict[str, Any]
    path: tuple[str, ...]


@frozen
class ProvedHead:
    """An earlier head with the proof that the pack's head goes on from it.

    Parameters
    ----------
    size : int
        Entries [1].
    root : str
        Root, hexadecimal.
    path : tuple of str
        Consistency proof, hexadecimal.
    """

    size: int
    root: str
    path: tuple[str, ...]


@frozen(kw_only=True)
class PackSheet:
    """What the pack says of itself.

    Parameters
    ----------
    workspace, site, supply : str
        Of what it is.
    period : str
        Which period it covers, in words.
    made_at : datetime
        When it is made, with a time zone.
    program_version : str
        Version of lungwort that makes it.
    tree_size : int
        Entries of the journal [1].
    tree_root : str
        Head over them, hexadecimal.
    entries : tuple of ProvedEntry
        The entries handed over.
    heads : tuple of ProvedHead
        Heads of certificates, and others that were asked for.
    tables : tuple of (str, str)
        Id and version of an import, such as ``log-import-…-1``, and the path of its CSV.
    certificates : tuple of (str, str)
        Number, and what is to be said of it.
    standing : tuple of str
        What whoever reads a certificate must know besides: state of the supply, open findings.
    """

    workspace: str
    site: str
    supply: str
    period: str
    made_at: datetime
    program_version: str
    tree_size: int
    tree_root: str
    entries: tuple[ProvedEntry, ...]
    heads: tuple[ProvedHead, ...] = ()
    tables: tuple[tuple[str, str], ...] = ()
    certificates: tuple[tuple[str, str], ...] = ()
    standing: tuple[str, ...] = ()


def pack_members(sheet: PackSheet, files: Sequence[Member]) -> tuple[Member, ...]:
    """Put together all files of the pack.

    Parameters
    ----------
    sheet : PackSheet
        What it says of itself.
    files : sequence of Member
        Papers, results, readings, loggers' files; each path once.

    Returns
    -------
    tuple of Member
        In the order in which they lie in the ZIP; the same for the same input.

    Raises
    ------
    OutputError
        Where a file cannot be read.
    """
    own = [
        Member(README, _readme(sheet).encode("utf-8"), "what this is and how to check it"),
        Member(SCRIPT, script(), "checks this pack with Python alone"),
        Member(PROOFS, _json(_proofs(sheet)), "proofs that the entries stand in the journal"),
    ]
    for one in sheet.entries:
        own += [
            Member(entry_path(one.seq), one.content.encode("utf-8"), f"journal entry {one.seq}"),
            Member(
                f"records/{one.kind}/{one.id}-{one.version}.json",
                _json(one.record),
                f"{one.kind.replace('_', ' ')} {one.id}, version {one.version}",
            ),
        ]
    listed = [*own[:2], *sorted([*own[2:], *files], key=lambda member: member.path)]
    manifest = _json(
        {
            "format": PACK_FORMAT,
            "title": f"{sheet.supply}, {sheet.site} ({sheet.period})",
            "workspace": sheet.workspace,
            "made_at": _time(sheet.made_at),
            "program": f"lungwort {sheet.program_version}",
            "head": {"size": sheet.tree_size, "root": sheet.tree_root},
            "tables": dict(sheet.tables),
            "files": [_listed(member) for member in listed],
        }
    )
    digest = f"{hashlib.sha256(manifest).hexdigest()}  {MANIFEST}\n"
    return (
        *listed[:2],
        Member(MANIFEST, manifest, "all files with their SHA-256"),
        Member(MANIFEST_DIGEST, digest.encode("ascii"), f"SHA-256 of {MANIFEST}"),
        *listed[2:],
    )


def write_pack(
    members: Sequence[Member],
    target: Path | str,
    made_at: datetime,
    check: Callable[[Path], None] | None = None,
) -> Path:
    """Write the ZIP: whole or not at all.

    Parameters
    ----------
    members : sequence of Member
        Its files, in order.
    target : pathlib.Path or str
        Where to; an existing file is replaced.
    made_at : datetime
        Time of all files in it, with a time zone.
    check : callable, optional
        Called with the finished file before it gets its name; what it raises stops the writing.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    OutputError
        Where it could not be written.
    """
    path = checked(target)
    temporary: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=".lungwort-", suffix=".part", delete=False
        ) as file:
            temporary = Path(file.name)
            with zipfile.ZipFile(file, "w") as archive:
                for member in members:
                    _add(archive, member, made_at)
            file.flush()
            os.fsync(file.fileno())
        if check is not None:
            check(temporary)
        temporary.chmod(0o644)
        temporary.replace(path)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).rstrip(".")
        raise OutputError(
            f"{path} could not be written: {reason[:1].lower()}{reason[1:]}. Check the path and the "
            "space on the disk, or give another path."
        ) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
    return path


def script() -> bytes:
    """Give the script that checks a pack, as it goes into it.

    Returns
    -------
    bytes
        Python, UTF-8, with the same line ends everywhere.
    """
    text = resources.files("lungwort.paper").joinpath("verify_pack.py").read_text("utf-8")
    return text.replace("\r\n", "\n").encode("utf-8")


def entry_path(seq: int) -> str:
    """Give the path of a journal entry in the pack.

    Parameters
    ----------
    seq : int
        Its number.

    Returns
    -------
    str
        Such as ``journal/000012.json``.
    """
    return f"journal/{seq:06d}.json"


def safe_name(name: str) -> str:
    """Write a name so that every system takes it for the name of a file.

    Parameters
    ----------
    name : str
        Such as the number of a certificate or the name of a logger's file.

    Returns
    -------
    str
        Letters, digits, blanks, dots, hyphens, underscores; the rest percent-encoded; its end where
        it is long.

    Examples
    --------
    >>> safe_name("YARD-2026-0001"), safe_name("a/b:ä.csv")
    ('YARD-2026-0001', 'a%2Fb%3A%C3%A4.csv')
    """
    return quote(name, safe=" ", errors="surrogatepass")[-_LONGEST_NAME:].strip(" .") or "_"


def _add(archive: zipfile.ZipFile, member: Member, made_at: datetime) -> None:
    moment = made_at.astimezone(UTC)
    stamp = (
        max(moment.year, _FIRST_YEAR),
        moment.month,
        moment.day,
        moment.hour,
        moment.minute,
        moment.second // 2 * 2,
    )
    info = zipfile.ZipInfo(member.path, stamp)
    info.create_system = 3
    info.external_attr = 0o100644 << 16
    packed = member.path.endswith(_PACKED_ALREADY)
    info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    if isinstance(member.content, bytes):
        archive.writestr(info, member.content)
        return
    info.file_size = member.content.stat().st_size
    with member.content.open("rb") as source, archive.open(info, "w") as sink:
        shutil.copyfileobj(source, sink, 1 << 20)


def _listed(member: Member) -> dict[str, object]:
    if isinstance(member.content, bytes):
        digest, size = hashlib.sha256(member.content).hexdigest(), len(member.content)
    else:
        try:
            with member.content.open("rb") as file:
                digest, size = hashlib.file_digest(file, "sha256").hexdigest(), file.tell()
        except OSError as error:
            raise OutputError(
                f"{member.content} cannot be read for the pack ({error.strerror or error}). Run "
                "'lungwort verify'."
            ) from error
    return {"path": member.path, "sha256": digest, "size_bytes": size, "about": member.about}


def _proofs(sheet: PackSheet) -> dict[str, object]:
    return {
        "head": {"size": sheet.tree_size, "root": sheet.tree_root},
        "entries": [{"file": entry_path(one.seq), "path": list(one.path)} for one in sheet.entries],
        "consistency": [
            {"size": one.size, "root": one.root, "path": list(one.path)} for one in sheet.heads
        ],
    }


def _json(value: object) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def _time(moment: datetime) -> str:
    return f"{moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='seconds')}Z"


def _readme(sheet: PackSheet) -> str:
    lines = [
        "EVIDENCE PACK OF BREATHING AIR",
        "",
        f"Supply:     {sheet.supply}",
        f"Site:       {sheet.site}",
        f"Period:     {sheet.period}",
        f"Record:     {sheet.workspace}",
        f"Made:       {_time(sheet.made_at)} by lungwort {sheet.program_version}",
        f"Head:       {sheet.tree_size}:{sheet.tree_root}",
        "",
        "CERTIFICATES IN THIS PACK",
        "",
        *(
            [f"  {number}: {what}" for number, what in sheet.certificates]
            or ["  None. Nothing in this pack certifies the air."]
        ),
        "",
        *(line for one in sheet.standing for line in _filled(one, "  ! ")),
        *([""] if sheet.standing else []),
        "HOW TO CHECK IT",
        "",
        *_filled(
            "You need Python 3.8 or later and nothing else; no network is used. Unpack the ZIP, open "
            "a terminal in its folder, and type:"
        ),
        "",
        f"    python {SCRIPT}",
        "",
        *_filled(
            "It says whether everything fits. Then take a certificate on paper that was handed out "
            "at its time, and compare the head printed on it (a number, a colon, and 64 digits and "
            "letters) with the one that is shown for it, or give it:"
        ),
        "",
        f"    python {SCRIPT} --head NUMBER:DIGITS",
        "",
        *_filled(
            "Whoever alters a pack can alter the script in it, too. To be sure, take the script from "
            "another pack or from lungwort itself and give it the ZIP: "
            f"python {SCRIPT} PACK.zip"
        ),
        "",
        "WHAT IS IN IT",
        "",
        "  certificates/   certificates as they were issued (PDF)",
        "  results/        what was found, limit by limit (JSON)",
        "  inputs/         what each verdict was drawn from (JSON)",
        "  readings/       readings as CSV and as Parquet, and how they were read",
        "  logger-files/   the loggers' own files, as they came",
        "  procedures/     how tests by hand were done",
        "  papers/         papers of calibrations",
        "  records/        records: supply, outlets, tests by hand, findings … (JSON)",
        "  journal/        the entries of the journal that recorded them, byte for byte",
        f"  {PROOFS}     proofs that these entries stand in the journal",
        f"  {MANIFEST}   all files with their SHA-256; {MANIFEST_DIGEST} holds that of the list",
        "",
        *_filled(
            "In the CSV, times are UTC, each heading has its unit, and a column of flags stands beside "
            "each reading: 1 good, 2 not evaluated, 3 suspect, 4 bad, 9 missing (QARTOD). Where 'time "
            "known' says no, the logger's clock was wrong, and the time is not true. All versions "
            "of a record are there: a correction has a reason and does not take the old one away. "
            "Whole imports are handed over where they touch the period."
        ),
        "",
        "WHAT IT PROVES, WHERE THE CHECK SAYS THAT EVERYTHING FITS",
        "",
        *(line for one in PROVES for line in _filled(one, "  - ")),
        "",
        "WHAT IT DOES NOT PROVE",
        "",
        *(line for one in PROVES_NOT for line in _filled(one, "  - ")),
        "",
        *_filled(
            "The standard itself, local codes and a competent person decide whether air is fit to "
            "breathe; this pack helps them and does not replace them."
        ),
    ]
    return "\n".join(lines) + "\n"


def _filled(text: str, first: str = "") -> Iterator[str]:
    line = first
    for word in text.split():
        if len(line) + len(word) + 1 > _WIDTH:
            yield line.rstrip()
            line = " " * len(first)
        line += f"{word} "
    yield line.rstrip()
