"""Readings of an outlet month by month, and their buckets kept in a folder that may be deleted.

What lies in ``derived`` is worked out from the Parquet parts and can be worked out again: it is
named by the parts' digests, held to a digest of its own, in no backup, and no verdict looks at it.
Where the folder cannot be written, all is worked out each time.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import tempfile
from collections import OrderedDict
from functools import lru_cache
from pathlib import Path, PurePosixPath
from threading import Lock
from typing import TYPE_CHECKING, Final, Generic, TypeVar

from attrs import evolve, frozen

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from lungwort.logs.model import Channel, Log
    from lungwort.register.logdoc import LogFacts
    from lungwort.register.model import LogImport, Part
    from lungwort.register.workspace import Workspace

FOLDER: Final = "derived"
_FORMAT: Final = "buckets/1"
LEVELS_S: Final = (60, 3600)
"""Widths of the buckets that are kept [s]."""
SECOND_US: Final = 1_000_000
_DIGEST: Final = hashlib.sha256().digest_size
_MOST_HELD: Final = {60: 6, 3600: 240}
"""Months held in memory by the width of their buckets: a month of minutes is some 15 MB."""
_MOST_MERGED: Final = 4

K = TypeVar("K")
V = TypeVar("V")


@frozen
class Piece:
    """What one import holds of one month.

    Parameters
    ----------
    record : LogImport
        The import.
    facts : LogFacts
        All of its log but the readings.
    parts : tuple of Part
        Its parts of the month.
    names : tuple of (str, str)
        Name of each channel in the import, and here.
    """

    record: LogImport
    facts: LogFacts
    parts: tuple[Part, ...]
    names: tuple[tuple[str, str], ...]


@frozen
class Month:
    """All readings of an outlet in one month.

    Parameters
    ----------
    name : str
        Such as ``2026-03``, UTC.
    pieces : tuple of Piece
        What each import holds of it, in the order of recording.
    key : str
        Stands for what it holds: made of the digests of the parts.
    """

    name: str
    pieces: tuple[Piece, ...]
    key: str


@frozen
class Holding:
    """What there is of an outlet.

    Parameters
    ----------
    outlet_id : str
        The outlet.
    channels : tuple of Channel
        All channels; one that stands for different things in different imports stands once for
        each.
    months : tuple of Month
        In the order of time.
    facts : tuple of (LogImport, LogFacts)
        The imports.
    renamed : tuple of (str, str)
        Channels whose name stands for different things: name in the file and name here.
    """

    outlet_id: str
    channels: tuple[Channel, ...]
    months: tuple[Month, ...]
    facts: tuple[tuple[LogImport, LogFacts], ...]
    renamed: tuple[tuple[str, str], ...]


@lru_cache(maxsize=256)
def _facts(content_sha256: str, content: bytes, where: str) -> LogFacts:  # noqa: ARG001 - part of the key
    from lungwort.register.logdoc import read_document  # noqa: PLC0415 - keeps --help instant

    return read_document(content, where)[0]


def holding(workspace: Workspace, outlet_id: str, imports: Sequence[LogImport]) -> Holding:
    """Look what there is of an outlet; no reading is touched.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    outlet_id : str
        The outlet.
    imports : sequence of LogImport
        All its imports in force.

    Returns
    -------
    Holding
        What there is.

    Raises
    ------
    RegisterError
        Where the document of an import is missing or was altered.
    """
    from lungwort.register.known import document_name  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.parts import is_unplaced  # noqa: PLC0415 - keeps --help instant

    channels: dict[tuple[str, ...], Channel] = {}
    taken: set[str] = set()
    renamed: list[tuple[str, str]] = []
    months: dict[str, list[Piece]] = {}
    facts_of = []
    for one in sorted(imports, key=lambda each: (each.seq, each.id)):
        content = workspace.read_file(one.log_sha256)
        facts = _facts(one.log_sha256, content, document_name(one))
        facts_of.append((one, facts))
        names = []
        for channel in facts.channels:
            spec = (channel.name, channel.analyte, channel.quantity, channel.unit)
            if spec not in channels:
                name, number = channel.name, 1
                while name in taken:
                    number += 1
                    name = f"{channel.name}_other{number}"
                if name != channel.name:
                    renamed.append((channel.name, name))
                taken.add(name)
                channels[spec] = evolve(channel, name=name)
            known = channels[spec]
            channels[spec] = evolve(known, censored=known.censored or channel.censored)
            names.append((channel.name, known.name))
        by_month: dict[str, list[Part]] = {}
        for part in one.parts:
            if not is_unplaced(part):
                month = PurePosixPath(part.path).parent.name.removeprefix("month=")
                by_month.setdefault(month, []).append(part)
        for month, parts in by_month.items():
            piece = Piece(one, facts, tuple(parts), tuple(names))
            months.setdefault(month, []).append(piece)
    return Holding(
        outlet_id=outlet_id,
        channels=tuple(channels.values()),
        months=tuple(
            Month(name, tuple(pieces), _key(pieces)) for name, pieces in sorted(months.items())
        ),
        facts=tuple(facts_of),
        renamed=tuple(renamed),
    )


def _key(pieces: Sequence[Piece]) -> str:
    content = [
        [[part.sha256 for part in one.parts], one.names, [c.censored for c in one.facts.channels]]
        for one in pieces
    ]
    text = json.dumps([_FORMAT, LEVELS_S, content], ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:32]


class Shelf:
    """Gives the readings and the buckets of months, and keeps what is worked out.

    Parameters
    ----------
    workspace : Workspace
        The open workspace; its record is not changed.
    outlet_id : str
        The outlet.
    """

    def __init__(self, workspace: Workspace, outlet_id: str) -> None:
        self._workspace = workspace
        self._home = workspace.folder / FOLDER / "readings" / f"outlet={outlet_id}"
        self._seen: set[str] = set()

    def buckets(self, month: Month, level_s: int) -> pl.DataFrame:
        """Give the buckets of a month.

        Parameters
        ----------
        month : Month
            The month.
        level_s : int
            One of `LEVELS_S` [s].

        Returns
        -------
        polars.DataFrame
            As `lungwort.register.buckets.gather` gives them.

        Raises
        ------
        RegisterError
            Where a part is missing or was altered.
        """
        held = _HELD[level_s].get(month.key)
        if held is not None:
            return held
        found = self._read(self._path(month, str(level_s)))
        if found is None:
            return self._build(month)[level_s]
        _HELD[level_s].put(month.key, found)
        return found

    def readings(self, month: Month) -> tuple[pl.DataFrame, tuple[Channel, ...]]:
        """Give all readings of a month, merged as for a verdict.

        Parameters
        ----------
        month : Month
            The month.

        Returns
        -------
        tuple of (polars.DataFrame, tuple of Channel)
            In the order of time, and their channels.

        Raises
        ------
        RegisterError
            Where a part is missing or was altered.
        """
        from lungwort.register.merge import merge_logs  # noqa: PLC0415 - keeps --help instant
        from lungwort.register.parts import names_of  # noqa: PLC0415 - keeps --help instant

        held = _MERGED.get((str(self._workspace.folder), month.key))
        if held is not None:
            return held
        named = [(names_of(piece.record), self._log(piece)) for piece in month.pieces]
        log = merge_logs(named)
        made = (log.frame, log.channels)
        _MERGED.put((str(self._workspace.folder), month.key), made)
        return made

    def _log(self, piece: Piece) -> Log:
        import polars as pl  # noqa: PLC0415 - keeps --help instant

        from lungwort.logs.model import censor_column, flag_column  # noqa: PLC0415 - the same
        from lungwort.register.logdoc import log_of  # noqa: PLC0415 - keeps --help instant
        from lungwort.register.parts import read_part  # noqa: PLC0415 - keeps --help instant

        other = {
            column(old): column(new)
            for old, new in piece.names
            if old != new
            for column in (str, flag_column, censor_column)
        }
        frames = [read_part(self._workspace, piece.record, part) for part in piece.parts]
        frame = pl.concat(frames) if len(frames) > 1 else frames[0]
        frame = frame.rename({old: new for old, new in other.items() if old in frame.columns})
        names = dict(piece.names)
        channels = tuple(evolve(one, name=names[one.name]) for one in piece.facts.channels)
        times = frame["time"]
        return evolve(
            log_of(piece.facts),
            parts=(frame,),
            channels=channels,
            rows=frame.height,
            start=times[0],
            end=times[-1],
        )

    def _build(self, month: Month) -> dict[int, pl.DataFrame]:
        from lungwort.register.buckets import gather, widen  # noqa: PLC0415 - keeps --help instant

        frame, channels = self.readings(month)
        finest = gather(frame, channels, LEVELS_S[0] * SECOND_US)
        made = {LEVELS_S[0]: finest}
        for level_s in LEVELS_S[1:]:
            made[level_s] = widen(finest, level_s * SECOND_US)
        for level_s, buckets in made.items():
            _HELD[level_s].put(month.key, buckets)
            self._write(self._path(month, str(level_s)), buckets)
        return made

    def _path(self, month: Month, what: str) -> Path:
        return self._home / f"month={month.name}" / f"{month.key}-{what}.buckets"

    @staticmethod
    def _read(path: Path) -> pl.DataFrame | None:
        import polars as pl  # noqa: PLC0415 - keeps --help instant

        try:
            content = path.read_bytes()
        except OSError:
            return None
        body = content[_DIGEST:]
        if hashlib.sha256(body).digest() != content[:_DIGEST]:
            return None
        try:
            return pl.read_ipc(io.BytesIO(body))
        except (pl.exceptions.PolarsError, OSError):
            return None

    @staticmethod
    def _write(path: Path, buckets: pl.DataFrame) -> None:
        """Keep buckets, where that is possible; what is kept may be lost at any time."""
        buffer = io.BytesIO()
        buckets.write_ipc(buffer, compression="zstd")
        body = buffer.getvalue()
        temporary: Path | None = None
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # What was worked out from other parts of this month is of no use any more.
            level = path.name.rpartition("-")[2]
            for old in path.parent.glob(f"*-{level}"):
                old.unlink(missing_ok=True)
            with tempfile.NamedTemporaryFile(
                dir=path.parent, prefix=".lungwort-", suffix=".part", delete=False
            ) as file:
                temporary = Path(file.name)
                file.write(hashlib.sha256(body).digest() + body)
            temporary.replace(path)
        except OSError:
            if temporary is not None:
                with contextlib.suppress(OSError):
                    temporary.unlink(missing_ok=True)


class _Kept(Generic[K, V]):
    """The newest few of what was worked out, for all threads."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = Lock()
        self._kept: OrderedDict[K, V] = OrderedDict()

    def get(self, key: K) -> V | None:
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
            return found

    def put(self, key: K, value: V) -> None:
        with self._lock:
            self._kept[key] = value
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)

    def clear(self) -> None:
        with self._lock:
            self._kept.clear()


_HELD: Final[dict[int, _Kept[str, pl.DataFrame]]] = {
    level_s: _Kept(most) for level_s, most in _MOST_HELD.items()
}
_MERGED: Final[_Kept[tuple[str, str], tuple[pl.DataFrame, tuple[Channel, ...]]]] = _Kept(
    _MOST_MERGED
)


def forget() -> None:
    """Forget what is held in memory; what lies in ``derived`` stays."""
    for held in _HELD.values():
        held.clear()
    _MERGED.clear()
