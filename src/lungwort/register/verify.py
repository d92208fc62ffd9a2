"""Recomputes everything that the record says of itself, and names what does not fit.

The tables are read as they stand: nothing that the register itself works out is trusted. What was
altered ends as a problem, never as an error.
"""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import attrs
from attrs import frozen

from lungwort.errors import RegisterError
from lungwort.register._attached import Attached
from lungwort.register._findings import Problem, Problems
from lungwort.register._tables_read import damage_of, rows_of, shown, unguarded
from lungwort.register.canonical import canonical, parse
from lungwort.register.checking import in_order, name_key, references, words
from lungwort.register.convert import from_plain, time_from_text, to_plain
from lungwort.register.engine import reading
from lungwort.register.heads import FILE as HEADS_FILE
from lungwort.register.journal import ADD, REPLACE, VOID, check_entry, time_text
from lungwort.register.merkle import Tree, leaf_hash
from lungwort.register.model import KINDS, Entry, Person, TreeHead
from lungwort.register.tables import ROWS
from lungwort.register.workspace import FILE as WORKSPACE_FILE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from sqlalchemy import Connection

    from lungwort.register.model import Record, VerdictRecord
    from lungwort.register.workspace import Workspace

__all__ = ["Checked", "Problem", "verify"]

_JOURNAL: Final = "journal"
_THINGS: Final = "things"
_HEAD_LINE: Final = re.compile(
    r"(\d{1,15}) ([0-9a-f]{64}) (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z)", re.ASCII
)
_UNKNOWN_TIME: Final = datetime(1, 1, 1, tzinfo=UTC)
_FIRST_NOTE: Final = re.compile(r"Workspace: (.+)")


@frozen
class Checked:
    """What was checked, and what does not fit.

    Parameters
    ----------
    entries, records, files, parts, certificates, verdicts : int
        How many were looked at [1].
    head : TreeHead
        Head over the entries as they stand: write it down and keep it elsewhere.
    problems : tuple of Problem
        What does not fit, in the order of the journal.
    remarks : tuple of str
        What is no alteration and should be known.
    """

    entries: int
    records: int
    files: int
    parts: int
    certificates: int
    verdicts: int
    head: TreeHead
    problems: tuple[Problem, ...]
    remarks: tuple[str, ...]


@frozen
class _Seen:
    # An entry as it stands, with what could be made of it.
    entry: Entry
    leaf: bytes
    subtrees: object
    record: Record | None
    where: str


def verify(
    workspace: Workspace,
    *,
    known_heads: Sequence[TreeHead] = (),
    rejudge: Callable[[VerdictRecord], bytes] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Checked:
    """Recompute the whole record of a workspace.

    Parameters
    ----------
    workspace : Workspace
        Open; nothing in it is changed.
    known_heads : sequence of TreeHead
        Heads that were kept elsewhere, such as the one printed on a certificate.
    rejudge : callable, optional
        Draws a verdict again and gives its result as JSON; used for verdicts of this version.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    Checked
        Counts, head, problems and remarks.

    Raises
    ------
    WorkspaceError
        Where the database cannot be reached at all.
    """
    problems = Problems()
    # Read before and after the tables, so that a change that is being recorded meanwhile is not
    # taken for an alteration: a head that was there before must be in them, and one that is
    # missing must be missing afterwards too.
    before = _head_lines(workspace, None)
    with reading(workspace._engine) as connection:  # noqa: SLF001 - the bare tables are looked at
        for one in damage_of(connection):
            problems.add("database", f"The database file is damaged: {one}.", None)
        seen = _journal(connection, problems)
        records = _tables(connection, seen, problems)
        open_tables = unguarded(connection, (_JOURNAL, _THINGS, *ROWS))
    if open_tables:
        problems.remarks.append(
            "The database does not refuse changes of rows any more (somebody took its guards away): "
            f"{', '.join(open_tables)}. All rows were compared with the journal."
        )
    lines = _head_lines(workspace, problems)
    _check_versions(seen, problems)
    tree = Tree(one.leaf for one in seen)
    _check_subtrees(seen, tree, problems)
    _check_heads(seen, tree, (before, lines), problems)
    _check_known(tree, known_heads, problems)
    _check_description(workspace, seen, problems)
    attached = Attached(workspace, problems, tree, rejudge, progress)
    attached.check([(one.entry.seq, one.where, one.record) for one in seen if one.record])
    return Checked(
        entries=len(seen),
        records=records,
        files=attached.files,
        parts=attached.parts,
        certificates=attached.certificates,
        verdicts=attached.verdicts,
        head=TreeHead(size=tree.size, root=tree.root().hex()),
        problems=problems.ordered(),
        remarks=tuple(problems.remarks),
    )


def _journal(connection: Connection, problems: Problems) -> list[_Seen]:
    columns = [*(one.name for one in attrs.fields(Entry)), "subtrees"]
    rows, unread = rows_of(connection, _JOURNAL, columns, "seq")
    for seq, what in unread:
        problems.add(f"entry {seq}" if seq is not None else "journal", what, seq)
    seen: list[_Seen] = []
    previous: Entry | None = None
    if not rows and not unread:
        problems.add("journal", "The journal is empty, and the first entry is made at once.", 1)
    for row in rows:
        entry, wrong = _entry(row)
        record, said = _record(entry)
        where = _where(entry, record)
        for what in [*wrong, *check_entry(entry, previous), *said]:
            problems.add(where, what, entry.seq)
        if previous is not None and entry.time < previous.time and not wrong:
            problems.remarks.append(
                f"The clock went back before {where}: from {time_text(previous.time)} to "
                f"{time_text(entry.time)}."
            )
        leaf = leaf_hash(entry.content.encode("utf-8", "surrogatepass"))
        seen.append(_Seen(entry, leaf, row["subtrees"], record, where))
        previous = entry
    return seen


def _entry(row: Mapping[str, Any]) -> tuple[Entry, list[str]]:
    wrong = []
    values: dict[str, Any] = {}
    for name in ("seq", "version"):
        values[name] = row[name]
        if type(row[name]) is not int:
            wrong.append(f"Its {name} is {shown(row[name])}, which is no whole number.")
            values[name] = -1
    for name in ("who", "action", "kind", "id", "content", "hash"):
        values[name] = row[name]
        if not isinstance(row[name], str):
            wrong.append(f"Its {name} is {shown(row[name])}, which is no text.")
            values[name] = ""
    try:
        values["time"] = time_from_text(row["time"])
    except RegisterError:
        wrong.append(f"Its time is {shown(row['time'])}, which is no time in UTC.")
        values["time"] = _UNKNOWN_TIME
    return Entry(**values), wrong


def _record(entry: Entry) -> tuple[Record | None, list[str]]:
    kind = KINDS.get(entry.kind)
    if kind is None:
        return None, [f"There are no records of the kind {shown(entry.kind)}."]
    try:
        content = parse(entry.content)
    except RegisterError:
        # The journal's own check says so.
        return None, []
    plain = content.get("record") if isinstance(content, dict) else None
    if not isinstance(plain, dict):
        return None, []
    try:
        # Ids and versions are held against each other by the journal's own check.
        return in_order(from_plain(kind, plain)), []
    except RegisterError as error:
        return None, [f"Its record cannot be one. {error}"]


def _where(entry: Entry, record: Record | None) -> str:
    name = str(getattr(record, record.NAME)) if record is not None and record.NAME else entry.id
    return f"entry {entry.seq} ({words(entry.kind)} {name}, version {entry.version})"


def _tables(connection: Connection, seen: Sequence[_Seen], problems: Problems) -> int:
    _check_things(connection, seen, problems)
    by_kind: dict[str, dict[int, _Seen]] = {kind: {} for kind in ROWS}
    for one in seen:
        by_kind.get(one.entry.kind, {})[one.entry.seq] = one
    compared = 0
    for kind, table in ROWS.items():
        columns = [one.name for one in table.__table__.columns]
        rows, unread = rows_of(connection, kind, columns, "seq")
        for seq, what in unread:
            problems.add(f"entry {seq}" if seq is not None else f"table {kind}", what, seq)
        left = dict(by_kind[kind])
        unread_seqs = {seq for seq, _ in unread}
        for row in rows:
            seq = row["seq"]
            found = left.pop(seq, None) if isinstance(seq, int) else None
            if found is None:
                problems.add(
                    f"table {kind}",
                    f"The row {shown(seq)} ({shown(row['id'])}, version {shown(row['version'])}) was "
                    "added or doubled: no entry of the journal recorded it.",
                    seq if isinstance(seq, int) else None,
                )
                continue
            compared += 1
            _compare(found, row, problems)
        for seq, found in left.items():
            if seq not in unread_seqs and None not in unread_seqs:
                problems.add(found.where, f"Its row is missing from the table {kind}.", seq)
    return compared


def _compare(found: _Seen, row: Mapping[str, Any], problems: Problems) -> None:
    record = found.record
    if record is None:
        return
    expected: dict[str, object] = {"seq": found.entry.seq, **to_plain(record)}
    if record.NAME:
        expected["name_key"] = name_key(getattr(record, record.NAME))
    for name, value in expected.items():
        raw = _raw(value)
        if type(row[name]) is not type(raw) or row[name] != raw:
            problems.add(
                found.where,
                f"Its {name} is {shown(row[name])} in the table {record.KIND}, and {shown(raw)} was "
                "recorded.",
                found.entry.seq,
            )


def _raw(value: object) -> object:
    # What the tables hold for a value of a record (see `lungwort.register.tables`).
    if isinstance(value, bool):
        return int(value)
    return canonical(value) if isinstance(value, list) else value


def _check_things(connection: Connection, seen: Sequence[_Seen], problems: Problems) -> None:
    rows, unread = rows_of(connection, _THINGS, ["id", "kind"], "id")
    for _, what in unread:
        problems.add(f"table {_THINGS}", what, None)
    there = [(row["id"], row["kind"]) for row in rows]
    expected: dict[str, tuple[str, int, str]] = {}
    for one in seen:
        expected.setdefault(one.entry.id, (one.entry.kind, one.entry.seq, one.where))
    for thing, kind in there:
        if thing not in expected:
            problems.add(
                f"table {_THINGS}", f"{shown(thing)} was added: no entry recorded it.", None
            )
        elif expected[thing][0] != kind:
            known, seq, where = expected[thing]
            problems.add(
                where,
                f"Its kind is {shown(kind)} in the table {_THINGS}, and {known!r} was recorded.",
                seq,
            )
    ids = {thing for thing, _ in there}
    for thing, (_, seq, where) in expected.items():
        if thing not in ids and not unread:
            problems.add(where, f"Its thing is missing from the table {_THINGS}.", seq)


def _check_versions(seen: Iterable[_Seen], problems: Problems) -> None:
    last: dict[str, _Seen] = {}
    people: set[str] = set()
    for one in seen:
        entry, record = one.entry, one.record
        before = last.get(entry.id)
        said = _of_version(one, before)
        if record is not None:
            said += [
                f"Its {field} names {named}, which was not on record then."
                for field, kind, named in references(record)
                if named not in last or last[named].entry.kind != kind
            ]
        if isinstance(record, Person):
            people.add(record.name)
        if entry.who not in people:
            said.append(f"It was made by {shown(entry.who)}, who was not on record then.")
        for what in said:
            problems.add(one.where, what, entry.seq)
        last[entry.id] = one


def _of_version(one: _Seen, before: _Seen | None) -> list[str]:
    entry, record = one.entry, one.record
    said = []
    expected = before.entry.version + 1 if before else 1
    if entry.version != expected:
        said.append(f"Its version is {entry.version}, and {expected} should come here.")
    if (entry.action == ADD) != (before is None):
        said.append(
            f"Its action is {entry.action!r}, and the thing was "
            f"{'on record already' if before else 'not on record yet'}."
        )
    if before is not None and before.entry.kind != entry.kind:
        said.append(f"Its kind is {entry.kind!r}, and was {before.entry.kind!r} before.")
    if before is not None and before.record is not None and before.record.voided:
        said.append("It was voided before, and nothing may follow.")
    if record is not None:
        if record.voided != (entry.action == VOID):
            said.append(f"Its action is {entry.action!r}, and its record says otherwise.")
        if entry.action in {REPLACE, VOID} and not record.reason:
            said.append("It changes what was on record and gives no reason.")
    return said


def _check_subtrees(seen: Sequence[_Seen], tree: Tree, problems: Problems) -> None:
    for size, one in enumerate(seen, start=1):
        if problems.any_up_to(one.entry.seq):
            # What follows from an altered entry is not told again.
            return
        expected = canonical([each.hex() for each in tree.closed(size)])
        if one.subtrees != expected:
            problems.add(
                one.where,
                f"The hashes of the tree kept with it are {shown(one.subtrees)}, and its entries come "
                f"to {shown(expected)}.",
                one.entry.seq,
            )


def _head_lines(workspace: Workspace, problems: Problems | None) -> list[tuple[int, int, str, str]]:
    # Number of the line, size, root, time.
    try:
        text = (workspace.folder / HEADS_FILE).read_bytes().decode("utf-8", "replace")
    except FileNotFoundError:
        return []
    except OSError as error:
        if problems is not None:
            problems.add(HEADS_FILE, f"It cannot be read ({error.strerror or error}).", None)
        return []
    found = []
    *whole, rest = text.split("\n")
    for number, line in enumerate(whole, start=1):
        match = _HEAD_LINE.fullmatch(line.removesuffix("\r"))
        if match is not None:
            found.append((number, int(match[1]), match[2], match[3]))
        elif problems is not None:
            problems.add(f"{HEADS_FILE}, line {number}", f"It is no head: {shown(line)}.", None)
    if rest and problems is not None:
        problems.remarks.append(
            f"The last line of {HEADS_FILE} was cut off, as by a crash; the next change puts it right."
        )
    return found


def _check_heads(
    seen: Sequence[_Seen],
    tree: Tree,
    lines: tuple[list[tuple[int, int, str, str]], list[tuple[int, int, str, str]]],
    problems: Problems,
) -> None:
    before, now = lines
    known = max((size for _, size, _, _ in before), default=0)
    if known > tree.size:
        problems.add(
            HEADS_FILE,
            f"It knows of {known} entries, and the journal holds {tree.size}: the database was put "
            "back to an older state or cut.",
            tree.size + 1,
        )
    last = good = 0
    fits = True
    for number, size, root, time in now:
        where = f"{HEADS_FILE}, line {number}"
        if size <= last:
            problems.add(where, f"It follows a head of {last} entries with one of {size}.", size)
        last = max(size, last)
        if not 0 < size <= tree.size:
            continue
        found = tree.root(size).hex()
        if root != found and fits:
            fits = False
            problems.add(
                where,
                f"Its head of {size} entries is {root}, and the journal's is {found}: the line, or "
                f"an entry from {good + 1} to {size}, was altered.",
                size,
            )
        elif root == found:
            good = size
            entry = seen[size - 1].entry
            if entry.time != _UNKNOWN_TIME and time != time_text(entry.time):
                problems.add(
                    where,
                    f"Its time is {time}, and entry {size} was made at {time_text(entry.time)}.",
                    size,
                )
    _check_last_heads(seen, now, problems)


def _check_last_heads(
    seen: Sequence[_Seen], lines: list[tuple[int, int, str, str]], problems: Problems
) -> None:
    # A change has one time; a crash can only keep the newest change from having its line.
    sizes = {size for _, size, _, _ in lines}
    if not seen:
        return
    newest = max(sizes, default=0)
    times = {one.entry.time for one in seen[newest:]}
    if len(times) > 1 or (newest == 0 and seen):
        problems.add(
            HEADS_FILE,
            f"Its last line is of {newest} entries, and the journal holds {len(seen)}: lines were "
            "taken away."
            if newest
            else "It is missing or empty, and the journal holds entries.",
            newest + 1,
        )
    elif times:
        problems.remarks.append(
            f"{HEADS_FILE} lacks the line of the newest change, as after a crash; the next change "
            "adds it."
        )
    ends = {
        after
        for after, (one, other) in enumerate(pairwise(seen), start=1)
        if one.entry.time != other.entry.time
    }
    first = min(ends, default=newest)
    if newest and min(sizes) > first:
        problems.add(
            HEADS_FILE,
            f"Its first line is of {min(sizes)} entries, and the record began with {first}: it was "
            "taken away and begun anew, or lines were taken from it.",
            first,
        )
        return
    lacking = sorted(end for end in ends - sizes if end < newest)
    if lacking:
        problems.remarks.append(
            f"{HEADS_FILE} has no line for the change that ended with entry {lacking[0]}"
            + (f", and for {len(lacking) - 1} more" if len(lacking) > 1 else "")
            + ". Two that were recorded at once can leave such a gap."
        )


def _check_known(tree: Tree, heads: Sequence[TreeHead], problems: Problems) -> None:
    for head in heads:
        where = f"known head {head.size}:{head.root}"
        if head.size > tree.size:
            problems.add(
                where,
                f"It is of {head.size} entries, and the journal holds {tree.size}: the record was "
                "put back to an older state or cut.",
                tree.size + 1,
            )
        elif head.size < 0 or tree.root(head.size).hex() != head.root:
            found = tree.root(max(head.size, 0)).hex()
            problems.add(
                where,
                f"The journal's head of {head.size} entries is {found}: an entry from 1 to "
                f"{head.size} is not the one that was recorded.",
                max(head.size, 0),
            )


def _check_description(workspace: Workspace, seen: Sequence[_Seen], problems: Problems) -> None:
    path = workspace.folder / WORKSPACE_FILE
    try:
        described = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        problems.add(WORKSPACE_FILE, f"It cannot be read ({error}).", None)
        return
    if not seen:
        return
    first = seen[0]
    created = described.get("created")
    if first.entry.time != _UNKNOWN_TIME and created != time_text(first.entry.time):
        problems.add(
            WORKSPACE_FILE,
            f"It says that the workspace was created at {created}, and the first entry was made at "
            f"{time_text(first.entry.time)}.",
            1,
        )
    note = _FIRST_NOTE.match(first.record.note) if first.record is not None else None
    if note is not None and described.get("name") != note[1]:
        problems.add(
            WORKSPACE_FILE,
            f"It calls the workspace {shown(described.get('name'))}, and the first entry {note[1]!r}.",
            1,
        )
