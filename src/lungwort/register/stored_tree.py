"""The Merkle tree of the journal from hashes that are kept with its entries.

With each entry lie the hashes of the full subtrees that end with it. The one of level k that ends
with entry n covers entries n - 2^k + 1 to n. So a new entry, a head or a proof needs a number of
rows that grows with the logarithm of the size only. `lungwort.register.verify` holds these hashes
against the entries themselves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from lungwort.errors import RegisterError
from lungwort.register.merkle import EMPTY_ROOT, node_hash

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    class Fetch(Protocol):
        """Gives the hashes kept with entries, by their numbers."""

        def __call__(self, seqs: Iterable[int], /) -> Mapping[int, list[str]]:  # noqa: D102
            ...


def closed_subtrees(seq: int, leaf: bytes, fetch: Fetch) -> list[str]:
    """Work out the hashes that are kept with a new entry.

    Parameters
    ----------
    seq : int
        Its number, from 1.
    leaf : bytes
        Hash of its leaf.
    fetch : callable
        Gives what is kept with earlier entries.

    Returns
    -------
    list of str
        Of the full subtrees that end with it, smallest first, hexadecimal.
    """
    levels = (seq & -seq).bit_length() - 1
    left = fetch([seq - (1 << level) for level in range(levels)])
    hashes = [leaf]
    for level in range(levels):
        beside = _kept(left, seq - (1 << level), level)
        hashes.append(node_hash(beside, hashes[-1]))
    return [one.hex() for one in hashes]


def root(size: int, fetch: Fetch) -> bytes:
    """Give the head over the first entries.

    Parameters
    ----------
    size : int
        How many [1].
    fetch : callable
        Gives what is kept with entries.

    Returns
    -------
    bytes
        32 bytes.
    """
    if size == 0:
        return EMPTY_ROOT
    return _worked_out([(0, size)], fetch)[0]


def inclusion(index: int, size: int, fetch: Fetch) -> list[bytes]:
    """Give the audit path of an entry (RFC 6962, section 2.1.1).

    Parameters
    ----------
    index : int
        The entry, from 0.
    size : int
        Of how many entries the tree is made [1].
    fetch : callable
        Gives what is kept with entries.

    Returns
    -------
    list of bytes
        From the leaf upwards.
    """
    low, high, path = 0, size, []
    while high - low > 1:
        middle = low + _split(high - low)
        if index < middle:
            path.append((middle, high))
            high = middle
        else:
            path.append((low, middle))
            low = middle
    return _worked_out(path[::-1], fetch)


def consistency(old_size: int, size: int, fetch: Fetch) -> list[bytes]:
    """Give the proof that a later tree goes on from an earlier one (RFC 6962, section 2.1.2).

    Parameters
    ----------
    old_size, size : int
        Entries of the earlier and of the later tree [1].
    fetch : callable
        Gives what is kept with entries.

    Returns
    -------
    list of bytes
        Empty where both are the same or the earlier one is empty.
    """
    if old_size in {0, size}:
        return []
    low, high, path = 0, size, []
    while old_size != high:
        middle = low + _split(high - low)
        if old_size <= middle:
            path.append((middle, high))
            high = middle
        else:
            path.append((low, middle))
            low = middle
    if low:
        path.append((low, high))
    return _worked_out(path[::-1], fetch)


def _worked_out(ranges: list[tuple[int, int]], fetch: Fetch) -> list[bytes]:
    needed: set[int] = set()
    for low, high in ranges:
        _walk(low, high, lambda end, _: needed.add(end))
    kept = fetch(sorted(needed))
    return [_hash(low, high, kept) for low, high in ranges]


def _walk(low: int, high: int, full: Callable[[int, int], object]) -> None:
    # Left to right over the full subtrees that a range falls into.
    while low < high:
        level = (high - low).bit_length() - 1
        low += 1 << level
        full(low, level)


def _hash(low: int, high: int, kept: Mapping[int, list[str]]) -> bytes:
    peaks: list[bytes] = []
    _walk(low, high, lambda end, level: peaks.append(_kept(kept, end, level)))
    here = peaks.pop()
    while peaks:
        here = node_hash(peaks.pop(), here)
    return here


def _kept(kept: Mapping[int, list[str]], seq: int, level: int) -> bytes:
    try:
        return bytes.fromhex(kept[seq][level])
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise RegisterError(
            f"Entry {seq} of the journal is missing or its hashes are damaged. Run 'lungwort "
            "verify' to see what else does not fit, and restore the newest backup into a new folder."
        ) from error


def _split(count: int) -> int:
    return 1 << ((count - 1).bit_length() - 1)
