"""The pages, one module for each place in the menu."""

from __future__ import annotations

from typing import Final

PAGES: Final = (
    "accounts",
    "approvals",
    "calculations",
    "cause",
    "certificates",
    "convert",
    "exposure",
    "findings",
    "instruments",
    "judge",
    "limits",
    "limits_form",
    "limits_own",
    "logs",
    "lots",
    "outlets",
    "packs",
    "people",
    "plan",
    "plant",
    "plant_air",
    "plant_bank",
    "plant_reserve",
    "plant_rows",
    "plant_treatment",
    "print_",
    "readings",
    "sign_in",
    "sites",
    "supply_assessment",
    "supply_facts",
    "supplies",
    "tasks",
    "tests",
    "today",
    "trend",
    "uncertainty",
    "verify",
    "welcome",
    "workspace",
)
"""Modules with a router, in the order of the alphabet; but ``/supplies/new`` goes before
``/supplies/{id}``, which would take it for an id."""
