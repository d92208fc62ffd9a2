"""An invented calculation with all that a calculation can have."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from lungwort.paper import calculation as c

MADE_AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
BEGAN_S = datetime(2026, 11, 24, 6, 0, tzinfo=UTC).timestamp()


def invented(**more: object) -> c.Calculation:
    """Make one; whatever is given takes the place of its own."""
    xs = tuple(BEGAN_S + 60.0 * at for at in range(240))
    ys = tuple(4.0 + 2.0 * math.sin(at / 30.0) if at != 100 else math.nan for at in range(240))
    given: dict[str, object] = {
        "kind": "invented",
        "title": "Is there enough air?",
        "subject": "supply hall <b>, site merrowgate (invented)",
        "made_at": MADE_AT,
        "zone": "Europe/London",
        "state": c.NOT_PROVEN,
        "word": "not proven",
        "answer": "The machine delivers 1 380 L/min and 1 200 L/min are drawn.",
        "reasons": ("No leak test is on the sheet.",),
        "results": (
            c.Quantity("margin", 180.0, "L/min", low=120.0, high=240.0, source="computed"),
            c.Quantity("first to suffer", "spray-2"),
        ),
        "inputs": (c.Quantity("free air delivered", 1450.0, "L/min", source="entered"),),
        "grids": (
            c.Grid(
                "Wearers",
                ("name", "flow [L/min]", "pressure [bar(g)]"),
                (("blaster", 300.0, 6.41), ("painter", 180.0, None)),
                marked=(1,),
                note="At the peak.",
            ),
        ),
        "plots": (
            c.Plot(
                "Pressure over time",
                "time",
                "time",
                "pressure",
                "bar(g)",
                (
                    c.Curve(
                        "likely", xs, ys, tuple(y - 0.5 for y in ys), tuple(y + 0.5 for y in ys)
                    ),
                ),
                (c.Level("least", 3.0), c.Level("stopped", BEGAN_S + 6000.0, across=False)),
                ((BEGAN_S + 1000.0, BEGAN_S + 2000.0),),
                "It falls below the least.",
            ),
            c.Plot(
                "Demand",
                "wearers",
                "",
                "flow",
                "L/min",
                (
                    c.Curve("demand", (1.0, 2.0, 3.0), (300.0, 500.0, 660.0), style="steps"),
                    c.Curve("supply", (1.0, 3.0), (1380.0, 1380.0), style="dashed"),
                    c.Curve("measured", (2.0,), (480.0,), style="points"),
                ),
            ),
        ),
        "assumptions": (
            c.Stated("Hoses are smooth.", "common practice, no source", "pressure drop is less"),
        ),
        "uncertainty": "About a tenth.",
        "cautions": ("It does not replace a measurement at the wearer.",),
        "sources": ("ISO 1217 (from memory)",),
        "left_out": ("The height of the hoses.",),
        "next_steps": ("Make a leak test.",),
        "data": {"margin_l_min": 180.0, "endless": math.inf},
    }
    return c.Calculation(**{**given, **more})  # type: ignore[arg-type]
