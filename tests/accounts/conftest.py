"""Accounts in a folder of their own, with hashes that cost next to nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from lungwort.accounts import passwords
from lungwort.accounts.store import Accounts, open_accounts


@pytest.fixture
def cheap(monkeypatch: pytest.MonkeyPatch) -> Iterator[PasswordHasher]:
    """Hash with the least that Argon2 allows, so that hundreds of tries take no minutes."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)
    passwords.nobodys.cache_clear()
    yield hasher
    passwords.nobodys.cache_clear()


@pytest.fixture
def accounts(tmp_path: Path, cheap: PasswordHasher) -> Iterator[Accounts]:
    """Open the accounts of an empty folder."""
    assert cheap is passwords.hasher()
    with open_accounts(tmp_path) as made:
        yield made
