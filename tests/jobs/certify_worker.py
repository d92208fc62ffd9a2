"""Certificates issued in processes that are killed on the way.

Started by tests/jobs/test_certify_killed.py. It reads one JSON order a line: each is carried out in a
forked child that is killed after a time, or before or after one of its calls that make a file last,
and the answer says how the child ended. Everything is loaded before the first fork, and nothing that
starts threads is touched before it, because threads do not survive a fork.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import lungwort.jobs.judge
import lungwort.paper.certificate
import lungwort.paper.result
import lungwort.plan.evidence
import lungwort.plan.lapses
import lungwort.register.store
import lungwort.register.workspace
import lungwort.verdict.judge  # noqa: F401 - loaded before the forks
from lungwort.jobs.certify import CertifyRequest, certify

CALLS = ("fsync", "replace")


def watch(kill_at: int, *, after: bool) -> None:
    """Kill the process before or after one of the calls that make a file last."""
    seen = 0

    def wrapped(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            nonlocal seen
            seen += 1
            if seen == kill_at and not after:
                os.kill(os.getpid(), signal.SIGKILL)
            made = real(*given, **named)
            if seen == kill_at and after:
                os.kill(os.getpid(), signal.SIGKILL)
            return made

        return call

    for name in CALLS:
        setattr(os, name, wrapped(getattr(os, name)))


def child(order: dict[str, Any]) -> None:
    """Issue a certificate, and leave at once."""
    code = 1
    try:
        if order.get("kill_at"):
            watch(order["kill_at"], after=order["after"])
        request = CertifyRequest(outlet=order["outlet"], by=order["by"])
        done = certify(Path(order["folder"]), request, datetime.fromisoformat(order["now"]))
        code = 0 if done.certificate is not None else 1
    except BaseException:  # noqa: BLE001 - told on the error stream
        traceback.print_exc()
    os._exit(code)


def carry_out(order: dict[str, Any]) -> dict[str, Any]:
    """Fork, wait or kill, and say how it ended and how long it took [s]."""
    begun = time.monotonic()
    process = os.fork()
    if process == 0:
        child(order)
    seconds = order.get("seconds")
    if seconds is not None:
        time.sleep(seconds)
        os.kill(process, signal.SIGKILL)
    _, status = os.waitpid(process, 0)
    ended = os.waitstatus_to_exitcode(status)
    return {"code": ended, "seconds": time.monotonic() - begun}


for line in sys.stdin:
    sys.stdout.write(json.dumps(carry_out(json.loads(line))) + "\n")
    sys.stdout.flush()
