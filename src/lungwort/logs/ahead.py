"""Working ahead: the next item is made while the present one is used."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator

Item = TypeVar("Item")


def ahead(items: Iterator[Item]) -> Iterator[Item]:
    """Yield the items of an iterator, each made beside the use of the one before.

    Parameters
    ----------
    items : iterator
        Makes the items; runs in one other thread.

    Yields
    ------
    object
        The items in order; an error comes where the item would have come.

    Examples
    --------
    >>> list(ahead(iter([1, 2, 3])))
    [1, 2, 3]
    """

    def make() -> list[Item]:
        return list(islice(items, 1))

    with ThreadPoolExecutor(max_workers=1) as pool:
        coming = pool.submit(make)
        while made := coming.result():
            coming = pool.submit(make)
            yield made[0]
