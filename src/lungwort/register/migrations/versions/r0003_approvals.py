"""A table for approvals of certificates by a second person.

Nothing of the program's other modules is used here, so that this step stays as it was.
"""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0003"
down_revision: Final = "0002"
branch_labels: Final = None
depends_on: Final = None

_WHOLE: Final = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_NAME: Final = "approval"
_NAMING: Final = (
    "verdict_id",
    "outlet_id",
    "supply_id",
    "asked_by_id",
    "decided_by_id",
    "certificate_id",
)


def upgrade() -> None:
    """Add the table; all that is there stays as it is."""
    op.create_table(
        _NAME,
        sa.Column("seq", _WHOLE, nullable=False),
        _text("id"),
        sa.Column("version", _WHOLE, nullable=False),
        _text("reason"),
        sa.Column("voided", sa.Integer(), nullable=False),
        _text("note"),
        _text("verdict_id"),
        _text("outlet_id"),
        _text("supply_id"),
        _text("state"),
        _text("asked_at"),
        _text("asked_by_id"),
        _text("decided_at", nullable=True),
        _text("decided_by_id", nullable=True),
        _text("certificate_id", nullable=True),
        _text("why"),
        sa.UniqueConstraint("id", "version", name="uq_approval_id_version"),
        sa.ForeignKeyConstraint(["seq"], ["journal.seq"], name="fk_approval_seq"),
        _to_thing("id"),
        *(_to_thing(name) for name in _NAMING),
        sa.PrimaryKeyConstraint("seq", name="pk_approval"),
        sqlite_strict=True,
    )
    for name in _NAMING:
        op.create_index(f"ix_approval_{name}", _NAME, [name])
    if op.get_bind().dialect.name == "sqlite":
        _refuse_in_sqlite()
    else:
        op.execute(
            "CREATE TRIGGER approval_refuse BEFORE UPDATE OR DELETE OR TRUNCATE ON approval "
            "FOR EACH STATEMENT EXECUTE FUNCTION lungwort_refuse()"
        )


def downgrade() -> None:
    """Refuse: a record is never taken back."""
    raise NotImplementedError("A database is not taken back to an older lungwort.")


def _text(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=nullable)


def _to_thing(column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], ["things.id"], name=f"fk_approval_{column}")


def _refuse_in_sqlite() -> None:
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER approval_no_{action.lower()} BEFORE {action} ON approval "
            f"BEGIN SELECT RAISE(ABORT, '{action} on approval is refused: the record only grows'); END"
        )
    # INSERT OR REPLACE takes a row away without asking the trigger above.
    op.execute(
        "CREATE TRIGGER approval_no_replace BEFORE INSERT ON approval "
        "WHEN EXISTS (SELECT 1 FROM approval WHERE seq = NEW.seq "
        "OR (id = NEW.id AND version = NEW.version)) "
        "BEGIN SELECT RAISE(ABORT, 'REPLACE on approval is refused: the record only grows'); END"
    )
