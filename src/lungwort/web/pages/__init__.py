"""The pages, one module for each place in the menu."""

from __future__ import annotations

from typing import Final

PAGES: Final = (
    "accounts",
    "approvals",
    "findings",
    "judge",
    "logs",
    "plan",
    "readings",
    "sign_in",
    "supplies",
    "tasks",
    "tests",
    "today",
)
"""Modules with a router, in the order of the alphabet."""
