"""The words for the state of a supply, as all papers of the register write them."""

from __future__ import annotations

from typing import Final

from lungwort.register.model import (
    AIRLINE_COMPRESSOR,
    CHARGING_COMPRESSOR,
    CYLINDER_BANK,
    IN_SERVICE,
    RING_MAIN,
    UNDER_TEST,
    WITHDRAWN,
)

STATE_WORDS: Final = {
    IN_SERVICE: "In service",
    WITHDRAWN: "WITHDRAWN",
    UNDER_TEST: "Under test",
}
SUPPLY_WORDS: Final = {
    AIRLINE_COMPRESSOR: "airline compressor",
    CHARGING_COMPRESSOR: "charging compressor",
    CYLINDER_BANK: "cylinder bank",
    RING_MAIN: "ring main",
}
"""Kinds of supply in words."""
