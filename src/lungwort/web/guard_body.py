"""What is sent to the app: counted as it comes, its beginning looked at before the app reads it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from attrs import define, field

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]


class TooLargeError(Exception):
    """More was sent than is taken."""


class GoneError(Exception):
    """The browser went away before all was sent."""


@define
class Body:
    """What is sent, counted as it comes; the beginning can be looked at before the app reads it.

    Parameters
    ----------
    receive : callable
        Gives what is sent, a piece at a time.
    limit : int
        How much is taken [byte].
    taken : int
        How much came so far [byte].
    over : bool
        Whether more came than is taken.
    waiting : list
        Pieces that were looked at and that the app has not read.
    ended : bool
        Whether the last piece came.
    """

    receive: Receive
    limit: int
    taken: int = 0
    over: bool = False
    waiting: list[Message] = field(factory=list)
    ended: bool = False

    async def _more(self) -> Message:
        message = await self.receive()
        if message["type"] == "http.request":
            self.taken += len(message.get("body", b""))
            if self.taken > self.limit:
                self.over = True
                raise TooLargeError
            self.ended = not message.get("more_body", False)
        return message

    async def __call__(self) -> Message:
        """Give the app the next piece."""
        if self.waiting:
            return self.waiting.pop(0)
        return await self._more()

    async def beginning(self, most: int) -> bytes:
        """Read at least ``most`` bytes or to the end; the app still gets them."""
        read = b""
        while len(read) < most and not self.ended:
            message = await self._more()
            if message["type"] != "http.request":
                raise GoneError
            self.waiting.append(message)
            read += message.get("body", b"")
        return read
