"""The evidence pack of a supply: gathered from the record, proved, written, and checked."""

from __future__ import annotations

import hashlib
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.opening import opened, site_of
from lungwort.jobs.pack_choice import (
    Choice,
    Kept,
    chosen,
    digests_in,
    latest,
    read_journal,
    standing,
)
from lungwort.register.merkle import Tree, leaf_hash
from lungwort.register.model import Certificate, Supply

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from zoneinfo import ZoneInfo

    import polars as pl

    from lungwort.jobs.opening import Where
    from lungwort.paper.pack import Member, PackSheet, ProvedHead
    from lungwort.register.model import TreeHead
    from lungwort.register.workspace import Workspace

TIME_KNOWN: Final = "time known"
"""Heading in the CSV: whether the time of a reading can be trusted."""

_PDF: Final = b"%PDF-"


@frozen(kw_only=True)
class Request:
    """Which pack is asked for.

    Parameters
    ----------
    supply : str
        Name or id of the supply.
    target : Path
        Where the ZIP goes; an existing one is replaced.
    begin, end : str, optional
        First and last day, as ``2026-03-04``, in the site's zone; all if not given.
    certificate : str, optional
        Number of the one certificate that it is about.
    heads : tuple of str
        Heads that the inspector holds, ``SIZE:ROOT``: the pack then proves that the journal goes on
        from them.
    """

    supply: str
    target: Path
    begin: str | None = None
    end: str | None = None
    certificate: str | None = None
    heads: tuple[str, ...] = ()


@frozen(kw_only=True)
class Packed:
    """What was handed over.

    Parameters
    ----------
    path : str
        The ZIP.
    sha256 : str
        Its digest.
    size_bytes : int
        Its size [bytes].
    supply, site, period : str
        Of what it is.
    files, entries : int
        How many it holds [1].
    certificates : tuple of (str, str)
        Number, and what is to be said of it.
    standing : tuple of str
        State of the supply and open findings.
    log_imports, hand_tests, verdicts : int
        How many it holds [1].
    head : str
        Head of the journal, ``SIZE:ROOT``.
    proves_not : tuple of str
        What it does not prove.
    """

    path: str
    sha256: str
    size_bytes: int
    supply: str
    site: str
    period: str
    files: int
    entries: int
    certificates: tuple[tuple[str, str], ...]
    standing: tuple[str, ...]
    log_imports: int
    hand_tests: int
    verdicts: int
    head: str
    proves_not: tuple[str, ...]


def pack(where: Where, request: Request, *, now: datetime) -> Packed:
    """Make the evidence pack of a supply. Nothing in the record is changed.

    Parameters
    ----------
    where : Where
        Which workspace.
    request : Request
        Which pack.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Packed
        What was handed over.

    Raises
    ------
    InputError
        Where a day or a head cannot be read, or there is nothing to hand over.
    UnknownRecordError
        Where there is no such supply or certificate.
    RegisterError
        Where a file is missing or altered, or the pack does not pass its own check.
    OutputError
        Where it could not be written.
    """
    from lungwort.paper.pack import pack_members, write_pack  # noqa: PLC0415 - only here
    from lungwort.paper.verify_pack import PROVES_NOT  # noqa: PLC0415 - only here
    from lungwort.paper.write import checked  # noqa: PLC0415 - only here

    checked(request.target)
    with opened(where, read_only=True) as workspace, tempfile.TemporaryDirectory() as scratch:
        sheet, entries, files = _gathered(workspace, request, now, Path(scratch))
        members = pack_members(sheet, files)
        path = write_pack(members, request.target, now, _refuse_unsound)
    kinds = [one.kind for one in latest(entries)]
    return Packed(
        path=str(path),
        sha256=_digest(path),
        size_bytes=path.stat().st_size,
        supply=sheet.supply,
        site=sheet.site,
        period=sheet.period,
        files=len(members),
        entries=len(entries),
        certificates=sheet.certificates,
        standing=sheet.standing,
        log_imports=kinds.count("log_import"),
        hand_tests=kinds.count("hand_test"),
        verdicts=kinds.count("verdict"),
        head=f"{sheet.tree_size}:{sheet.tree_root}",
        proves_not=PROVES_NOT,
    )


def as_json(packed: Packed) -> dict[str, Any]:
    """Bring what was handed over to plain JSON values.

    Parameters
    ----------
    packed : Packed
        What was handed over.

    Returns
    -------
    dict
        One JSON object.
    """
    return {
        "pack": packed.path,
        "sha256": packed.sha256,
        "size_bytes": packed.size_bytes,
        "supply": packed.supply,
        "site": packed.site,
        "period": packed.period,
        "files": packed.files,
        "entries": packed.entries,
        "certificates": [{"number": number, "says": says} for number, says in packed.certificates],
        "standing": list(packed.standing),
        "log_imports": packed.log_imports,
        "hand_tests": packed.hand_tests,
        "verdicts": packed.verdicts,
        "head": packed.head,
        "proves_not": list(packed.proves_not),
    }


def _gathered(
    workspace: Workspace, request: Request, now: datetime, scratch: Path
) -> tuple[PackSheet, list[Kept], list[Member]]:
    from lungwort import __version__  # noqa: PLC0415 - the package imports rooms
    from lungwort.logs.times import zone_info  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.pack import PackSheet, ProvedEntry  # noqa: PLC0415 - only here

    register = workspace.register
    supply = register.get(Supply, request.supply)
    site = site_of(register, supply)
    begin, end = _days(request, zone_info(site.zone))
    certificate = None
    if request.certificate is not None:
        certificate = register.get(Certificate, request.certificate)
        if certificate.supply_id != supply.id:
            raise InputError(
                f"The certificate {certificate.number} is of another supply than {supply.name}. Name "
                "the supply that it is of."
            )
    journal = read_journal(register.entries())
    choice = Choice(supply.id, begin, end, None if certificate is None else certificate.id)
    entries = chosen(journal, choice)
    tree = Tree(leaf_hash(one.content.encode("utf-8")) for one in journal)
    files, tables = _files(workspace, entries, scratch)
    sheet = PackSheet(
        workspace=workspace.name,
        site=site.title or site.name,
        supply=supply.title or supply.name,
        period=_period(request, certificate),
        made_at=now,
        program_version=__version__,
        tree_size=tree.size,
        tree_root=tree.root().hex(),
        entries=tuple(
            ProvedEntry(
                seq=one.seq,
                kind=one.kind,
                id=one.id,
                version=one.version,
                content=one.content,
                record=one.record,
                path=tuple(step.hex() for step in tree.inclusion(one.seq - 1)),
            )
            for one in entries
        ),
        heads=tuple(_heads(entries, tree, request.heads)),
        tables=tuple(tables),
        certificates=tuple(_certificates(entries)),
        standing=tuple(standing(entries)),
    )
    return sheet, entries, files


def _days(request: Request, zone: ZoneInfo) -> tuple[datetime | None, datetime | None]:
    first, last = _day(request.begin, "--from"), _day(request.end, "--to-date")
    if first is not None and last is not None and first > last:
        raise InputError(f"--from {first} lies after --to-date {last}. Give the earlier day first.")
    if request.certificate is not None and (first is not None or last is not None):
        raise InputError(
            "A pack is either of one certificate or of a period. Give --certificate, or --from and "
            "--to-date."
        )
    return (
        None if first is None else _midnight(first, zone),
        None if last is None else _midnight(last + timedelta(days=1), zone),
    )


def _day(text: str | None, option: str) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f"{option} {text!r} is no day. Write it year first, like '2026-03-04'."
        ) from error


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)


def _period(request: Request, certificate: Certificate | None) -> str:
    if certificate is not None:
        return f"certificate {certificate.number}"
    if request.begin is None and request.end is None:
        return "all that is on record"
    said = [f"from {request.begin.strip()}"] if request.begin else []
    said += [f"to {request.end.strip()}"] if request.end else []
    return " ".join(said)


def _heads(entries: Sequence[Kept], tree: Tree, asked: Sequence[str]) -> Iterator[ProvedHead]:
    from lungwort.jobs.verify import parse_head  # noqa: PLC0415 - only here
    from lungwort.paper.pack import ProvedHead  # noqa: PLC0415 - only here

    wanted: dict[int, str] = {}
    for head in map(parse_head, asked):
        _check_head(head, tree)
        wanted[head.size] = head.root
    for one in entries:
        if one.kind == "certificate":
            wanted.setdefault(one.record["tree_size"], one.record["tree_root"])
    for size, root in sorted(wanted.items()):
        path = tuple(step.hex() for step in tree.consistency(size))
        yield ProvedHead(size=size, root=root, path=path)


def _check_head(head: TreeHead, tree: Tree) -> None:
    if not 0 < head.size <= tree.size or tree.root(head.size).hex() != head.root:
        raise RegisterError(
            f"The journal of this workspace never had the head {head.size}:{head.root}: it belongs "
            "to another record, or this one was altered. Run 'lungwort verify --head "
            f"{head.size}:{head.root}'."
        )


def _certificates(entries: Sequence[Kept]) -> Iterator[tuple[str, str]]:
    for one in latest(entries):
        if one.kind == "certificate":
            record = one.record
            issued = record["issued_at"][:10]
            said = f"issued {issued}, carries the head {record['tree_size']}:{record['tree_root']}"
            if record["voided"]:
                said = f"VOIDED, COUNTS NO MORE ({record['reason']}); {said}"
            yield record["number"], said


def _files(
    workspace: Workspace, entries: Sequence[Kept], scratch: Path
) -> tuple[list[Member], list[tuple[str, str]]]:
    from lungwort.paper.pack import Member  # noqa: PLC0415 - only here

    found: dict[str, Member] = {}
    paths: set[str] = set()
    tables: list[tuple[str, str]] = []

    def take(digest: str, content: bytes | Path, path: str, about: str) -> None:
        if digest in found:
            return
        if path in paths:
            stem, dot, ending = path.rpartition(".")
            path = f"{stem}-{digest[:8]}{dot}{ending}"
        paths.add(path)
        found[digest] = Member(path, content, about)

    for one in reversed(entries):
        # The newest version first: it gets the plain name.
        for name, digest in digests_in(one.record):
            kept = workspace.file_path(digest)
            content: bytes | Path = kept
            if one.kind == "log_import" and name not in {"recipe_sha256", "log_sha256"}:
                _check_file(kept, digest)
            else:
                content = workspace.read_file(digest)
            take(digest, content, *_place(one, name, digest, content))
        if one.kind == "log_import":
            for part in one.record["parts"]:
                path = workspace.folder.joinpath(*part["path"].split("/"))
                _check_file(path, part["sha256"])
                month = part["path"].split("/")[-2].removeprefix("month=")
                name = f"readings/{one.id}/{month}-{part['sha256'][:16]}.parquet"
                take(part["sha256"], path, name, f"readings of {month}, {part['rows']} rows")
            if one.record["parts"]:
                table = _table(workspace, one, scratch)
                path_in_pack = f"readings/{one.id}/readings.csv"
                take(_digest(table), table, path_in_pack, "the same readings, for people")
                tables.append((f"{one.id}-{one.version}", found[_digest(table)].path))
    return sorted(found.values(), key=lambda member: member.path), sorted(tables)


def _place(one: Kept, name: str, digest: str, content: bytes | Path) -> tuple[str, str]:
    from lungwort.paper.pack import safe_name  # noqa: PLC0415 - only here

    if one.kind == "certificate" and name == "pdf_sha256":
        number = one.record["number"]
        return f"certificates/{safe_name(number)}.pdf", f"certificate {number}"
    if name == "result_sha256":
        verdict = one.id if one.kind == "verdict" else one.record["verdict_id"]
        return f"results/{verdict}.json", "what was found, limit by limit"
    if name == "inputs_sha256":
        return f"inputs/{one.id}.json", "what the verdict was drawn from"
    if name == "recipe_sha256":
        return f"readings/{one.id}/recipe.toml", "how the logger's files were read"
    if name == "log_sha256":
        return f"readings/{one.id}/log.json", "all of the log but its readings"
    if name == "procedure_sha256":
        return f"procedures/{digest[:16]}.toml", f"procedure {one.record['procedure']}"
    if name == "photo_sha256":
        ending = one.record["media_type"].partition("/")[2].replace("jpeg", "jpg")
        return (
            f"photos/{one.id}-{one.version}.{ending}",
            f"photo, step {one.record['step'] or 'none'}",
        )
    if one.kind == "log_import":
        return f"logger-files/{one.id}/{digest[:8]}-{safe_name(name)}", "as the logger wrote it"
    ending = "pdf" if isinstance(content, bytes) and content.startswith(_PDF) else "bin"
    return f"papers/{one.id}.{ending}", f"paper of the {one.kind.replace('_', ' ')}"


def _table(workspace: Workspace, one: Kept, scratch: Path) -> Path:
    import polars as pl  # noqa: PLC0415 - heavy, and only needed here

    from lungwort.register.logdoc import read_document  # noqa: PLC0415 - only here

    facts, _ = read_document(workspace.read_file(one.record["log_sha256"]), f"The log of {one.id}")
    units = {
        channel.name: f"{channel.name} ({channel.quantity.replace('_', ' ')}) [{channel.unit}]"
        for channel in facts.channels
    }
    path = scratch / f"{one.id}-{one.version}.csv"
    try:
        frame = pl.concat(
            [_marked(workspace, part["path"]) for part in one.record["parts"]],
            how="diagonal_relaxed",
        )
        named = {
            name: units.get(name, "time [UTC]" if name == "time" else name)
            for name in frame.collect_schema().names()
        }
        frame.rename(named).sink_csv(path, datetime_format="%Y-%m-%dT%H:%M:%S%.6fZ")
    except pl.exceptions.PolarsError as error:
        raise RegisterError(
            f"The readings of {one.id} cannot be read ({error}). Run 'lungwort verify'."
        ) from error
    return path


def _marked(workspace: Workspace, part: str) -> pl.LazyFrame:
    # Readings of a clock that was wrong must not be taken for readings of that time.
    import polars as pl  # noqa: PLC0415 - heavy, and only needed here

    from lungwort.register.parts import UNPLACED  # noqa: PLC0415 - only here

    names = part.split("/")
    known = "no" if UNPLACED in names else "yes"
    return pl.scan_parquet(workspace.folder.joinpath(*names)).with_columns(
        pl.lit(known).alias(TIME_KNOWN)
    )


def _check_file(path: Path, digest: str) -> None:
    try:
        found = _digest(path)
    except OSError as error:
        raise RegisterError(
            f"The file {path} cannot be read ({error.strerror or error}). Run 'lungwort verify', and "
            "take it from a backup."
        ) from error
    if found != digest:
        raise RegisterError(
            f"The file {path} was altered: its SHA-256 is {found}, and {digest} was recorded. Run "
            "'lungwort verify', and take it from a backup."
        )


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refuse_unsound(path: Path) -> None:
    # Nobody is handed a pack that would not pass.
    from lungwort.paper.verify_pack import check  # noqa: PLC0415 - only here

    report = check(path)
    if report.problems:
        where, what = report.problems[0]
        raise RegisterError(
            f"The pack would not pass its own check: {where}: {what} Nothing was written. Run "
            "'lungwort verify' to see what does not fit in the record."
        )
