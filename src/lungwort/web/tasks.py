"""Work that takes long: done beside the pages, with its progress to be seen."""

from __future__ import annotations

import atexit
import logging
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from attrs import define, field

from lungwort.errors import LungwortError
from lungwort.web.statuses import FAULT, SYSTEM

if TYPE_CHECKING:
    from fastapi import FastAPI

    from lungwort.web.visits import Visit

LOG: Final = logging.getLogger("lungwort.web")
WAITING: Final = "waiting"
RUNNING: Final = "running"
DONE: Final = "done"
FAILED: Final = "failed"
MOST_KEPT: Final = 200
"""Tasks that have ended and can still be looked at."""

MOST_AT_ONCE: Final = 8
"""Tasks under way at once; more are refused."""

_END_SECONDS: Final = 20.0


class TaskStoppedError(LungwortError):
    """The server was told to end while a task was under way."""


class TooManyTasksError(LungwortError):
    """Too many tasks are under way."""


@define(slots=False)
class Progress:
    """How far a task has come; its work calls it.

    Attributes
    ----------
    share : float, optional
        How much of it is done, 0 to 1; None where that is not known.
    stop : threading.Event
        Set when the server ends.
    """

    stop: threading.Event
    share: float | None = None

    def __call__(self, done: int, total: int) -> None:
        """Tell how much is done.

        Parameters
        ----------
        done, total : int
            Of the same unit, such as bytes.

        Raises
        ------
        TaskStoppedError
            Where the server was told to end: the work stops here, and nothing of it is recorded.
        """
        if self.stop.is_set():
            raise TaskStoppedError("The server was stopped meanwhile. Nothing was recorded.")
        self.share = min(1.0, max(0.0, done / total)) if total > 0 else None


@define(slots=False)
class Task:
    """One task.

    Parameters
    ----------
    id, title : str
        A random id, and what it does.
    owner : str
        Whose it is.
    progress : Progress
        How far it has come.
    state : str
        ``waiting``, ``running``, ``done`` or ``failed``.
    goes_to : str
        Address to go on to when it is done, or back to where it failed.
    error : str
        Why it failed.
    ended : threading.Event
        Set when it is over.
    """

    id: str
    title: str
    owner: str
    progress: Progress
    state: str = WAITING
    goes_to: str = ""
    error: str = ""
    ended: threading.Event = field(factory=threading.Event)

    @property
    def percent(self) -> int | None:
        """How much is done [%]; None where that is not known."""
        if self.state == DONE:
            return 100
        return None if self.progress.share is None else int(self.progress.share * 100)

    @property
    def is_over(self) -> bool:
        """Whether it is done or has failed."""
        return self.state in {DONE, FAILED}


class Tasks:
    """The tasks of one app, kept in memory."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, Task] = OrderedDict()
        self._lock = threading.Lock()
        self._alone: dict[str, threading.Lock] = {}
        self._stop = threading.Event()
        atexit.register(self.stop)

    def start(
        self,
        title: str,
        work: Callable[[Progress], str],
        *,
        by: Visit,
        alone: str = "",
        back: str = "",
    ) -> str:
        """Begin a task in a thread of its own.

        Parameters
        ----------
        title : str
            What it does.
        work : callable
            Does it, calls the progress it is given, and gives the address to go on to.
        by : Visit
            Whose task it is.
        alone : str
            Tasks of one such word are done one after the other; empty for any at once.
        back : str
            Address to go back to where it fails.

        Returns
        -------
        str
            Its id; its page is ``/tasks/{id}``.

        Raises
        ------
        TooManyTasksError
            Where too many are under way.
        """
        task = Task(
            secrets.token_urlsafe(16), title, owner_of(by), Progress(self._stop), goes_to=back
        )
        with self._lock:
            if sum(not one.is_over for one in self._known.values()) >= MOST_AT_ONCE:
                raise TooManyTasksError(
                    f"{MOST_AT_ONCE} tasks are under way already. Wait until one of them is done, "
                    "and try again."
                )
            self._known[task.id] = task
            over = [one.id for one in self._known.values() if one.is_over]
            for name in over[: max(0, len(over) - MOST_KEPT)]:
                del self._known[name]
            turn = self._alone.setdefault(alone, threading.Lock()) if alone else threading.Lock()
        threading.Thread(
            target=self._run, args=(task, work, turn), name=f"task {title}", daemon=True
        ).start()
        return task.id

    def get(self, task_id: str, visit: Visit) -> Task | None:
        """Find a task of a visitor; None where there is none."""
        with self._lock:
            task = self._known.get(task_id)
        return task if task is not None and task.owner == owner_of(visit) else None

    def under_way(self, visit: Visit) -> tuple[Task, ...]:
        """List the tasks of a visitor that are not over."""
        with self._lock:
            known = tuple(self._known.values())
        return tuple(one for one in known if one.owner == owner_of(visit) and not one.is_over)

    def stop(self, seconds: float = _END_SECONDS) -> None:
        """Have all tasks end where they can, and wait for them.

        Parameters
        ----------
        seconds : float
            How long to wait for each [s]. What is not over then is cut off, and the record's own
            safety against that holds: a change is recorded whole or not at all.
        """
        atexit.unregister(self.stop)
        self._stop.set()
        with self._lock:
            running = [one for one in self._known.values() if not one.is_over]
        for task in running:
            task.ended.wait(seconds)

    def _run(self, task: Task, work: Callable[[Progress], str], turn: threading.Lock) -> None:
        try:
            with turn:
                task.progress(0, 0)
                task.state = RUNNING
                task.goes_to = work(task.progress)
            task.state = DONE
        except LungwortError as error:
            self._failed(task, str(error))
        except OSError as error:
            LOG.exception("task %s", task.title)
            self._failed(task, SYSTEM.format(error=error.strerror or error))
        except Exception:  # the last place where a fault can be told to whoever waits
            LOG.exception("task %s", task.title)
            self._failed(task, FAULT)
        finally:
            task.ended.set()

    @staticmethod
    def _failed(task: Task, why: str) -> None:
        task.error = why
        task.state = FAILED


def owner_of(visit: Visit) -> str:
    """Say whose a task is: the account's, else the browser's.

    Parameters
    ----------
    visit : Visit
        Of whom.

    Returns
    -------
    str
        The same for all visits of an account.
    """
    if visit.account is not None:
        return f"account {visit.account.id}"
    return "this computer" if not visit.token else f"visit {visit.csrf}"


def tasks(app: FastAPI) -> Tasks:
    """Give the tasks of an app.

    Parameters
    ----------
    app : fastapi.FastAPI
        The app.

    Returns
    -------
    Tasks
        Its tasks.
    """
    found = getattr(app.state, "tasks", None)
    if found is None:
        with _MAKING:
            found = getattr(app.state, "tasks", None)
            if found is None:
                found = app.state.tasks = Tasks()
    assert isinstance(found, Tasks)  # noqa: S101 - nothing else is put there
    return found


_MAKING: Final = threading.Lock()
