"""Where a test under way stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import frozen

from lungwort.spot import procedure_model as m
from lungwort.spot import runner
from lungwort.spot.answers import length_of, wanted

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.spot.procedure_model import Ask, Step
    from lungwort.spot.run_model import Run


@frozen(kw_only=True)
class Stand:
    """Where a test under way stands.

    Parameters
    ----------
    id : str
        Its name.
    run : Run
        The test.
    step : Step, optional
        The step that it has come to; None where all is entered.
    ask : Ask, optional
        What is to be entered next.
    wanted : str
        What may be entered.
    wait_length_s, wait_left_s : float, optional
        Length of the wait that comes next or is under way, and what is left of it [s]; None where
        none is, or it has not begun.
    void : tuple of str
        Why the test is void already; empty where it is not.
    told : tuple of str
        What is to be minded about the last entry.
    refused : bool
        Whether the last entry was not accepted.
    """

    id: str
    run: Run
    step: Step | None = None
    ask: Ask | None = None
    wanted: str = ""
    wait_length_s: float | None = None
    wait_left_s: float | None = None
    void: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    refused: bool = False

    def plain(self) -> dict[str, Any]:
        """Give it as JSON values."""
        return {
            "id": self.id,
            "outlet": self.run.context.outlet,
            "tester": self.run.context.tester,
            "procedure": self.run.procedure.id,
            "started": self.run.started.isoformat(),
            "next": None if self.ask is None else self.ask.name,
            "step": None if self.step is None else self.step.title,
            "wait_left_s": self.wait_left_s,
            "void": list(self.void),
            "entries": [
                {
                    "name": one.name,
                    "given": one.given,
                    "time": one.time.isoformat(),
                    "state": one.state,
                    "why": one.why,
                }
                for one in self.run.entries
            ],
        }


def stand_of(
    run: Run, now: datetime, told: tuple[str, ...] = (), *, refused: bool = False
) -> Stand:
    """Say where a test under way stands.

    Parameters
    ----------
    run : Run
        The test.
    now : datetime
        The time, with a time zone.
    told : tuple of str
        What is to be minded about the last entry.
    refused : bool
        Whether the last entry was not accepted.

    Returns
    -------
    Stand
        At its next entry.
    """
    here = runner.current(run)
    left = runner.wait_left(run, now)
    void = runner.void_reasons(run)
    if here is None:
        return Stand(id=run.id, run=run, void=void, told=told, refused=refused)
    step, ask = here
    return Stand(
        id=run.id,
        run=run,
        step=step,
        ask=ask,
        wanted=wanted(run, ask),
        wait_length_s=length_of(run, ask).total_seconds() if ask.kind == m.WAIT else None,
        wait_left_s=None if left is None else left.total_seconds(),
        void=void,
        told=told,
        refused=refused,
    )
