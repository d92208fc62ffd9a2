"""What records name and what lies beside the database: files, readings, certificates, verdicts."""

from __future__ import annotations

import hashlib
import json
import re
from typing import TYPE_CHECKING, Final

from lungwort import __version__
from lungwort.errors import LungwortError
from lungwort.register.convert import to_plain
from lungwort.register.model import Certificate, LogImport, VerdictRecord
from lungwort.register.papers import carries, code_of
from lungwort.register.workspace import FILES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from lungwort.register._findings import Problems
    from lungwort.register.merkle import Tree
    from lungwort.register.model import Record
    from lungwort.register.workspace import Workspace

NO_FILE: Final = "content_sha256"
"""Field that ends like the name of a digest of a file, and is one over other digests."""

READINGS: Final = "readings"
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")


class Attached:
    """The check of all that records name.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    problems : Problems
        What was found so far.
    tree : Tree
        Over the journal as it stands.
    rejudge : callable, optional
        Draws a verdict again.
    progress : callable, optional
        Called with how much is done and how much there is.
    """

    def __init__(
        self,
        workspace: Workspace,
        problems: Problems,
        tree: Tree,
        rejudge: Callable[[VerdictRecord], bytes] | None,
        progress: Callable[[int, int], None] | None,
    ) -> None:
        self.files = self.parts = self.certificates = self.verdicts = 0
        self._workspace = workspace
        self._problems = problems
        self._tree = tree
        self._rejudge = rejudge
        self._progress = progress
        self._digests: dict[str, str | None] = {}
        self._verdicts: dict[str, list[VerdictRecord]] = {}
        self._parts: set[str] = set()
        self._not_drawn: dict[str, int] = {}

    def check(self, records: Sequence[tuple[int, str, Record]]) -> None:
        """Check all records.

        Parameters
        ----------
        records : sequence of (int, str, Record)
            Number of the entry, what it is called, and what it recorded, in order.
        """
        for done, (seq, where, record) in enumerate(records):
            if self._progress is not None:
                self._progress(done, len(records))
            for field, digest in digests_named(record):
                self._file(seq, where, field, digest)
            if isinstance(record, LogImport):
                self._log_import(seq, where, record)
            elif isinstance(record, VerdictRecord):
                self._verdict(seq, where, record)
            elif isinstance(record, Certificate):
                self._certificate(seq, where, record)
        self._foreign()
        for version, count in self._not_drawn.items():
            self._problems.remarks.append(
                f"{count} verdict{'s' if count > 1 else ''} of lungwort {version} "
                f"{'were' if count > 1 else 'was'} not drawn again: this is {__version__}."
            )
        if self._progress is not None:
            self._progress(len(records), len(records))

    def _file(self, seq: int, where: str, field: str, digest: str) -> None:
        if not _DIGEST.fullmatch(digest):
            self._problems.add(where, f"Its {field} is {digest!r}, which is no digest.", seq)
            return
        if digest not in self._digests:
            self._digests[digest] = self._digest_of(self._workspace.folder / FILES / digest)
            self.files += 1
        found = self._digests[digest]
        if found != digest:
            self._problems.add(where, f"Its file {FILES}/{digest} ({field}) {_state(found)}.", seq)

    def _log_import(self, seq: int, where: str, record: LogImport) -> None:
        sound = self._digests.get(record.log_sha256) == record.log_sha256
        for part in record.parts:
            names = part.path.split("/")
            if names[0] != READINGS or ".." in names or "\\" in part.path:
                self._problems.add(where, f"It names readings outside: {part.path!r}.", seq)
                sound = False
                continue
            if part.path not in self._parts:
                self._parts.add(part.path)
                self.parts += 1
            found = self._digest_of(self._workspace.folder.joinpath(*names))
            if found != part.sha256:
                self._problems.add(where, f"Its readings {part.path} {_state(found)}.", seq)
                sound = False
        if sound:
            from lungwort.register.store import check_parts  # noqa: PLC0415 - Polars is heavy

            for what in check_parts(self._workspace, [record]):
                self._problems.add(where, what, seq)

    def _verdict(self, seq: int, where: str, record: VerdictRecord) -> None:
        self.verdicts += 1
        self._verdicts.setdefault(record.id, []).append(record)
        content = self._read(record.result_sha256)
        if content is None:
            return
        for what in _of_result(content, record):
            self._problems.add(where, what, seq)
        if self._rejudge is None:
            return
        if record.program_version != __version__:
            count = self._not_drawn.get(record.program_version, 0)
            self._not_drawn[record.program_version] = count + 1
            return
        if self._read(record.inputs_sha256) is None:
            return
        try:
            again = self._rejudge(record)
        except LungwortError as error:
            self._problems.add(where, f"It cannot be drawn again: {error}", seq)
            return
        if again != content:
            self._problems.add(
                where, "Drawn again from what it rests on, it does not give the same result.", seq
            )

    def _certificate(self, seq: int, where: str, record: Certificate) -> None:
        self.certificates += 1
        for what in self._of_certificate(seq, record):
            self._problems.add(where, what, seq)

    def _of_certificate(self, seq: int, record: Certificate) -> Iterator[str]:
        head = f"{record.tree_size}:{record.tree_root}"
        if not 0 < record.tree_size < seq:
            yield f"It carries the head {head}, and is itself entry {seq}."
        elif record.tree_size <= self._tree.size:
            found = self._tree.root(record.tree_size).hex()
            if found != record.tree_root:
                yield (
                    f"It carries the head {head}, and the journal's is {record.tree_size}:{found}: an "
                    f"entry from 1 to {record.tree_size} is not the one that was recorded."
                )
        verdicts = self._verdicts.get(record.verdict_id, [])
        same = [one for one in verdicts if one.result_sha256 == record.result_sha256]
        if not same:
            yield f"Its result is not the one of the verdict {record.verdict_id}."
        elif same[-1].overall != "conforms":
            yield f"The verdict {record.verdict_id} does not say that the air conforms."
        elif (same[-1].outlet_id, same[-1].supply_id) != (record.outlet_id, record.supply_id):
            yield f"The verdict {record.verdict_id} is of other air."
        pdf = self._read(record.pdf_sha256)
        if pdf is None:
            return
        if not carries(pdf, record.result_sha256):
            yield "The result that its PDF carries is not the one that was recorded."
        printed = code_of(pdf)
        if printed is not None and printed != (
            record.result_sha256,
            record.tree_size,
            record.tree_root,
        ):
            yield f"Its PDF shows the head {printed[1]}:{printed[2]}, and {head} was recorded."

    def _foreign(self) -> None:
        # What no record names is no alteration: a crash can leave such files.
        files = self._workspace.folder / FILES
        for path in _paths(files):
            name = path.relative_to(files).as_posix()
            if name not in self._digests:
                self._problems.remarks.append(f"No record names the file {FILES}/{name}.")
        for path in _paths(self._workspace.folder / READINGS):
            name = path.relative_to(self._workspace.folder).as_posix()
            if name not in self._parts:
                self._problems.remarks.append(f"No record names the readings {name}.")

    def _read(self, digest: str) -> bytes | None:
        # Only what was found to be as recorded.
        if self._digests.get(digest) != digest:
            return None
        try:
            return (self._workspace.folder / FILES / digest).read_bytes()
        except OSError:
            return None

    def _digest_of(self, path: Path) -> str | None:
        try:
            with path.open("rb") as file:
                return hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            return None
        except OSError as error:
            return f"cannot be read ({error.strerror or error})"


def digests_named(record: Record) -> Iterator[tuple[str, str]]:
    """List the files that a record names by their digests.

    Parameters
    ----------
    record : Record
        Of any kind.

    Yields
    ------
    tuple of (str, str)
        Field and digest; readings in the column store are not among them.
    """
    plain = to_plain(record)
    for field, value in plain.items():
        if field.endswith("sha256") and field != NO_FILE and value:
            yield field, value
    if isinstance(record, LogImport):
        for file in record.files:
            yield file.name, file.sha256


def _state(found: str | None) -> str:
    if found is None:
        return "is missing"
    if found.startswith("cannot"):
        return found
    return f"was altered: its SHA-256 is {found}"


def _of_result(content: bytes, record: VerdictRecord) -> list[str]:
    try:
        result = json.loads(content)
    except (ValueError, RecursionError):
        return ["Its result is no JSON."]
    if not isinstance(result, dict):
        return ["Its result is no JSON object."]
    limits = result.get("limit_set")
    found = limits if isinstance(limits, dict) else {}
    said = [
        (result.get("verdict"), record.overall, "verdict"),
        (found.get("id"), record.limit_set, "limit set"),
        (found.get("digest"), record.limit_set_digest, "digest of the limit set"),
        (result.get("version"), record.program_version, "version of lungwort"),
    ]
    return [
        f"The {what} is {one!r} in its result and {other!r} in the record."
        for one, other, what in said
        if one != other
    ]


def _paths(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())
