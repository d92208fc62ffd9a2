"""lungwort: is this air fit to breathe, and can it be proved.

>>> import lungwort as lw
>>> lw.limit_set("en12021-2014-airline").document
'EN 12021:2014'

Three functions and the types that travel are here; everything else is imported from its room.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lungwort.air.interval import Interval
    from lungwort.errors import AmbiguityError, LungwortError
    from lungwort.limits.load import limit_set
    from lungwort.limits.model import Conditions, Limit, LimitSet
    from lungwort.logs.model import Channel, Log, Source
    from lungwort.logs.read import read_log
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.judge import judge
    from lungwort.verdict.model import Excursion, Finding, Options, Verdict

__version__ = "0.1.0"

_HOME = {
    "AmbiguityError": "lungwort.errors",
    "LungwortError": "lungwort.errors",
    "Channel": "lungwort.logs.model",
    "Conditions": "lungwort.limits.model",
    "Excursion": "lungwort.verdict.model",
    "Finding": "lungwort.verdict.model",
    "Interval": "lungwort.air.interval",
    "Limit": "lungwort.limits.model",
    "LimitSet": "lungwort.limits.model",
    "Log": "lungwort.logs.model",
    "Options": "lungwort.verdict.model",
    "Source": "lungwort.logs.model",
    "SpotTest": "lungwort.spot.model",
    "Verdict": "lungwort.verdict.model",
    "judge": "lungwort.verdict.judge",
    "limit_set": "lungwort.limits.load",
    "read_log": "lungwort.logs.read",
}

__all__ = [
    "AmbiguityError",
    "Channel",
    "Conditions",
    "Excursion",
    "Finding",
    "Interval",
    "Limit",
    "LimitSet",
    "Log",
    "LungwortError",
    "Options",
    "Source",
    "SpotTest",
    "Verdict",
    "judge",
    "limit_set",
    "read_log",
]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the module's own lazy names
    """Load a name from its room on first use, so that ``import lungwort`` costs nothing."""
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'lungwort' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted([*__all__, "__version__"])
