"""Checks an evidence pack: that all of it fits together and is as the journal recorded it.

Run it with Python 3.8 or later; it needs nothing else:

    python verify_pack.py                     (inside the unpacked pack)
    python verify_pack.py PACK.zip
    python verify_pack.py PACK.zip --head 123:0a1b...   (the head printed on a certificate)

It leaves with 0 where everything fits, 1 where something does not, and 2 where there is nothing
to check. It changes nothing and opens no network connection.

References: RFC 6962 section 2.1 (hashes of the tree), RFC 9162 sections 2.1.3.2 and 2.1.4.2 (how
proofs are checked), RFC 8785 (the form of the entries).
"""

# This module goes into every pack as it stands. It may use the standard library of Python 3.8 and
# nothing of lungwort.

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import os
import re
import sys
import zipfile
import zlib
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

PACK_FORMAT = "lungwort-pack/1"
ENTRY_FORMAT = "lungwort-journal/1"
MANIFEST = "manifest.json"
MANIFEST_DIGEST = "manifest.sha256"
PROOFS = "proofs.json"
NO_FILE = "content_sha256"  # over digests and options

PROVES = (
    "Every file in the pack is the one that its list of files names.",
    (
        "Every journal entry in the pack, and every record, logger's file, result and certificate that"
        " such an entry names, is what the journal held under the head shown above."
    ),
    (
        "The journal under that head goes on from the heads that the certificates carry: nothing"
        " recorded before a certificate was changed after it."
    ),
)
PROVES_NOT = (
    (
        "That the head shown above is the true one. Whoever makes up a whole journal can make up its"
        " head. Compare the head of a certificate with the one printed on a copy that was kept outside,"
        " or give it with --head."
    ),
    (
        "That the readings and what people entered were true when they were recorded, or that the"
        " instrument was right."
    ),
    "That nothing was left out of the pack: it shows what is in it, not all there is.",
    (
        "That the readings as CSV and the texts for people to read are true copies; what is proved are"
        " the logger's own files, the Parquet files and the journal's entries."
    ),
    "That the air is fit to breathe now. A certificate speaks of the air at its time.",
)

# What operating systems leave in folders on their own.
_LEFT_BY_SYSTEMS = frozenset({".ds_store", "thumbs.db", "desktop.ini"})
_CHUNK = 1 << 20
_CODE = re.compile(
    rb"lungwort-certificate/1 \S+ sha256:([0-9a-f]{64})\s+head:(\d{1,15}):([0-9a-f]{64})"
)
_LARGEST_JSON = 64 << 20


class Source:
    """Where the pack lies: a folder, or a ZIP.

    Parameters
    ----------
    path : pathlib.Path
        The folder or the ZIP.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.problems: list[tuple[str, str]] = []
        self.remarks: list[str] = []
        self._zip: zipfile.ZipFile | None = None
        if path.is_dir():
            self.names = self._in_folder()
        else:
            self._zip = zipfile.ZipFile(path)
            self.names = self._in_zip(self._zip)

    def close(self) -> None:
        """Close the ZIP."""
        if self._zip is not None:
            self._zip.close()

    def open(self, name: str) -> IO[bytes]:
        """Open one file of the pack.

        Parameters
        ----------
        name : str
            Its path in the pack.

        Returns
        -------
        file
            Its bytes.
        """
        if self._zip is not None:
            return self._zip.open(name)
        return (self.path / name).open("rb")

    def _in_folder(self) -> set[str]:
        names = set()
        for folder, _, files in os.walk(self.path):
            for file in files:
                path = Path(folder) / file
                name = path.relative_to(self.path).as_posix()
                if file.lower() in _LEFT_BY_SYSTEMS:
                    self.remarks.append(f"{name} was left there by an operating system.")
                else:
                    names.add(name)
        return names

    def _in_zip(self, archive: zipfile.ZipFile) -> set[str]:
        names: set[str] = set()
        folders = []
        for one in archive.infolist():
            name = one.filename
            if name.startswith("/") or "\\" in name or ":" in name or ".." in name.split("/"):
                self.problems.append((name, "Its name leads out of the pack. Do not unpack it."))
            if name.endswith("/"):
                folders.append(name)
                continue
            if name in names:
                self.problems.append((name, "It is in the pack twice."))
            names.add(name)
        for folder in folders:
            if not any(name.startswith(folder) for name in names):
                self.problems.append((folder, "A folder without files was added to the pack."))
        return names


class Report:
    """What the check found.

    Parameters
    ----------
    title : str
        What the pack is of.
    """

    def __init__(self, title: str = "") -> None:
        self.title = title
        self.problems: list[tuple[str, str]] = []
        self.remarks: list[str] = []
        self.size = 0
        self.root = ""
        self.counts: dict[str, int] = {}
        self.heads: list[tuple[str, int, str]] = []

    def add(self, where: str, what: str) -> None:
        """Note that something does not fit.

        Parameters
        ----------
        where : str
            File or record.
        what : str
            A whole sentence.
        """
        if (where, what) not in self.problems:
            self.problems.append((where, what))


def leaf_hash(data: bytes) -> bytes:
    """Hash an entry into a leaf (RFC 6962, section 2.1)."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash two nodes into the one above (RFC 6962, section 2.1)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_from_inclusion(leaf: bytes, index: int, size: int, path: list[bytes]) -> bytes | None:
    """Work out the head from a leaf and its proof (RFC 9162, section 2.1.3.2).

    Parameters
    ----------
    leaf : bytes
        Hash of the leaf.
    index, size : int
        Its place, from 0, and how many leaves there are [1].
    path : list of bytes
        The proof.

    Returns
    -------
    bytes or None
        None where the proof has the wrong length.
    """
    if not 0 <= index < size:
        return None
    place, last, root = index, size - 1, leaf
    for one in path:
        if last == 0:
            return None
        if place & 1 or place == last:
            root = node_hash(one, root)
            while not place & 1 and place:
                place >>= 1
                last >>= 1
        else:
            root = node_hash(root, one)
        place >>= 1
        last >>= 1
    return root if last == 0 else None


def is_consistent(old: tuple[int, bytes], new: tuple[int, bytes], path: list[bytes]) -> bool:
    """Say whether a later head goes on from an earlier one (RFC 9162, section 2.1.4.2).

    Parameters
    ----------
    old, new : tuple of (int, bytes)
        Size and root of each.
    path : list of bytes
        The proof.

    Returns
    -------
    bool
        False also where the proof has the wrong length.
    """
    (m, root_m), (n, root_n) = old, new
    if not 0 < m <= n:
        return False
    if m == n:
        return root_m == root_n and not path
    if not path:
        return False
    hashes = path if m & (m - 1) else [root_m, *path]
    place, last = m - 1, n - 1
    while place & 1:
        place >>= 1
        last >>= 1
    first = second = hashes[0]
    for one in hashes[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            first, second = node_hash(one, first), node_hash(one, second)
            while not place & 1 and place:
                place >>= 1
                last >>= 1
        else:
            second = node_hash(second, one)
        place >>= 1
        last >>= 1
    return first == root_m and second == root_n and last == 0


def check(path: Path, known_heads: list[tuple[int, str]] | None = None) -> Report:
    """Check a pack.

    Parameters
    ----------
    path : pathlib.Path
        The unpacked folder, or the ZIP.
    known_heads : list of (int, str), optional
        Heads kept outside: size and root in hexadecimal.

    Returns
    -------
    Report
        What fits and what does not.
    """
    report = Report(str(path))
    try:
        source = Source(path)
    except (OSError, zipfile.BadZipFile, ValueError) as error:
        report.add(str(path), f"It is neither a folder nor a ZIP that can be read ({error}).")
        return report
    try:
        report.problems += source.problems
        report.remarks += source.remarks
        _check_source(source, report, known_heads or [])
    finally:
        source.close()
    return report


def _check_source(source: Source, report: Report, known_heads: list[tuple[int, str]]) -> None:
    manifest = _manifest(source, report)
    if manifest is None:
        return
    report.title = str(manifest.get("title", ""))
    digests = _check_files(source, report, manifest)
    head = manifest.get("head")
    proofs = _json(source, report, PROOFS)
    if not isinstance(proofs, dict) or not isinstance(head, dict):
        report.add(PROOFS, "It does not say under which head the entries stand.")
        return
    size, root = head.get("size"), _bytes(head.get("root"))
    if not isinstance(size, int) or root is None or proofs.get("head") != head:
        report.add(PROOFS, f"It is for another head than {MANIFEST} names.")
        return
    report.size, report.root = size, root.hex()
    entries = _check_entries(source, report, proofs, (size, root))
    _check_records(source, report, entries, digests, manifest)
    consistency = _check_certificates(source, report, entries, proofs, (size, root), digests)
    report.remarks += _standing(entries)
    report.remarks = list(dict.fromkeys(report.remarks))
    for known_size, known_root in known_heads:
        _check_known(report, (known_size, known_root), (size, root), consistency)
    report.counts = {
        "files": len(digests),
        "journal entries": len(entries),
        "certificates": sum(one["kind"] == "certificate" for one in entries.values()),
        "verdicts": sum(one["kind"] == "verdict" for one in entries.values()),
        "tests by hand": sum(one["kind"] == "hand_test" for one in entries.values()),
        "log imports": sum(one["kind"] == "log_import" for one in entries.values()),
    }


def _manifest(source: Source, report: Report) -> dict[str, Any] | None:
    content = _read(source, report, MANIFEST)
    if content is None:
        return None
    said = _read(source, report, MANIFEST_DIGEST)
    line = f"{hashlib.sha256(content).hexdigest()}  {MANIFEST}\n".encode("ascii")
    if said is not None and said.replace(b"\r\n", b"\n") != line:
        report.add(MANIFEST, f"Its SHA-256 is not the one in {MANIFEST_DIGEST}: one was altered.")
    manifest = _parsed(report, MANIFEST, content)
    if not isinstance(manifest, dict) or manifest.get("format") != PACK_FORMAT:
        report.add(MANIFEST, f"It is no list of files of the form {PACK_FORMAT}.")
        return None
    return manifest


def _check_files(source: Source, report: Report, manifest: dict[str, Any]) -> dict[str, str]:
    digests: dict[str, str] = {}
    for one in _list(manifest.get("files")):
        name, expected = (one.get("path"), one.get("sha256")) if isinstance(one, dict) else (0, 0)
        if not isinstance(name, str) or not isinstance(expected, str):
            report.add(MANIFEST, f"It has a line that names no file: {one!r}.")
            continue
        if name in digests:
            report.add(MANIFEST, f"It lists {name} twice.")
        digests[name] = expected
        if name not in source.names:
            report.add(name, "It is listed and not in the pack.")
            continue
        found = _digest(source, report, name)
        if found is not None and found != expected:
            report.add(name, f"Its SHA-256 is {found}, and {expected} is listed: it was altered.")
    for name in sorted(source.names - set(digests) - {MANIFEST, MANIFEST_DIGEST}):
        report.add(name, "It is not listed: it was added to the pack.")
    return digests


def _check_entries(
    source: Source, report: Report, proofs: dict[str, Any], head: tuple[int, bytes]
) -> dict[int, dict[str, Any]]:
    entries: dict[int, dict[str, Any]] = {}
    hashes: dict[int, str] = {}
    proved = set()
    for one in _list(proofs.get("entries")):
        name = one.get("file") if isinstance(one, dict) else None
        if not isinstance(name, str):
            report.add(PROOFS, f"It has a proof that names no file: {one!r}.")
            continue
        content = _read(source, report, name)
        if content is None:
            continue
        proved.add(name)
        entry = _parsed(report, name, content)
        if not _is_entry(entry):
            report.add(name, f"It is no journal entry of the form {ENTRY_FORMAT}.")
            continue
        seq = entry["seq"]
        path = _path(one.get("path"))
        if (
            path is None
            or root_from_inclusion(leaf_hash(content), seq - 1, head[0], path) != head[1]
        ):
            report.add(
                name, f"It is not proved to be entry {seq} of the journal under the pack's head."
            )
        if seq in entries:
            report.add(name, f"Entry {seq} is in the pack twice.")
        entries[seq] = entry
        hashes[seq] = hashlib.sha256(content).hexdigest()
    for name in sorted(source.names):
        if name.startswith("journal/") and name not in proved:
            report.add(name, "There is no proof of it.")
    for seq, entry in sorted(entries.items()):
        if seq - 1 in hashes and entry["previous"] != hashes[seq - 1]:
            report.add(f"entry {seq}", f"It does not go on from entry {seq - 1}.")
    if not entries:
        report.add(PROOFS, "It proves no entry.")
    return entries


def _is_entry(entry: Any) -> bool:  # noqa: ANN401 - whatever JSON holds
    return (
        isinstance(entry, dict)
        and entry.get("format") == ENTRY_FORMAT
        and type(entry.get("seq")) is int
        and type(entry.get("version")) is int
        and isinstance(entry.get("record"), dict)
        and all(isinstance(entry.get(name), str) for name in ("kind", "id", "previous", "time"))
    )


def _check_records(
    source: Source,
    report: Report,
    entries: dict[int, dict[str, Any]],
    digests: dict[str, str],
    manifest: dict[str, Any],
) -> None:
    there = set(digests.values())
    versions: dict[str, list[int]] = {}
    names = set()
    for seq, entry in sorted(entries.items()):
        where = f"entry {seq} ({entry['kind']} {entry['id']}, version {entry['version']})"
        versions.setdefault(entry["id"], []).append(entry["version"])
        for field, digest in _digests_named(entry["record"]):
            if digest not in there:
                report.add(where, f"No file of the pack has the digest {digest} ({field}).")
        name = f"records/{entry['kind']}/{entry['id']}-{entry['version']}.json"
        names.add(name)
        record = _json(source, report, name)
        if name in source.names and record != entry["record"]:
            report.add(name, f"It is not the record of {where}.")
        if entry["kind"] == "log_import":
            _check_csv(source, report, entry, manifest)
        if entry["kind"] == "verdict":
            _check_verdict(source, report, where, entry["record"], digests)
    for name in sorted(source.names):
        if name.startswith("records/") and name not in names:
            report.add(name, "No entry of the pack records it.")
    for thing, found in sorted(versions.items()):
        if sorted(found) != list(range(1, len(found) + 1)):
            report.add(thing, f"Versions {sorted(found)} are in the pack: some were left out.")
    for seq, entry in sorted(entries.items()):
        for field, thing in _things_named(entry["record"]):
            if thing not in versions:
                report.add(f"entry {seq}", f"It names {thing} ({field}), which is not in the pack.")


def _check_csv(
    source: Source, report: Report, entry: dict[str, Any], manifest: dict[str, Any]
) -> None:
    parts = [part for part in _list(entry["record"].get("parts")) if isinstance(part, dict)]
    expected = sum(part["rows"] for part in parts if isinstance(part.get("rows"), int))
    tables = manifest.get("tables")
    name = tables.get(f"{entry['id']}-{entry['version']}") if isinstance(tables, dict) else None
    if not isinstance(name, str):
        if parts:
            report.add(entry["id"], "Its readings are not in the pack as CSV.")
        return
    lines = 0
    with _guarded(report, name), source.open(name) as file:
        for chunk in _chunks(file):
            lines += chunk.count(b"\n")
        if lines - 1 != expected:
            report.add(name, f"It has {lines - 1} readings, and {expected} were recorded.")


def _check_verdict(
    source: Source,
    report: Report,
    where: str,
    record: dict[str, Any],
    digests: dict[str, str],
) -> None:
    name = _named(digests, record.get("result_sha256"))
    if name is None:
        return
    result = _json(source, report, name)
    if not isinstance(result, dict):
        report.add(name, f"It is no result, and {where} names it as one.")
        return
    limits = result.get("limit_set")
    if result.get("verdict") != record.get("overall"):
        report.add(name, f"Its verdict is not the one of {where}.")
    if not isinstance(limits, dict) or limits.get("digest") != record.get("limit_set_digest"):
        report.add(name, f"Its limit set is not the one of {where}.")


def _check_certificates(
    source: Source,
    report: Report,
    entries: dict[int, dict[str, Any]],
    proofs: dict[str, Any],
    head: tuple[int, bytes],
    digests: dict[str, str],
) -> dict[int, tuple[bytes, list[bytes]]]:
    proved: dict[int, tuple[bytes, list[bytes]]] = {}
    for one in _list(proofs.get("consistency")):
        if not isinstance(one, dict) or not isinstance(one.get("size"), int):
            report.add(PROOFS, f"It has a proof that names no head: {one!r}.")
            continue
        size, root = one["size"], _bytes(one.get("root"))
        path = _path(one.get("path"))
        if root is None or path is None or not is_consistent((size, root), head, path):
            report.add(
                PROOFS,
                f"The journal is not proved to go on from the head {size}:{one.get('root')}.",
            )
            continue
        proved[size] = (root, path)
    verdicts: dict[str, list[dict[str, Any]]] = {}
    for _, entry in sorted(entries.items()):
        if entry["kind"] == "verdict":
            verdicts.setdefault(entry["id"], []).append(entry["record"])
    for seq, entry in sorted(entries.items()):
        if entry["kind"] == "certificate":
            _check_certificate(source, report, seq, entry["record"], verdicts, proved, digests)
    return proved


def _check_certificate(
    source: Source,
    report: Report,
    seq: int,
    record: dict[str, Any],
    verdicts: dict[str, list[dict[str, Any]]],
    proved: dict[int, tuple[bytes, list[bytes]]],
    digests: dict[str, str],
) -> None:
    number = str(record.get("number"))
    where = f"certificate {number}"
    size, root = record.get("tree_size"), _bytes(record.get("tree_root"))
    if not isinstance(size, int) or root is None or size not in proved or proved[size][0] != root:
        report.add(where, "The journal is not proved to go on from the head that it carries.")
    elif size >= seq:
        report.add(where, f"It carries a head of {size} entries, and is itself entry {seq}.")
    else:
        head_of = (number, size, root.hex())
        if head_of not in report.heads:
            report.heads.append(head_of)
    if record.get("voided"):
        report.remarks.append(
            f"Certificate {number} was voided and counts no more: {record.get('reason')}"
        )
    of_verdict = [
        one
        for one in verdicts.get(str(record.get("verdict_id")), [])
        if one.get("result_sha256") == record.get("result_sha256")
    ]
    if not of_verdict:
        report.add(where, "Its result is not the one of the verdict that it names.")
    elif of_verdict[-1].get("overall") != "conforms":
        report.add(where, "The verdict that it names does not say that the air conforms.")
    newest = verdicts.get(str(record.get("verdict_id")), [{}])[-1]
    if newest.get("voided"):
        report.remarks.append(
            f"The verdict of certificate {number} was voided: {newest.get('reason')}"
        )
    name = _named(digests, record.get("pdf_sha256"))
    pdf = None if name is None else _read(source, report, name)
    if name is None or pdf is None:
        # Its digest is among those that no file has.
        return
    if not name.startswith("certificates/"):
        report.add(name, f"It is the paper of certificate {number}, and does not lie with them.")
    if not carries(pdf, str(record.get("result_sha256"))):
        report.add(name, "The result that it carries is not the one that was recorded.")
    shown_head = head_shown(pdf)
    if shown_head is not None and shown_head != (size, record.get("tree_root")):
        report.add(
            name, f"It shows the head {shown_head[0]}:{shown_head[1]}, not the recorded one."
        )


def _standing(entries: dict[int, dict[str, Any]]) -> Iterator[str]:
    # What a reader of a certificate must know besides.
    newest = {entry["id"]: entry for _, entry in sorted(entries.items())}
    records = [(one["kind"], one["record"]) for one in newest.values()]
    valid = [(kind, one) for kind, one in records if not one.get("voided")]
    states = [one for kind, one in valid if kind == "supply_state"]
    if states:
        last = max(states, key=lambda one: str(one.get("time")))
        yield (
            f"Newest state of the supply in this pack: {str(last.get('state')).replace('_', ' ')}, "
            f"{last.get('time')} ({str(last.get('why')).rstrip('.')})."
        )
    closed = {
        one.get("finding_id")
        for kind, one in valid
        if kind == "action" and one.get("kind") == "close"
    }
    for entry in newest.values():
        if entry["kind"] == "finding" and entry["id"] not in closed:
            finding = entry["record"]
            if not finding.get("voided"):
                yield f"Finding {finding.get('number')} is open: {finding.get('text')}"


def _check_known(
    report: Report,
    known: tuple[int, str],
    head: tuple[int, bytes],
    proved: dict[int, tuple[bytes, list[bytes]]],
) -> None:
    size, root = known
    where = f"head {size}:{root}"
    if size == head[0]:
        found = head[1]
    elif size in proved:
        found = proved[size][0]
    elif size > head[0]:
        report.add(
            where,
            f"It was kept outside, and the pack's journal ends at entry {head[0]}."
            " Ask for a newer pack.",
        )
        return
    else:
        report.add(
            where,
            "The pack holds no proof for a head of that size. Give the head of a certificate in"
            " this pack, or ask for a pack made with --head.",
        )
        return
    if found.hex() != root:
        report.add(where, f"It was kept outside, and the pack says {size}:{found.hex()}.")
    else:
        report.remarks.append(f"The head {size}:{root} that was kept outside fits.")


def carries(pdf: bytes, digest: str) -> bool:
    """Say whether a PDF holds a file with a digest.

    Parameters
    ----------
    pdf : bytes
        The PDF.
    digest : str
        SHA-256 of the file, hexadecimal.

    Returns
    -------
    bool
        True where one of its streams, packed or not, has it.
    """
    return any(hashlib.sha256(one).hexdigest() == digest for one in _streams(pdf))


def head_shown(pdf: bytes) -> tuple[int, str] | None:
    """Read the head that the QR code of a certificate shows, from the text that stands for it.

    Parameters
    ----------
    pdf : bytes
        The PDF.

    Returns
    -------
    tuple of (int, str) or None
        Size and root; None where there is no such text.
    """
    for one in (pdf, *_streams(pdf)):
        match = _CODE.search(one)
        if match is not None:
            return int(match.group(2)), match.group(3).decode("ascii")
    return None


def _streams(pdf: bytes) -> Iterator[bytes]:
    for match in re.finditer(rb"\bstream\r?\n", pdf):
        raw = pdf[match.end() : pdf.find(b"endstream", match.end())]
        try:
            yield zlib.decompressobj().decompress(raw, _LARGEST_JSON)
        except zlib.error:
            yield from (raw, raw[:-1], raw[:-2])


def _digests_named(value: Any, field: str = "") -> Iterator[tuple[str, str]]:  # noqa: ANN401 - whatever JSON holds
    # A digest over digests and options names no file.
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _digests_named(one, name)
    elif isinstance(value, list):
        for one in value:
            yield from _digests_named(one, field)
    elif isinstance(value, str) and value and field.endswith("sha256") and field != NO_FILE:
        yield field, value


def _things_named(value: Any, field: str = "") -> Iterator[tuple[str, str]]:  # noqa: ANN401 - whatever JSON holds
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _things_named(one, name)
    elif isinstance(value, list):
        for one in value:
            yield from _things_named(one, field)
    elif isinstance(value, str) and value and field.endswith(("_id", "_ids")):
        yield field, value


def _named(digests: dict[str, str], digest: Any) -> str | None:  # noqa: ANN401 - whatever JSON holds
    return next((name for name, one in sorted(digests.items()) if one == digest), None)


def _bytes(text: Any) -> bytes | None:  # noqa: ANN401 - whatever JSON holds
    if isinstance(text, str) and re.fullmatch(r"[0-9a-f]{64}", text):
        return bytes.fromhex(text)
    return None


def _path(value: Any) -> list[bytes] | None:  # noqa: ANN401 - whatever JSON holds
    steps = [_bytes(step) for step in _list(value)]
    path = [step for step in steps if step is not None]
    return path if isinstance(value, list) and len(path) == len(steps) else None


def _list(value: Any) -> list[Any]:  # noqa: ANN401 - whatever JSON holds
    return value if isinstance(value, list) else []


@contextlib.contextmanager
def _guarded(report: Report, name: str) -> Iterator[None]:
    try:
        yield
    except KeyError:
        report.add(name, "It is not in the pack.")
    except FileNotFoundError:
        report.add(name, "It is not in the pack.")
    except (OSError, EOFError, zipfile.BadZipFile, zlib.error, ValueError) as error:
        report.add(name, f"It cannot be read ({error}).")
    except (NotImplementedError, RuntimeError) as error:
        report.add(name, f"It is packed in a way that cannot be read ({error}).")


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    while True:
        chunk = file.read(_CHUNK)
        if not chunk:
            return
        yield chunk


def _digest(source: Source, report: Report, name: str) -> str | None:
    digest = hashlib.sha256()
    with _guarded(report, name), source.open(name) as file:
        for chunk in _chunks(file):
            digest.update(chunk)
        return digest.hexdigest()
    return None


def _read(source: Source, report: Report, name: str) -> bytes | None:
    if name not in source.names:
        report.add(name, "It is not in the pack.")
        return None
    with _guarded(report, name), source.open(name) as file:
        content = file.read(_LARGEST_JSON + 1)
        if len(content) > _LARGEST_JSON:
            report.add(name, "It is far larger than such a file ever is.")
            return None
        return content
    return None


def _json(source: Source, report: Report, name: str) -> Any:  # noqa: ANN401 - whatever JSON holds
    content = _read(source, report, name)
    return None if content is None else _parsed(report, name, content)


def _parsed(report: Report, name: str, content: bytes) -> Any:  # noqa: ANN401 - whatever JSON holds
    try:
        return json.loads(content.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        report.add(name, f"It is no JSON ({error}).")
        return None


def _head(text: str) -> tuple[int, str]:
    match = re.fullmatch(r"(\d{1,15}):([0-9a-fA-F]{64})", text.strip())
    if match is None:
        message = "a head is SIZE:ROOT, such as 123: and 64 hexadecimal digits"
        raise argparse.ArgumentTypeError(message)
    return int(match.group(1)), match.group(2).lower()


def shown(report: Report) -> str:
    """Write a report for people.

    Parameters
    ----------
    report : Report
        What the check found.

    Returns
    -------
    str
        Lines of text.
    """
    lines = [f"Evidence pack: {report.title}"]
    if report.counts:
        lines.append("Checked: " + ", ".join(f"{n} {what}" for what, n in report.counts.items()))
    lines += [f"Note: {one}" for one in report.remarks]
    lines += [f"DOES NOT FIT: {where}: {what}" for where, what in report.problems]
    if report.root:
        lines += ["", "Head of the journal under which the pack stands:"]
        lines.append(f"  {report.size}:{report.root}")
    if report.heads:
        lines += ["Heads that certificates carry (compare them with the printed ones):"]
        lines += [f"  {number}  {size}:{root}" for number, size, root in report.heads]
    lines.append("")
    if report.problems:
        count = len(report.problems)
        lines.append(
            f"RESULT: {count} thing{'s do' if count > 1 else ' does'} NOT FIT. "
            "Do not rely on this pack."
        )
    else:
        lines.append("RESULT: everything in this pack fits together.")
        lines += ["", "What this proves:"]
        lines += [f"  - {one}" for one in PROVES]
    lines += ["", "What it does not prove:"]
    lines += [f"  - {one}" for one in PROVES_NOT]
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Check a pack and say what was found.

    Parameters
    ----------
    arguments : list of str
        Of the command line.

    Returns
    -------
    int
        0 where everything fits, 1 where something does not, 2 where there is nothing to check.
    """
    parser = argparse.ArgumentParser(
        prog="verify_pack.py", description="Checks an evidence pack. Changes nothing."
    )
    parser.add_argument(
        "pack", nargs="?", type=Path, help="the ZIP or the unpacked folder; else this script's own"
    )
    parser.add_argument(
        "--head",
        metavar="SIZE:ROOT",
        action="append",
        type=_head,
        default=[],
        help="head kept outside, such as the one printed on a certificate; repeat as needed",
    )
    asked = parser.parse_args(arguments)
    path = asked.pack or Path(__file__).resolve().parent
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    if not path.exists():
        sys.stderr.write(f"verify_pack.py: {path} does not exist. Give the ZIP or its folder.\n")
        return 2
    report = check(path, asked.head)
    sys.stdout.write(shown(report))
    return 1 if report.problems else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
