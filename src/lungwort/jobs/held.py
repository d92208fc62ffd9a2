"""What the supply's limits say of evidence the moment it comes in; nothing of it is on record.

Whoever has just read that the air is bad must not have to ask for a verdict to be told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import LungwortError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.register.model import HandTest, LogImport, Outlet
    from lungwort.register.workspace import Workspace
    from lungwort.verdict.model import Verdict

DOES_NOT_CONFORM: Final = "does_not_conform"
STOP: Final = "Let nobody breathe this air until a competent person has looked into it."


@frozen
class Held:
    """What the supply's limits say of evidence; nothing of it is on record.

    Parameters
    ----------
    overall : str
        ``conforms``, ``does_not_conform``, ``not_proven``, or empty where it was not judged.
    limit_set : str
        Id of the limit set.
    outside : tuple of str
        Limits that are not kept, with the reason.
    not_judged : tuple of str
        Limits that readings are outside of which are not judged, such as while settling.
    lapses : tuple of str
        What the evidence rests on and is not in order.
    why_not : str
        Why it was not judged.
    """

    overall: str = ""
    limit_set: str = ""
    outside: tuple[str, ...] = ()
    not_judged: tuple[str, ...] = ()
    lapses: tuple[str, ...] = ()
    why_not: str = ""

    @property
    def is_outside(self) -> bool:
        """Whether a limit that must be kept is not."""
        return self.overall == DOES_NOT_CONFORM


def hold(
    workspace: Workspace,
    outlet: Outlet,
    imports: Sequence[LogImport],
    tests: Sequence[HandTest],
    now: datetime,
) -> Held:
    """Hold evidence on record against the limits of its supply, and record nothing.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    outlet : Outlet
        Where the air was taken.
    imports, tests : sequence
        The evidence.
    now : datetime
        Present moment, with a time zone.

    Returns
    -------
    Held
        What the limits say, or why they say nothing: the evidence is on record whatever it is.
    """
    from lungwort.jobs.judging import judge_evidence  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.model import Options  # noqa: PLC0415 - keeps --help instant

    try:
        judged = judge_evidence(workspace, outlet, imports, tests, Options(), now)
    except LungwortError as error:
        return Held(why_not=str(error))
    verdict = judged.verdict
    return Held(
        overall=verdict.overall,
        limit_set=verdict.limit_set.id,
        outside=_outside(verdict),
        not_judged=tuple(
            dict.fromkeys(
                f"{one.cause}: {what}" for one in verdict.not_judged for what in one.outside
            )
        ),
        lapses=judged.lapses,
    )


def _outside(verdict: Verdict) -> tuple[str, ...]:
    from lungwort.paper.text import analyte_name  # noqa: PLC0415 - keeps --help instant

    return tuple(
        f"{analyte_name(one.limit.analyte)}, {one.limit_text}"
        f"{'' if one.limit.required else ' (advice)'}: {one.reason}"
        for one in verdict.findings
        if one.verdict == DOES_NOT_CONFORM
    )
