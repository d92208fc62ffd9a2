"""The first tables: things, journal, one table a kind of record; and what refuses to change them.

Nothing of the program's other modules is used here, so that this step stays as it was.
"""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0001"
down_revision: Final = None
branch_labels: Final = None
depends_on: Final = None

_WHOLE: Final = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables of an empty database."""
    _table("things", _text("id"), _text("kind"), keys=("id",))
    _table(
        "journal",
        _whole("seq"),
        _text("time"),
        _text("who"),
        _text("action"),
        _text("kind"),
        _text("id"),
        _whole("version"),
        _text("content"),
        _text("hash"),
        _text("subtrees"),
        sa.UniqueConstraint("id", "version", name="uq_journal_id_version"),
        _to_thing("journal", "id"),
        keys=("seq",),
    )
    op.create_index("ix_journal_kind", "journal", ["kind"])
    _records(
        "site",
        _text("name"),
        _text("title"),
        _text("address"),
        _text("zone"),
        _text("limit_set"),
        _text("plan"),
        _whole("retention_years"),
        _flag("second_signature"),
        _flag("in_use"),
        named=True,
    )
    _records(
        "person",
        _text("name"),
        _text("role"),
        _text("competent_until", optional=True),
        _flag("in_use"),
        named=True,
    )
    _records(
        "supply",
        _reference("site_id"),
        _text("name"),
        _text("title"),
        _text("maker_plate"),
        _text("kind"),
        _flag("oil_lubricated", optional=True),
        _text("lubricant"),
        _text("intake"),
        _text("serves"),
        _text("pressure_bar_g", optional=True),
        _text("lowest_temperature_c", optional=True),
        _text("limit_set"),
        _flag("in_use"),
        named=True,
    )
    _records(
        "stage",
        _reference("supply_id"),
        _text("name"),
        _text("kind"),
        _whole("place"),
        _text("change_hours", optional=True),
        _whole("change_months", optional=True),
        _flag("in_use"),
    )
    _records(
        "lot",
        _text("name"),
        _text("kind"),
        _text("device"),
        _text("analyte"),
        _text("lot_number"),
        _text("expires", optional=True),
        _whole("stock"),
        named=True,
    )
    _records(
        "cartridge_change",
        _reference("stage_id"),
        _text("time"),
        _text("running_hours", optional=True),
        _reference("lot_id", optional=True),
        _reference("by_id"),
    )
    _records(
        "running_hours",
        _reference("supply_id"),
        _text("time"),
        _text("hours"),
    )
    _records(
        "event",
        _reference("supply_id"),
        _text("kind"),
        _text("time"),
        _text("text"),
        _reference("by_id"),
    )
    _records(
        "risk_assessment",
        _reference("supply_id"),
        _text("time"),
        _text("questionnaire"),
        _text("answers"),
        _whole("proposed_months"),
        _whole("chosen_months"),
        _text("why"),
        _reference("by_id"),
    )
    _records(
        "outlet",
        _reference("supply_id"),
        _text("name"),
        _text("place"),
        _flag("in_use"),
        named=True,
    )
    _records(
        "wearer_equipment",
        _reference("outlet_id"),
        _text("name"),
        _text("minimum_flow_l_min", optional=True),
        _text("lowest_pressure_bar_g", optional=True),
        _text("highest_pressure_bar_g", optional=True),
        _whole("count"),
        _flag("in_use"),
    )
    _records(
        "instrument",
        _text("name"),
        _text("type"),
        _text("serial"),
        _text("channels"),
        _whole("calibration_months", optional=True),
        _whole("bump_days", optional=True),
        _flag("in_use"),
        named=True,
    )
    _records(
        "calibration",
        _reference("instrument_id"),
        _text("time"),
        _text("kind"),
        _text("rows"),
        _flag("passed"),
        _text("valid_until", optional=True),
        _text("by"),
        _text("paper_sha256"),
    )
    _records(
        "hand_test",
        _reference("outlet_id"),
        _text("procedure"),
        _text("procedure_sha256"),
        _text("state"),
        _text("why"),
        _text("started"),
        _text("ended"),
        _reference("tester_id"),
        _reference("second_person_id", optional=True),
        _text("answers"),
        _text("readings"),
    )
    _records(
        "lot_use",
        _reference("lot_id"),
        _text("time"),
        _whole("count"),
        _text("why"),
        _reference("hand_test_id", optional=True),
    )
    _records(
        "log_import",
        _reference("outlet_id"),
        _reference("instrument_id", optional=True),
        _text("files"),
        _text("content_sha256"),
        _text("recipe_sha256"),
        _text("log_sha256"),
        _text("parts"),
        _text("start", optional=True),
        _text("end", optional=True),
        _whole("rows"),
        _whole("refused"),
        _reference("by_id"),
    )
    _records(
        "verdict",
        _reference("outlet_id"),
        _reference("supply_id"),
        _text("overall"),
        _text("reasons"),
        _text("lapses"),
        _text("limits"),
        _text("limit_set"),
        _text("limit_set_digest"),
        _text("inputs_sha256"),
        _text("result_sha256"),
        _text("log_import_ids"),
        _text("hand_test_ids"),
        _text("start", optional=True),
        _text("end", optional=True),
        _text("judged_at"),
        _text("program_version"),
        _reference("by_id"),
        _text("pressure_bar_g", optional=True),
        _text("lowest_temperature_c", optional=True),
    )
    _records(
        "certificate",
        _text("number"),
        _reference("verdict_id"),
        _reference("outlet_id"),
        _reference("supply_id"),
        _text("issued_at"),
        _reference("issued_by_id"),
        _reference("approved_by_id", optional=True),
        _text("next_test_by", optional=True),
        _whole("tree_size"),
        _text("tree_root"),
        _text("result_sha256"),
        _text("pdf_sha256"),
        _flag("digitally_signed"),
        named=True,
    )
    _records(
        "finding",
        _text("number"),
        _reference("supply_id"),
        _reference("outlet_id", optional=True),
        _reference("verdict_id", optional=True),
        _text("opened_at"),
        _text("text"),
        _text("analytes"),
        _reference("by_id"),
        named=True,
    )
    _records(
        "action",
        _reference("finding_id"),
        _text("kind"),
        _text("time"),
        _text("text"),
        _reference("verdict_id", optional=True),
        _reference("by_id"),
    )
    _records(
        "supply_state",
        _reference("supply_id"),
        _text("state"),
        _text("time"),
        _text("why"),
        _text("finding_ids"),
        _text("verdict_ids"),
        _reference("by_id"),
    )


def downgrade() -> None:
    """Refuse: a record is never taken back."""
    raise NotImplementedError("A database is not taken back to an older lungwort.")


def _text(name: str, *, optional: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=optional)


def _whole(name: str, *, optional: bool = False) -> sa.Column[int]:
    return sa.Column(name, _WHOLE, nullable=optional)


def _flag(name: str, *, optional: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=optional)


def _reference(name: str, *, optional: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=optional, info={"thing": True})


def _to_thing(table: str, column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], ["things.id"], name=f"fk_{table}_{column}")


def _records(name: str, *columns: sa.Column[str] | sa.Column[int], named: bool = False) -> None:
    things = [one.name for one in columns if one.info.get("thing")]
    _table(
        name,
        _whole("seq"),
        _text("id"),
        _whole("version"),
        _text("reason"),
        _flag("voided"),
        _text("note"),
        *columns,
        *([_text("name_key")] if named else []),
        sa.UniqueConstraint("id", "version", name=f"uq_{name}_id_version"),
        sa.ForeignKeyConstraint(["seq"], ["journal.seq"], name=f"fk_{name}_seq"),
        _to_thing(name, "id"),
        *(_to_thing(name, one) for one in things),
        keys=("seq",),
    )
    for one in [*things, *(["name_key"] if named else [])]:
        op.create_index(f"ix_{name}_{one}", name, [one])


def _table(name: str, *parts: sa.schema.SchemaItem, keys: tuple[str, ...]) -> None:
    op.create_table(
        name, *parts, sa.PrimaryKeyConstraint(*keys, name=f"pk_{name}"), sqlite_strict=True
    )
    if op.get_bind().dialect.name == "sqlite":
        _refuse_in_sqlite(name, keys)
    else:
        _refuse_in_postgresql(name)


def _refuse_in_sqlite(name: str, keys: tuple[str, ...]) -> None:
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {name}_no_{action.lower()} BEFORE {action} ON {name} "
            f"BEGIN SELECT RAISE(ABORT, '{action} on {name} is refused: the record only grows'); END"
        )
    # INSERT OR REPLACE takes a row away without asking the trigger above.
    same = " AND ".join(f"{key} = NEW.{key}" for key in keys)
    if name != "things":
        same = f"{same} OR (id = NEW.id AND version = NEW.version)"
    there = f"SELECT 1 FROM {name} WHERE {same}"  # noqa: S608 - names from this module
    op.execute(
        f"CREATE TRIGGER {name}_no_replace BEFORE INSERT ON {name} "
        f"WHEN EXISTS ({there}) "
        f"BEGIN SELECT RAISE(ABORT, 'REPLACE on {name} is refused: the record only grows'); END"
    )


def _refuse_in_postgresql(name: str) -> None:
    op.execute(
        "CREATE OR REPLACE FUNCTION lungwort_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ "
        "BEGIN RAISE EXCEPTION '% on % is refused: the record only grows', TG_OP, TG_TABLE_NAME; "
        "END $$"
    )
    op.execute(
        f"CREATE TRIGGER {name}_refuse BEFORE UPDATE OR DELETE OR TRUNCATE ON {name} "
        "FOR EACH STATEMENT EXECUTE FUNCTION lungwort_refuse()"
    )
