"""The pages, one module for each place in the menu."""

from __future__ import annotations

from typing import Final

PAGES: Final = (
    "accounts",
    "approvals",
    "judge",
    "logs",
    "readings",
    "sign_in",
    "tasks",
    "tests",
    "today",
)
"""Modules with a router, in the order of the alphabet."""
