"""The tables in which accounts are kept. Times are whole seconds since 1970, UTC."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa

FORM: Final = 1
"""Form of the tables; kept in ``user_version`` of the file."""

metadata = sa.MetaData()

account = sa.Table(
    "account",
    metadata,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("person_id", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("name_key", sa.Text, nullable=False),
    sa.Column("role", sa.Text, nullable=False),
    sa.Column("password", sa.Text, nullable=False),
    sa.Column("must_change", sa.Boolean, nullable=False),
    sa.Column("language", sa.Text, nullable=False, default=""),
    sa.Column("totp", sa.Text),
    sa.Column("totp_step", sa.Integer, nullable=False, default=-1),
    sa.Column("totp_proposed", sa.Text),
    sa.Column("in_use", sa.Boolean, nullable=False, default=True),
    sa.Column("made", sa.Integer, nullable=False),
    sa.Index("one_account_a_name", "name_key", unique=True, sqlite_where=sa.text("in_use")),
)

_ACCOUNT = "account.id"

recovery = sa.Table(
    "recovery",
    metadata,
    sa.Column("digest", sa.Text, primary_key=True),
    sa.Column("account_id", sa.ForeignKey(_ACCOUNT), nullable=False),
)

visit = sa.Table(
    "visit",
    metadata,
    sa.Column("digest", sa.Text, primary_key=True),
    sa.Column("id", sa.Text, nullable=False, unique=True),
    sa.Column("account_id", sa.ForeignKey(_ACCOUNT), nullable=False),
    sa.Column("begun", sa.Integer, nullable=False),
    sa.Column("seen", sa.Integer, nullable=False),
    sa.Column("peer", sa.Text, nullable=False),
    sa.Column("browser", sa.Text, nullable=False),
)

token = sa.Table(
    "token",
    metadata,
    sa.Column("digest", sa.Text, primary_key=True),
    sa.Column("id", sa.Text, nullable=False, unique=True),
    sa.Column("account_id", sa.ForeignKey(_ACCOUNT), nullable=False),
    sa.Column("label", sa.Text, nullable=False),
    sa.Column("scopes", sa.Text, nullable=False),
    sa.Column("made", sa.Integer, nullable=False),
    sa.Column("expires", sa.Integer, nullable=False),
    sa.Column("last_used", sa.Integer),
)

attempt = sa.Table(
    "attempt",
    metadata,
    sa.Column("kind", sa.Text, primary_key=True),
    sa.Column("subject", sa.Text, primary_key=True),
    sa.Column("failures", sa.Integer, nullable=False),
    sa.Column("last", sa.Integer, nullable=False),
)
