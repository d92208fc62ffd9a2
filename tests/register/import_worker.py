"""Imports in processes of their own that are killed, starved or refused at a chosen point.

Started by tests/register/test_import_faults.py. It reads one JSON order a line and answers with one
line: an order is a list of imports to be run at once, each in a forked child. Everything is loaded
before the first fork, so that a child is quick; no data frame is touched before, because the
threads that work on them would not survive a fork.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
import traceback
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import lungwort.jobs.judging
import lungwort.logs.read
import lungwort.paper.text
import lungwort.register.parts
import lungwort.register.store
import lungwort.register.workspace
import lungwort.verdict.judge  # noqa: F401 - loaded before the forks
from lungwort.errors import LungwortError
from lungwort.jobs.import_log import Request, import_files
from lungwort.jobs.reading import Reading

CALLS = ("fsync", "replace", "mkdir")


def watch(kill_at: int, when: str) -> Callable[[], int]:
    """Count the calls that make a file last, and kill the process before or after one of them."""
    seen = 0

    def wrapped(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            nonlocal seen
            seen += 1
            if seen == kill_at and when == "before":
                os.kill(os.getpid(), signal.SIGKILL)
            here = seen == kill_at
            try:
                return real(*given, **named)
            finally:
                if here:
                    os.kill(os.getpid(), signal.SIGKILL)

        return call

    for name in CALLS:
        setattr(os, name, wrapped(getattr(os, name)))
    return lambda: seen


def work(order: dict[str, Any]) -> dict[str, Any]:
    """Import as ordered and say how it went."""
    if order.get("file_bytes"):
        import resource  # where there is no such module, nothing is forked either

        resource.setrlimit(resource.RLIMIT_FSIZE, (order["file_bytes"], resource.RLIM_INFINITY))
    seen = watch(order.get("kill_at", 0), order.get("when", "before"))
    request = Request(
        files=tuple(Path(one) for one in order["files"]),
        outlet=order["outlet"],
        reading=Reading(zone="UTC"),
        by=order["by"],
        judge=False,
    )
    try:
        done = import_files(
            Path(order["folder"]), request, now=datetime.fromisoformat(order["now"])
        )
    except LungwortError as error:
        return {"error": type(error).__name__, "said": str(error), "calls": seen()}
    return {"new": done.new, "id": done.record.id, "calls": seen()}


def start(order: dict[str, Any]) -> tuple[int, int]:
    """Fork a child for one import; give its number and the pipe that it answers through."""
    reading, writing = os.pipe()
    child = os.fork()
    if child:
        os.close(writing)
        return child, reading
    os.close(reading)
    status = 1
    try:
        os.write(writing, json.dumps(work(order)).encode())
        status = 0
    except BaseException:
        traceback.print_exc()
        raise
    finally:
        os._exit(status)


def main() -> None:
    """Run orders until the input ends."""
    for line in sys.stdin:
        orders = json.loads(line)
        children = []
        for order in orders:
            child, pipe = start(order)
            if "delay_s" in order:
                time.sleep(order["delay_s"] * random.random())  # noqa: S311 - when to kill
                os.kill(child, signal.SIGKILL)
            children.append((child, pipe))
        answers = []
        for child, pipe in children:
            with os.fdopen(pipe, "rb") as stream:
                said = stream.read()
            status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            answers.append({"status": status, **(json.loads(said) if said else {})})
        sys.stdout.write(json.dumps(answers) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
