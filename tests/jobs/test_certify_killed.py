"""A certificate whose making is killed on the way is issued whole, or not at all.

The processes are real and die by SIGKILL. After each death the record must verify, each certificate
must stand beside its verdict with its files, and the next one must bear the next number.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.jobs.certify_story import MORNING, WENNA, Story, begin

from lungwort.jobs.judging import rejudge
from lungwort.register.model import Certificate, VerdictRecord
from lungwort.register.verify import verify
from lungwort.register.workspace import Workspace

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="processes are forked to be killed quickly"
)

NOON = MORNING + timedelta(hours=4)
WORKER = Path(__file__).with_name("certify_worker.py")
Order = Callable[..., dict[str, Any]]


@pytest.fixture
def story(sqlite_workspace: Workspace) -> Story:
    """Give the invented site with clean evidence."""
    made = begin(sqlite_workspace)
    made.hand_test(MORNING)
    return made


@pytest.fixture
def issue(story: Story) -> Iterator[Order]:
    """Give a way to have a certificate issued in a process of its own."""
    with subprocess.Popen(
        [sys.executable, str(WORKER)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None

        def order(**more: Any) -> dict[str, Any]:
            assert process.stdin is not None
            assert process.stdout is not None
            folder = str(story.workspace.folder)
            told = {"folder": folder, "outlet": "Slip 2", "by": WENNA, "now": NOON.isoformat()}
            process.stdin.write(json.dumps({**told, **more}) + "\n")
            process.stdin.flush()
            answer: dict[str, Any] = json.loads(process.stdout.readline())
            return answer

        yield order
        process.stdin.close()


def assert_whole(story: Story, issued: int) -> int:
    """Expect as many certificates as were issued or one more, each whole; give how many."""
    register = story.workspace.register
    given = register.all(Certificate)
    assert issued <= len(given) <= issued + 1
    assert [one.number for one in given] == [
        f"SLIPWAY-2026-{place:04d}" for place in range(1, len(given) + 1)
    ]
    assert [one.verdict_id for one in given] == [one.id for one in register.all(VerdictRecord)]
    for one in given:
        assert story.workspace.read_file(one.pdf_sha256).startswith(b"%PDF-")
        assert register.head(one.tree_size).root == one.tree_root
    assert verify(story.workspace).problems == ()
    return len(given)


def test_killed_at_each_call_that_makes_a_file_last(story: Story, issue: Order) -> None:
    """Before and after each of them."""
    issued = 0
    for kill_at in range(1, 40):
        codes = []
        for after in (False, True):
            codes.append(issue(kill_at=kill_at, after=after)["code"])
            issued = assert_whole(story, issued)
        if codes == [0, 0]:
            break
        assert -9 in codes
    # Three files and the tree's head are written: there were some calls to be killed at.
    assert kill_at > 4
    last = story.workspace.register.all(VerdictRecord)[-1]
    kept = story.workspace.read_file(last.result_sha256)
    assert rejudge(story.workspace, last) == kept


def survive(story: Story, issue: Order, times: int) -> None:
    """Kill so many at random moments."""
    draw = random.Random(20260304)  # noqa: S311 - no secret
    whole = [issue() for _ in range(2)]
    assert [one["code"] for one in whole] == [0, 0]
    issued = assert_whole(story, 2)
    usual = whole[-1]["seconds"]
    killed = 0
    for _ in range(times):
        answer = issue(seconds=draw.uniform(0.0, 1.2 * usual))
        killed += answer["code"] != 0
        issued = assert_whole(story, issued)
    assert killed
    assert issue()["code"] == 0
    assert assert_whole(story, issued) == issued + 1


def test_killed_at_random_moments(story: Story, issue: Order) -> None:
    """A few times in each test run."""
    survive(story, issue, 5)


@pytest.mark.slow
def test_killed_at_random_moments_many_times(story: Story, issue: Order) -> None:
    """Seventy times: together with imports and changes, more than two hundred."""
    survive(story, issue, 70)
