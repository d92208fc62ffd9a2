# ruff: noqa: S608, S311 - statements of the attacker, and places drawn by lot
"""Every way to tamper that we know of: each is found, named, and nothing is touched by the check.

The attacker here may write to the disk and to the database as they like, and knows all formats.
"""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import psycopg
import pytest
from tests import record_kit as kit

from lungwort.errors import WorkspaceError
from lungwort.register import model as m
from lungwort.register.canonical import canonical
from lungwort.register.journal import FIRST_PREVIOUS, entry_hash
from lungwort.register.merkle import Tree, leaf_hash
from lungwort.register.model import TreeHead
from lungwort.register.tables import ROWS
from lungwort.register.verify import Checked, verify
from lungwort.register.workspace import open_workspace

JOURNAL_COLUMNS = (
    "seq",
    "time",
    "who",
    "action",
    "kind",
    "id",
    "version",
    "content",
    "hash",
    "subtrees",
)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Build the record once."""
    return kit.build(tmp_path_factory.mktemp("kit") / "workspace")


@pytest.fixture
def folder(built: Any, tmp_path: Path) -> Path:
    """Give a copy of it that may be spoiled."""
    shutil.copytree(built.folder, tmp_path / "workspace")
    return tmp_path / "workspace"


@contextmanager
def tampering(folder: Path, *, strict: bool = True) -> Iterator[sqlite3.Connection]:
    """Open the database as an attacker does: its guards are taken away, and put back afterwards.

    Where it is not strict, the tables take values of any kind from then on.
    """
    path = folder / "register.sqlite"
    if not strict:
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            database.execute("PRAGMA writable_schema = ON")
            database.execute("UPDATE sqlite_master SET sql = replace(sql, 'STRICT', '')")
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        for pragma in ("synchronous = OFF", "foreign_keys = OFF", "writable_schema = OFF"):
            database.execute(f"PRAGMA {pragma}")
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        guards = database.execute(query).fetchall()
        assert guards
        database.execute("BEGIN")
        for name, _ in guards:
            database.execute(f"DROP TRIGGER {name}")
        yield database
        for _, sql in guards:
            # Those of a table that was dropped went with it.
            with suppress(sqlite3.OperationalError):
                database.execute(sql)
        database.execute("COMMIT")
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def check(folder: Path, **given: Any) -> Checked:
    """Verify, and see that nothing was written by it."""
    before = kit.bytes_below(folder)
    with open_workspace(folder, read_only=True) as workspace:
        found = verify(workspace, **given)

    assert kit.bytes_below(folder) == before
    return found


def told(found: Checked) -> str:
    """Give all problems as one text."""
    return "\n".join(f"{one.where}: {one.what}" for one in found.problems)


def first(found: Checked) -> str:
    """Give the first problem."""
    assert found.problems, "the alteration was not found"
    return f"{found.problems[0].where}: {found.problems[0].what}"


def changed(value: Any, kind: str = "TEXT") -> Any:
    """Give another value of the same kind."""
    if value is None:
        return "x" if kind == "TEXT" else 1
    if isinstance(value, int):
        return value + 1
    if value.startswith("["):
        return "[]" if value != "[]" else '["x"]'
    return f"{value}x" if value else "x"


# --- The journal -------------------------------------------------------------------------------


def test_the_copy_is_sound_and_the_guards_are_back(folder: Path) -> None:
    """Otherwise the tests below would prove nothing."""
    with tampering(folder):
        pass

    assert check(folder) == check(folder)
    assert check(folder).problems == ()
    assert check(folder).remarks == ()


def test_guards_that_were_taken_away_are_remarked_on(folder: Path) -> None:
    """No row was changed, but somebody prepared for it."""
    with closing(sqlite3.connect(folder / "register.sqlite")) as database:
        database.execute("DROP TRIGGER journal_no_update")
        database.execute("DROP TRIGGER site_no_delete")
        database.execute("CREATE TRIGGER site_no_delete BEFORE DELETE ON site BEGIN SELECT 1; END")
        database.commit()
    found = check(folder)

    assert found.problems == ()
    assert "its guards away): journal, site." in found.remarks[0]


@pytest.mark.parametrize("column", JOURNAL_COLUMNS)
def test_each_column_of_the_journal(folder: Path, column: str) -> None:
    """An edited entry in the middle is the first thing that is named."""
    with tampering(folder) as database:
        query = f"SELECT {column} FROM journal WHERE seq = 7"
        value = 1000 if column == "seq" else changed(database.execute(query).fetchone()[0])
        database.execute(f"UPDATE journal SET {column} = ? WHERE seq = 7", (value,))
    found = check(folder)

    # An entry that was moved away leaves its row behind, and a step in the numbers.
    assert first(found).startswith("table outlet: The row 7" if column == "seq" else "entry 7 (")
    if column == "seq":
        assert "Its number is 8, and 7 should come here." in told(found)


@pytest.mark.parametrize("seq", [1, 2, 15, 34])
def test_a_rewritten_content_with_its_hash(folder: Path, seq: int) -> None:
    """Content and hash fit each other; the table, the chain and the tree do not."""
    with tampering(folder) as database:
        query = "SELECT content FROM journal WHERE seq = ?"
        content = json.loads(database.execute(query, (seq,)).fetchone()[0])
        content["who"] = "Somebody Else"
        text = canonical(content)
        database.execute(
            "UPDATE journal SET content = ?, hash = ?, who = ? WHERE seq = ?",
            (text, entry_hash(text), "Somebody Else", seq),
        )
    found = check(folder)

    assert first(found).startswith(f"entry {seq} (")
    assert "heads.txt, line" in told(found)


@pytest.mark.parametrize("seq", [1, 7, 34])
def test_a_deleted_entry(folder: Path, seq: int) -> None:
    """Alone: its row is left; the numbers have a step."""
    with tampering(folder) as database:
        database.execute("DELETE FROM journal WHERE seq = ?", (seq,))
    found = check(folder)

    assert f"The row {seq} (" in first(found)
    assert "no entry of the journal recorded it" in first(found)
    if seq < 34:
        assert f"Its number is {seq + 1}, and {seq} should come here." in told(found)


def test_a_deleted_entry_with_its_row_and_thing(folder: Path) -> None:
    """All traces in the tables are gone; the chain has a hole."""
    with tampering(folder) as database:
        thing = database.execute("SELECT id FROM journal WHERE seq = 7").fetchone()[0]
        database.execute("DELETE FROM outlet WHERE seq = 7")
        database.execute("DELETE FROM journal WHERE seq = 7")
        database.execute("DELETE FROM things WHERE id = ?", (thing,))
    found = check(folder)

    assert first(found).startswith("entry 8 (")
    assert "Its number is 8, and 7 should come here." in first(found)


def test_a_deleted_entry_with_all_later_ones_renumbered(folder: Path) -> None:
    """The numbers are closed again; content and hashes tell."""
    with tampering(folder) as database:
        database.execute("DELETE FROM outlet WHERE seq = 7")
        database.execute("DELETE FROM journal WHERE seq = 7")
        for table in ("journal", *ROWS):
            database.execute(f"UPDATE {table} SET seq = -(seq - 1) WHERE seq > 7")
            database.execute(f"UPDATE {table} SET seq = -seq WHERE seq < 0")
    found = check(folder)

    assert first(found).startswith("entry 7 (")
    assert "Its seq is 7 in the table and 8 in what was hashed." in told(found)


def test_an_inserted_entry(folder: Path) -> None:
    """A whole entry with row and thing, well made, at the end: the heads do not know of it."""
    with tampering(folder) as database:
        _append(database, {"name": "forger"})
    found = check(folder)

    # It takes its own place in the tree; only its hashes there tell, if they were not made as well.
    assert first(found).startswith("entry 35 (person forger, version 1)")


def test_an_inserted_entry_that_is_perfect_in_itself_stands_out_by_the_heads(folder: Path) -> None:
    """With the right hashes of the tree: two changes without a line are one too many for a crash."""
    with tampering(folder) as database:
        _append(database, {"name": "forger"}, time="2026-04-21T10:00:00.000000Z")
        _append(database, {"name": "forger 2"}, time="2026-04-22T10:00:00.000000Z")
        _rehash(database)
    found = check(folder)

    assert [one.where for one in found.problems] == ["heads.txt"]
    assert "lines were taken away" in found.problems[0].what


def test_an_entry_inserted_in_the_middle(folder: Path) -> None:
    """The later ones moved up by one."""
    with tampering(folder) as database:
        for table in ("journal", *ROWS):
            database.execute(f"UPDATE {table} SET seq = -(seq + 1) WHERE seq >= 7")
            database.execute(f"UPDATE {table} SET seq = -seq WHERE seq < 0")
        _append(database, {"name": "forger"}, seq=7)
    found = check(folder)

    assert first(found).startswith("entry 7 (person forger, version 1)")


def test_two_swapped_entries(folder: Path) -> None:
    """Their whole rows change places."""
    with tampering(folder) as database:
        for old, new in ((7, -7), (8, 7), (-7, 8)):
            database.execute("UPDATE journal SET seq = ? WHERE seq = ?", (new, old))
    found = check(folder)

    assert first(found).startswith("entry 7 (")
    assert "Its seq is 7 in the table and 8 in what was hashed." in told(found)


def test_two_swapped_contents(folder: Path) -> None:
    """Their contents and hashes change places."""
    with tampering(folder) as database:
        rows = database.execute("SELECT content, hash FROM journal WHERE seq IN (7, 8)").fetchall()
        for seq, row in zip((8, 7), rows, strict=True):
            database.execute("UPDATE journal SET content = ?, hash = ? WHERE seq = ?", (*row, seq))
    found = check(folder)

    assert first(found).startswith("entry 7 (")


def test_a_cut_tail(folder: Path) -> None:
    """The last change never was: tables are without a fault, the heads know of more."""
    with tampering(folder) as database:
        _cut(database, 29)
    found = check(folder)

    assert [one.where for one in found.problems] == ["heads.txt"]
    assert "It knows of 34 entries, and the journal holds 28" in first(found)


def test_a_cut_tail_with_the_heads_cut_too(folder: Path) -> None:
    """From inside nothing is left that tells; a head that was kept elsewhere does."""
    known = check(folder).head
    with tampering(folder) as database:
        _cut(database, 29)
    _cut_heads(folder, 28)

    assert check(folder).problems == ()
    found = check(folder, known_heads=[known])
    assert [one.where for one in found.problems] == [f"known head {known.size}:{known.root}"]
    assert "put back to an older state or cut" in first(found)


def test_a_database_that_was_rolled_back(folder: Path, tmp_path: Path) -> None:
    """An older copy of the file in place of it, as from a backup."""
    older = tmp_path / "older.sqlite"
    shutil.copy(folder / "register.sqlite", older)
    with (
        open_workspace(folder) as workspace,
        workspace.register.change(who=kit.ANSWERS, now=kit.START.replace(month=5)) as change,
    ):
        change.add(m.Person(name="New Person"))
    known = check(folder).head
    shutil.copy(older, folder / "register.sqlite")
    for name in ("register.sqlite-wal", "register.sqlite-shm"):
        (folder / name).unlink(missing_ok=True)
    found = check(folder)

    assert [one.where for one in found.problems] == ["heads.txt"]
    assert f"It knows of {known.size} entries, and the journal holds {known.size - 1}" in first(
        found
    )
    # With the heads put back too, only a head kept elsewhere tells.
    _cut_heads(folder, known.size - 1)
    assert check(folder).problems == ()
    assert first(check(folder, known_heads=[known])).startswith(f"known head {known.size}:")


# --- Whoever can hash: the chain made anew ------------------------------------------------------


def _forge(folder: Path, seq: int = 7) -> None:
    """Rewrite what an outlet is called, its row, and all hashes from there on."""
    with tampering(folder) as database:
        query = "SELECT content FROM journal WHERE seq = ?"
        content = json.loads(database.execute(query, (seq,)).fetchone()[0])
        assert content["kind"] == "outlet"
        content["record"]["name"] = "hose 9"
        text = canonical(content)
        database.execute("UPDATE journal SET content = ? WHERE seq = ?", (text, seq))
        database.execute(
            "UPDATE outlet SET name = 'hose 9', name_key = 'hose 9' WHERE seq = ?", (seq,)
        )
        _rehash(database)


def test_a_chain_made_anew_is_caught_by_the_heads(folder: Path) -> None:
    """All that is in the database fits together."""
    _forge(folder)
    found = check(folder)

    assert first(found).startswith("heads.txt, line 2: Its head of")
    assert "or an entry from 2 to" in first(found)


def test_a_chain_made_anew_with_its_heads_is_caught_by_the_certificates(folder: Path) -> None:
    """They carry the head at issue."""
    _forge(folder)
    _rewrite_heads(folder)
    found = check(folder)

    assert "(certificate YARD-2026-0001, version 1)" in first(found)
    assert "is not the one that was recorded" in first(found)
    assert all("(certificate YARD-" in one.where for one in found.problems)


def test_a_chain_made_anew_with_certificates_is_caught_by_their_papers(folder: Path) -> None:
    """The records of the certificates were given the new heads; their papers show the old ones."""
    _forge(folder)
    with tampering(folder) as database:
        _certificates_anew(database)
    _rewrite_heads(folder)
    found = check(folder)

    assert [one.what[:23] for one in found.problems] == ["Its PDF shows the head "] * 2
    assert "(certificate YARD-2026-0001, version 1)" in first(found)


def test_a_record_made_anew_throughout_is_caught_by_a_head_kept_elsewhere(folder: Path) -> None:
    """With new papers too nothing inside tells. A certificate that was handed out does."""
    with open_workspace(folder, read_only=True) as workspace:
        handed_out = workspace.register.get(m.Certificate, "YARD-2026-0001")
    _forge(folder)
    with tampering(folder) as database:
        _certificates_anew(database, papers=folder / "files")
    _rewrite_heads(folder)
    known = TreeHead(handed_out.tree_size, handed_out.tree_root)

    assert check(folder).problems == ()
    found = check(folder, known_heads=[known])
    assert [one.where for one in found.problems] == [f"known head {known.size}:{known.root}"]
    assert f"an entry from 1 to {known.size} is not the one that was recorded" in first(found)


def _forged(folder: Path, kind: str, change: Callable[[dict[str, Any]], object]) -> str:
    """Rewrite the last entry of a kind, with its columns, and make the chain anew."""
    with tampering(folder) as database:
        query = "SELECT seq, content FROM journal WHERE kind = ? ORDER BY seq DESC LIMIT 1"
        seq, text = database.execute(query, (kind,)).fetchone()
        content = json.loads(text)
        change(content)
        columns = ("who", "action", "kind", "id", "version")
        names = ", ".join(f"{name} = ?" for name in columns)
        database.execute(
            f"UPDATE journal SET content = ?, {names} WHERE seq = ?",
            (canonical(content), *(content[name] for name in columns), seq),
        )
        _rehash(database)
    return told(check(folder))


@pytest.mark.parametrize(
    ("kind", "change", "telling"),
    [
        (
            "supply",
            lambda c: c.update(kind="outlet"),
            "Its kind is 'outlet', and was 'supply' before.",
        ),
        ("supply", lambda c: c.update(kind="spell"), "There are no records of the kind 'spell'."),
        ("supply", lambda c: c.update(version=3), "Its version is 3, and 2 should come here."),
        ("supply", lambda c: c.update(action="add"), "the thing was on record already"),
        ("outlet", lambda c: c.update(action="replace"), "the thing was not on record yet"),
        ("supply", lambda c: c["record"].update(reason=""), "and gives no reason"),
        ("supply", lambda c: c["record"].update(voided=True), "and its record says otherwise"),
        ("event", lambda c: c["record"].update(voided=False), "and its record says otherwise"),
        ("supply", lambda c: c["record"].update(colour="red"), "unknown: colour"),
        ("supply", lambda c: c["record"].pop("site_id"), "site_id is missing"),
        ("supply", lambda c: c["record"].update(kind="balloon"), "Its record cannot be one."),
        ("supply", lambda c: c.update(record=[]), "Its record is not a JSON object."),
        (
            "outlet",
            lambda c: c["record"].update(supply_id="supply-x"),
            "Its supply_id names supply-x",
        ),
        (
            "outlet",
            lambda c: c.update(who="Nobody"),
            "It was made by 'Nobody', who was not on record",
        ),
        (
            "log_import",
            lambda c: c["record"]["files"][0].update(sha256="../../secret"),
            "is '../../secret', which is no digest",
        ),
        (
            "log_import",
            lambda c: c["record"]["parts"][0].update(path="readings/../register.sqlite"),
            "It names readings outside",
        ),
        (
            "log_import",
            lambda c: c["record"]["parts"][0].update(rows=7),
            "holds 121 readings, and 7",
        ),
        ("log_import", lambda c: c["record"].update(rows=7), "says that it has 7 readings"),
        ("certificate", lambda c: c["record"].update(tree_size=10**6), "and is itself entry"),
    ],
)
def test_an_entry_that_was_made_up(folder: Path, kind: str, change: Any, telling: str) -> None:
    """By one who can hash: what it says cannot be."""
    assert telling in _forged(folder, kind, change)


def test_a_change_after_the_voiding(folder: Path) -> None:
    """What was voided stays so."""

    def on_the_voided(content: dict[str, Any]) -> None:
        with closing(sqlite3.connect(folder / "register.sqlite")) as database:
            query = "SELECT id FROM journal WHERE action = 'void'"
            thing = database.execute(query).fetchone()[0]
        record = content["record"] | {"id": thing, "version": 3, "reason": "x"}
        content.update(id=thing, version=3, action="replace", record=record)

    assert "It was voided before, and nothing may follow." in _forged(
        folder, "action", on_the_voided
    )


def test_an_emptied_journal(folder: Path) -> None:
    """Not even the first entry is there."""
    with tampering(folder) as database:
        database.execute("DELETE FROM journal")
    found = check(folder)

    assert "journal: The journal is empty, and the first entry is made at once." in told(found)
    assert "It knows of 34 entries, and the journal holds 0" in told(found)


def test_a_description_that_goes_away_while_it_is_open(folder: Path) -> None:
    """The check goes on and says so."""
    with open_workspace(folder, read_only=True) as workspace:
        (folder / "lungwort-workspace.toml").unlink()
        found = verify(workspace)

    assert "lungwort-workspace.toml: It cannot be read" in told(found)
    assert found.entries == 34


# --- On the server ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "telling"),
    [
        ("UPDATE outlet SET name = 'hose 9' WHERE seq = 7", "Its name is 'hose 9' in the table"),
        ("UPDATE supply SET in_use = 0 WHERE seq = 4", "Its in_use is 0 in the table supply"),
        ("UPDATE journal SET who = 'Nobody' WHERE seq = 7", "Its who is 'Nobody' in the table"),
        (
            "UPDATE journal SET content = replace(content, 'hose 1', 'hose 9') WHERE seq = 7",
            "Its content has the hash",
        ),
        ("UPDATE journal SET subtrees = '[]' WHERE seq = 7", "The hashes of the tree kept with it"),
        ("DELETE FROM wearer_equipment", "Its row is missing from the table wearer_equipment."),
        ("DROP TABLE lot_use", "The table lot_use cannot be read"),
    ],
)
def test_rows_on_a_server(postgresql: str, tmp_path: Path, statement: str, telling: str) -> None:
    """Its owner can switch off the guards; the check is the same."""
    folder = kit.build(tmp_path / "workspace", postgresql).folder
    with psycopg.connect(postgresql, autocommit=True) as database:
        for table in ("journal", *ROWS):
            database.execute(f"ALTER TABLE {table} DISABLE TRIGGER ALL".encode())
        database.execute(statement.encode())
    found = check(folder)

    assert telling in told(found)
    assert "its guards away): journal, " in found.remarks[0]


# --- The tables of records ----------------------------------------------------------------------


@pytest.mark.parametrize("kind", sorted(ROWS))
def test_each_column_of_each_table(folder: Path, kind: str) -> None:
    """Every column of one row is altered: each is found by itself, and nothing else is."""
    columns = [one.name for one in ROWS[kind].__table__.columns if one.name != "seq"]
    with tampering(folder) as database:
        types = {one[1]: one[2] for one in database.execute(f"PRAGMA table_info({kind})")}
        query = f"SELECT seq, {', '.join(columns)} FROM {kind} ORDER BY seq DESC LIMIT 1"
        seq, *values = database.execute(query).fetchone()
        others = [changed(value, types[name]) for name, value in zip(columns, values, strict=True)]
        names = ", ".join(f"{name} = ?" for name in columns)
        database.execute(f"UPDATE {kind} SET {names} WHERE seq = ?", (*others, seq))
    found = check(folder)

    assert {one.where.split(" (")[0] for one in found.problems} == {f"entry {seq}"}
    said = [one.what for one in found.problems]
    assert sorted(one.split(" ")[1] for one in said) == sorted(columns)
    assert all(f"in the table {kind}" in one for one in said)


@pytest.mark.parametrize(
    ("sql", "telling"),
    [
        ("UPDATE supply SET oil_lubricated = NULL WHERE seq = 4", "Its oil_lubricated is None"),
        ("UPDATE supply SET oil_lubricated = 1.5 WHERE seq = 4", "Its oil_lubricated is 1.5"),
        ("UPDATE supply SET pressure_bar_g = '7.00' WHERE seq = 4", "Its pressure_bar_g is '7.00'"),
        ("UPDATE supply SET name = CAST(name AS BLOB) WHERE seq = 4", "Its name is b'yard'"),
        ("UPDATE supply SET seq = 3 WHERE seq = 4", "no entry of the journal recorded it"),
        ("UPDATE supply SET id = 'supply-2' WHERE seq = 4", "Its id is 'supply-2'"),
        ("DELETE FROM supply WHERE seq = 4", "Its row is missing from the table supply"),
        ("DROP TABLE lot_use", "The table lot_use cannot be read (no such table: lot_use)"),
        ("ALTER TABLE lot_use DROP COLUMN why", "The table lot_use cannot be read (no such column"),
        (
            (
                "INSERT INTO outlet SELECT 99, 'outlet-9', version, reason, voided, note, supply_id, "
                "name, place, in_use, name_key FROM outlet WHERE seq = 7"
            ),
            "The row 99 ('outlet-9', version 1) was added or doubled",
        ),
        ("DELETE FROM things WHERE id IN (SELECT id FROM outlet)", "Its thing is missing"),
        ("INSERT INTO things VALUES ('site-x', 'site')", "'site-x' was added"),
        (
            "UPDATE things SET kind = 'supply' WHERE kind = 'site'",
            "Its kind is 'supply' in the table things, and 'site'",
        ),
        ("UPDATE things SET id = 'x' WHERE kind = 'site'", "Its thing is missing"),
        ("DROP TABLE things", "The table things cannot be read"),
    ],
)
def test_rows(folder: Path, sql: str, telling: str) -> None:
    """Altered, moved, taken away, added, doubled; tables dropped."""
    with tampering(folder, strict=False) as database:
        database.execute(sql)

    assert telling in told(check(folder))


def test_two_swapped_rows(folder: Path) -> None:
    """The two certificates change places in their table."""
    with tampering(folder) as database:
        one, other = database.execute("SELECT seq FROM certificate ORDER BY seq").fetchall()
        for old, new in ((one[0], -1), (other[0], one[0]), (-1, other[0])):
            database.execute("UPDATE certificate SET seq = ? WHERE seq = ?", (new, old))
    found = check(folder)

    assert first(found).startswith(f"entry {one[0]} (certificate YARD-2026-0001, version 1)")


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("journal", "content", "CAST(X'ff00fe' AS TEXT)"),
        ("journal", "who", "CAST(X'ff00fe' AS TEXT)"),
        ("journal", "content", "X'ff00fe'"),
        ("journal", "content", "''"),
        ("journal", "content", "'[1, 2'"),
        ("journal", "time", "'yesterday'"),
        ("journal", "version", "'one'"),
        ("journal", "kind", "'spell'"),
        ("journal", "hash", "X''"),
        ("outlet", "name", "CAST(X'ff00fe' AS TEXT)"),
        ("outlet", "voided", "'maybe'"),
        ("outlet", "note", "X'00'"),
        ("things", "kind", "CAST(X'ff00fe' AS TEXT)"),
    ],
)
def test_garbage_in_one_cell(folder: Path, table: str, column: str, value: str) -> None:
    """What cannot even be read ends as a problem that names the entry; the rest is still checked."""
    with tampering(folder, strict=False) as database:
        where = "seq = 7" if table != "things" else "kind = 'outlet'"
        database.execute(f"UPDATE {table} SET {column} = {value} WHERE {where}")
    found = check(folder)

    assert first(found).startswith(("entry 7", "table things"))
    assert found.certificates == 2


def test_damage_to_an_index(folder: Path) -> None:
    """Names are looked up there: a supply that cannot be found any more is damage."""
    with closing(sqlite3.connect(folder / "register.sqlite", isolation_level=None)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        database.execute("VACUUM")
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = folder / "register.sqlite"
    sound = path.read_bytes()
    places = [at for at in range(len(sound)) if sound.startswith(b"boat hose", at)]
    # In the row (its name and its key), in the index of names, and in the entry.
    assert len(places) >= 4
    for at in places:
        path.write_bytes(sound[:at] + b"B" + sound[at + 1 :])

        assert check(folder).problems, at
    path.write_bytes(sound)
    assert check(folder).problems == ()


# --- What lies beside the database --------------------------------------------------------------


def _spoil(path: Path, how: str) -> None:
    content = path.read_bytes()
    if how == "missing":
        path.unlink()
    elif how == "cut":
        path.write_bytes(content[:-1])
    elif how == "longer":
        path.write_bytes(content + b"\n")
    elif how == "empty":
        path.write_bytes(b"")
    elif how == "folder":
        path.unlink()
        path.mkdir()
    else:
        place = len(content) // 2
        path.write_bytes(content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :])


HOW = ("bit", "cut", "longer", "empty", "missing", "folder")


@pytest.mark.parametrize("how", HOW)
def test_readings(folder: Path, built: Any, how: str) -> None:
    """A Parquet part: one bit, cut, longer, empty, gone, something else in its place."""
    part = built.imports[1].parts[0]
    _spoil(folder / part.path, how)
    found = check(folder)

    assert len(found.problems) == 1
    assert first(found).startswith(f"entry {built.imports[1].seq} (log import ")
    assert f"Its readings {part.path} " in first(found)


def test_two_swapped_parts(folder: Path, built: Any) -> None:
    """March in place of April."""
    one, other = (folder / each.parts[0].path for each in built.imports)
    content = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(content)

    assert len(check(folder).problems) == 2


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("field", ["file", "recipe_sha256", "log_sha256"])
def test_files_of_an_import(folder: Path, built: Any, field: str, how: str) -> None:
    """The logger's own file, the recipe, all of the log but its readings."""
    record = built.imports[1]
    digest = record.files[0].sha256 if field == "file" else getattr(record, field)
    _spoil(folder / "files" / digest, how)
    found = check(folder)

    assert f"Its file files/{digest} (" in first(found)
    assert first(found).startswith("entry ")


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("field", ["pdf_sha256", "result_sha256"])
def test_files_of_a_certificate(folder: Path, built: Any, field: str, how: str) -> None:
    """Its PDF and its result."""
    record = built.certificates[0]
    digest = getattr(record, field)
    _spoil(folder / "files" / digest, how)
    found = check(folder)

    assert f"Its file files/{digest} ({field}) " in told(found)
    assert f"entry {record.seq} (certificate YARD-2026-0001, version 1)" in told(found)


def test_two_swapped_attachments(folder: Path, built: Any) -> None:
    """The papers of the two certificates change places."""
    one, other = (folder / "files" / each.pdf_sha256 for each in built.certificates)
    content = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(content)
    found = check(folder)

    assert [one.where.split("(")[1] for one in found.problems] == [
        "certificate YARD-2026-0001, version 1)",
        "certificate YARD-2026-0002, version 1)",
    ]


def test_one_bit_of_each_attachment(folder: Path) -> None:
    """At a place drawn by lot, in every file that a record names."""
    chance = random.Random(20260302)
    paths = sorted(
        path
        for part in ("files", "readings")
        for path in (folder / part).rglob("*")
        if path.is_file()
    )
    assert len(paths) == 17
    for path in paths:
        content = path.read_bytes()
        place = chance.randrange(len(content))
        flipped = bytes([content[place] ^ 1 << chance.randrange(8)])
        path.write_bytes(content[:place] + flipped + content[place + 1 :])
        found = check(folder)
        path.write_bytes(content)

        assert path.name in told(found)
    assert check(folder).problems == ()


def test_one_bit_of_cells_drawn_by_lot(folder: Path) -> None:
    """In rows of the journal and of all tables."""
    chance = random.Random(20260303)
    cells = [
        (table, column.name)
        for table, columns in [
            ("journal", [*ROWS["site"].metadata.tables["journal"].columns]),
            *((kind, [*row.__table__.columns]) for kind, row in ROWS.items()),
        ]
        for column in columns
    ]
    for table, column in chance.sample(cells, 30):
        with tampering(folder, strict=False) as database:
            seqs = [row[0] for row in database.execute(f"SELECT seq FROM {table}")]
            seq = chance.choice(seqs)
            query = f"SELECT {column} FROM {table} WHERE seq = ?"
            value = database.execute(query, (seq,)).fetchone()[0]
            other = _flipped(value, chance)
            place = f"UPDATE {table} SET {column} = ? WHERE seq = ?"
            database.execute(place, (other, seq))
        found = check(folder)
        with tampering(folder) as database:
            database.execute(place, (value, other if column == "seq" else seq))

        assert found.problems, (table, column, value, other)
    assert check(folder).problems == ()


def _flipped(value: Any, chance: random.Random) -> Any:
    if value is None:
        return "\x01"
    if isinstance(value, int):
        return value ^ 1 << chance.randrange(8, 20)
    raw = bytearray(value.encode())
    if not raw:
        return "\x01"
    raw[chance.randrange(len(raw))] ^= 1 << chance.randrange(7)
    # Not all that comes out is text; then it is kept as bytes.
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return bytes(raw)


# --- heads.txt and the description --------------------------------------------------------------


def _lines(folder: Path) -> list[str]:
    return (folder / "heads.txt").read_text(encoding="ascii").splitlines()


def _write(folder: Path, lines: list[str]) -> None:
    text = "".join(f"{line}\n" for line in lines)
    (folder / "heads.txt").write_text(text, encoding="ascii", newline="\n")


@pytest.mark.parametrize("number", [1, 2, 5, 11])
def test_a_changed_root_in_the_heads(folder: Path, number: int) -> None:
    """Named by its line."""
    lines = _lines(folder)
    size, _, time = lines[number - 1].split()
    lines[number - 1] = f"{size} {'ab' * 32} {time}"
    _write(folder, lines)

    assert first(check(folder)).startswith(f"heads.txt, line {number}: Its head of {size} entries")


@pytest.mark.parametrize(
    ("line", "telling"),
    [
        ("", "It is no head: ''."),
        ("nonsense", "It is no head: 'nonsense'."),
        (f"34 {'AB' * 32} 2026-04-20T09:00:00.000000Z", "It is no head: "),
        (f"0 {'ab' * 32} 2026-04-20T09:00:00.000000Z", "with one of 0."),
        (f"34 {'ab' * 32} 2026-04-20T09:00:00.000000Z", "with one of 34."),
        (f"35 {'ab' * 32} 2026-04-20T09:00:00.000000Z", "It knows of 35 entries"),
    ],
)
def test_an_added_line_in_the_heads(folder: Path, line: str, telling: str) -> None:
    """At the end."""
    _write(folder, [*_lines(folder), line])

    assert telling in told(check(folder))


def test_heads_in_another_order(folder: Path) -> None:
    """They only grow."""
    lines = _lines(folder)
    _write(folder, [lines[1], lines[0], *lines[2:]])

    assert first(check(folder)).startswith("heads.txt, line 2: It follows a head of")


@pytest.mark.parametrize("left", [0, 1, 5])
def test_heads_that_were_cut(folder: Path, left: int) -> None:
    """More than the newest change lacks its line."""
    _write(folder, _lines(folder)[:left])
    found = check(folder)

    assert [one.where for one in found.problems] == ["heads.txt"]
    assert ("lines were taken away" if left else "It is missing or empty") in first(found)


def test_heads_that_were_taken_away_and_begun_anew(folder: Path) -> None:
    """A next change writes a new file; that the lines before are gone is seen for ever."""
    lines = _lines(folder)
    _write(folder, lines[-1:])

    (found,) = check(folder).problems
    assert found.where == "heads.txt"
    assert "begun anew" in found.what


def test_heads_that_are_gone(folder: Path) -> None:
    """The whole file."""
    (folder / "heads.txt").unlink()

    assert "heads.txt: It is missing or empty" in first(check(folder))


def test_heads_that_cannot_be_read(folder: Path) -> None:
    """A folder in their place."""
    (folder / "heads.txt").unlink()
    (folder / "heads.txt").mkdir()

    assert "heads.txt: It cannot be read" in told(check(folder))


def test_the_description_with_another_time(folder: Path) -> None:
    """When the workspace was made is known to the first entry."""
    path = folder / "lungwort-workspace.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("2026-03-02T08:00:00", "2026-03-01T08:00:00"), encoding="utf-8")
    found = check(folder)

    assert [one.where for one in found.problems] == ["lungwort-workspace.toml"]
    assert "It says that the workspace was created at 2026-03-01T08:00:00" in first(found)


def test_the_description_with_another_name(folder: Path) -> None:
    """What the workspace is called is known to the first entry."""
    path = folder / "lungwort-workspace.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(kit.NAME, "Another Yard"), encoding="utf-8")
    found = check(folder)

    assert [one.where for one in found.problems] == ["lungwort-workspace.toml"]
    assert f"It calls the workspace 'Another Yard', and the first entry '{kit.NAME}'" in first(
        found
    )


def test_a_file_that_is_no_database_is_refused(folder: Path) -> None:
    """There is nothing to check; the message says what to do."""
    (folder / "register.sqlite").write_bytes(b"no database at all, " * 500)
    for name in ("register.sqlite-wal", "register.sqlite-shm"):
        (folder / name).unlink(missing_ok=True)

    with pytest.raises(WorkspaceError, match="damaged or not a database"):
        check(folder)


# --- The attacker's tools -----------------------------------------------------------------------


def _append(
    database: sqlite3.Connection,
    record: dict[str, Any],
    *,
    seq: int | None = None,
    time: str = "2026-04-20T09:00:00.000000Z",
) -> None:
    """Add a person, with entry, row and thing."""
    number, previous = database.execute(
        "SELECT seq, hash FROM journal WHERE seq < ? ORDER BY seq DESC LIMIT 1", (seq or 10**6,)
    ).fetchone()
    seq = number + 1
    thing = f"person-{hashlib.sha256(str(record).encode()).hexdigest()[:16]}".translate(
        str.maketrans("0189", "abcd")
    )
    whole = {
        "id": thing,
        "version": 1,
        "reason": "",
        "voided": False,
        "note": "",
        "role": "",
        "competent_until": None,
        "in_use": True,
    } | record
    content = canonical(
        {
            "format": "lungwort-journal/1",
            "seq": seq,
            "time": time,
            "who": kit.ANSWERS,
            "action": "add",
            "kind": "person",
            "id": thing,
            "version": 1,
            "record": whole,
            "previous": previous,
        }
    )
    database.execute("INSERT INTO things VALUES (?, 'person')", (thing,))
    database.execute(
        "INSERT INTO journal (seq, time, who, action, kind, id, version, content, hash, subtrees)"
        " VALUES (?, ?, ?, 'add', 'person', ?, 1, ?, ?, '[]')",
        (seq, time, kit.ANSWERS, thing, content, entry_hash(content)),
    )
    columns = {"seq": seq, "name_key": whole["name"]} | whole
    columns["voided"], columns["in_use"] = 0, 1
    names = ", ".join(columns)
    database.execute(
        f"INSERT INTO person ({names}) VALUES ({', '.join('?' * len(columns))})",
        tuple(columns.values()),
    )


def _rehash(database: sqlite3.Connection) -> Tree:
    """Make the chain and the tree anew, so that all fits together again."""
    previous, tree = FIRST_PREVIOUS, Tree()
    query = "SELECT seq, content FROM journal ORDER BY seq"
    for seq, text in database.execute(query).fetchall():
        content = canonical(json.loads(text) | {"previous": previous})
        previous = entry_hash(content)
        tree.append(leaf_hash(content.encode()))
        subtrees = canonical([one.hex() for one in tree.closed(seq)])
        database.execute(
            "UPDATE journal SET content = ?, hash = ?, subtrees = ? WHERE seq = ?",
            (content, previous, subtrees, seq),
        )
    return tree


def _certificates_anew(database: sqlite3.Connection, papers: Path | None = None) -> None:
    """Give each certificate the head that it should carry now, and a paper that shows it."""
    for seq, recorded in database.execute(
        "SELECT seq, pdf_sha256 FROM certificate ORDER BY seq"
    ).fetchall():
        pdf = recorded
        tree = _rehash(database)
        text = database.execute("SELECT content FROM journal WHERE seq = ?", (seq,)).fetchone()[0]
        content = json.loads(text)
        root = tree.root(content["record"]["tree_size"]).hex()
        content["record"]["tree_root"] = root
        if papers is not None:
            result = (papers / content["record"]["result_sha256"]).read_bytes()
            paper = b"%PDF-1.7 forged\nstream\n" + result + b"\nendstream"
            pdf = hashlib.sha256(paper).hexdigest()
            (papers / pdf).write_bytes(paper)
            (papers / content["record"]["pdf_sha256"]).unlink()
            content["record"]["pdf_sha256"] = pdf
        database.execute("UPDATE journal SET content = ? WHERE seq = ?", (canonical(content), seq))
        database.execute(
            "UPDATE certificate SET tree_root = ?, pdf_sha256 = ? WHERE seq = ?", (root, pdf, seq)
        )
    _rehash(database)


def _cut(database: sqlite3.Connection, seq: int) -> None:
    for table in ROWS:
        database.execute(f"DELETE FROM {table} WHERE seq >= ?", (seq,))
    database.execute("DELETE FROM journal WHERE seq >= ?", (seq,))
    database.execute("DELETE FROM things WHERE id NOT IN (SELECT id FROM journal)")


def _cut_heads(folder: Path, size: int) -> None:
    _write(folder, [line for line in _lines(folder) if int(line.split()[0]) <= size])


def _rewrite_heads(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "register.sqlite")) as database:
        contents = database.execute("SELECT content FROM journal ORDER BY seq").fetchall()
    tree = Tree(leaf_hash(text.encode()) for (text,) in contents)
    lines = []
    for line in _lines(folder):
        size, _, time = line.split()
        lines.append(f"{size} {tree.root(int(size)).hex()} {time}")
    _write(folder, lines)
