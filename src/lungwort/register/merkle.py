"""The Merkle tree over the journal: one head for all entries, and short proofs.

The hashing is that of RFC 6962, section 2.1 (SHA-256; 0x00 before a leaf, 0x01 before a node). A
leaf's data are the UTF-8 bytes of an entry's content. Two proofs come of it: that one entry is in
the tree of a head, without showing the others; and that a later head goes on from an earlier one,
nothing before it having been touched.

References
----------
RFC 6962, Certificate Transparency, 2013, section 2.1.
RFC 9162, Certificate Transparency Version 2.0, 2021, sections 2.1.3 and 2.1.4.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final

from lungwort.errors import RegisterError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_LEAF: Final = b"\x00"
_NODE: Final = b"\x01"
EMPTY_ROOT: Final = hashlib.sha256(b"").digest()
"""Head of a tree without entries."""


def leaf_hash(data: bytes) -> bytes:
    """Hash what one leaf holds.

    Parameters
    ----------
    data : bytes
        Content of an entry, UTF-8.

    Returns
    -------
    bytes
        SHA-256, 32 bytes.
    """
    return hashlib.sha256(_LEAF + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash two hashes into the one above them.

    Parameters
    ----------
    left, right : bytes
        The hashes below.

    Returns
    -------
    bytes
        SHA-256, 32 bytes.
    """
    return hashlib.sha256(_NODE + left + right).digest()


class Frontier:
    """The few hashes that are needed to go on: what the full subtrees so far come to.

    Appending and asking for the root each take a number of steps that grows with the logarithm of
    the size.

    Parameters
    ----------
    leaves : iterable of bytes
        Hashes of the leaves so far.
    """

    def __init__(self, leaves: Iterable[bytes] = ()) -> None:
        self._size = 0
        self._peaks: list[bytes] = []
        for leaf in leaves:
            self.append(leaf)

    @property
    def size(self) -> int:
        """Number of leaves [1]."""
        return self._size

    def append(self, leaf: bytes) -> None:
        """Add a leaf at the end.

        Parameters
        ----------
        leaf : bytes
            Its hash.
        """
        size, peak = self._size, leaf
        while size & 1:
            peak = node_hash(self._peaks.pop(), peak)
            size >>= 1
        self._peaks.append(peak)
        self._size += 1

    def root(self) -> bytes:
        """Give the head over all leaves so far.

        Returns
        -------
        bytes
            32 bytes.
        """
        if not self._peaks:
            return EMPTY_ROOT
        root = self._peaks[-1]
        for peak in reversed(self._peaks[:-1]):
            root = node_hash(peak, root)
        return root


class Tree:
    """All hashes of full subtrees, for many roots and proofs over the same leaves.

    Parameters
    ----------
    leaves : iterable of bytes
        Hashes of the leaves.
    """

    def __init__(self, leaves: Iterable[bytes] = ()) -> None:
        self._levels: list[list[bytes]] = [[]]
        for leaf in leaves:
            self.append(leaf)

    @property
    def size(self) -> int:
        """Number of leaves [1]."""
        return len(self._levels[0])

    def append(self, leaf: bytes) -> None:
        """Add a leaf at the end.

        Parameters
        ----------
        leaf : bytes
            Its hash.
        """
        level, here = 0, leaf
        while True:
            if level == len(self._levels):
                self._levels.append([])
            row = self._levels[level]
            row.append(here)
            if len(row) % 2:
                return
            here = node_hash(row[-2], row[-1])
            level += 1

    def root(self, size: int | None = None) -> bytes:
        """Give the head over the first leaves.

        Parameters
        ----------
        size : int, optional
            How many leaves [1]; all if not given.

        Returns
        -------
        bytes
            32 bytes.

        Raises
        ------
        RegisterError
            Where there are not so many leaves.
        """
        size = self._within(size)
        return self._hash(0, size) if size else EMPTY_ROOT

    def closed(self, size: int) -> list[bytes]:
        """Give the hashes of the full subtrees that end with the last of the first leaves.

        Parameters
        ----------
        size : int
            How many leaves [1].

        Returns
        -------
        list of bytes
            Smallest first: the leaf itself, then the pair that it ends, and so on.

        Raises
        ------
        RegisterError
            Where there is no such leaf.
        """
        size = self._within(size)
        if not size:
            raise RegisterError("A tree without leaves has no subtree. Give a size from 1.")
        levels = (size & -size).bit_length()
        return [self._levels[level][(size >> level) - 1] for level in range(levels)]

    def inclusion(self, index: int, size: int | None = None) -> list[bytes]:
        """Give the audit path of a leaf.

        Parameters
        ----------
        index : int
            The leaf, from 0.
        size : int, optional
            Of how many leaves the tree is made [1]; all if not given.

        Returns
        -------
        list of bytes
            PATH(index, D[size]), from the leaf upwards.

        Raises
        ------
        RegisterError
            Where there is no such leaf.
        """
        size = self._within(size)
        if not 0 <= index < size:
            raise RegisterError(
                f"There is no leaf {index} in a tree of {size}. Give one from 0 to {size - 1}."
            )
        low, high, path = 0, size, []
        while high - low > 1:
            split = low + _split(high - low)
            if index < split:
                path.append(self._hash(split, high))
                high = split
            else:
                path.append(self._hash(low, split))
                low = split
        return path[::-1]

    def consistency(self, old_size: int, size: int | None = None) -> list[bytes]:
        """Give the proof that a later tree goes on from an earlier one.

        Parameters
        ----------
        old_size : int
            Leaves of the earlier tree [1].
        size : int, optional
            Leaves of the later tree [1]; all if not given.

        Returns
        -------
        list of bytes
            PROOF(old_size, D[size]); empty where both are the same or the earlier one is empty.

        Raises
        ------
        RegisterError
            Where the earlier one is larger, or there are not so many leaves.
        """
        size = self._within(size)
        if not 0 <= old_size <= size:
            raise RegisterError(
                f"A tree of {size} cannot go on from one of {old_size}. Give the smaller one first."
            )
        if old_size in {0, size}:
            return []
        low, high, path = 0, size, []
        while old_size != high:
            split = low + _split(high - low)
            if old_size <= split:
                path.append(self._hash(split, high))
                high = split
            else:
                path.append(self._hash(low, split))
                low = split
        if low:
            path.append(self._hash(low, high))
        return path[::-1]

    def _within(self, size: int | None) -> int:
        if size is None:
            return self.size
        if not 0 <= size <= self.size:
            raise RegisterError(
                f"A tree of {size} was asked for, and there are {self.size} entries. "
                f"Give a size from 0 to {self.size}."
            )
        return size

    def _hash(self, low: int, high: int) -> bytes:
        count = high - low
        level = count.bit_length() - 1
        if count == 1 << level:
            return self._levels[level][low >> level]
        split = low + _split(count)
        return node_hash(self._hash(low, split), self._hash(split, high))


def tree_root(leaves: Sequence[bytes]) -> bytes:
    """Give the head over leaves.

    Parameters
    ----------
    leaves : sequence of bytes
        Their hashes.

    Returns
    -------
    bytes
        32 bytes; SHA-256 of nothing where there are none.

    Examples
    --------
    >>> tree_root([]).hex()[:16]
    'e3b0c44298fc1c14'
    """
    return Frontier(leaves).root()


def inclusion_path(leaves: Sequence[bytes], index: int, size: int) -> list[bytes]:
    """Give the audit path of one leaf; use `Tree` for many.

    Parameters
    ----------
    leaves : sequence of bytes
        Hashes of the leaves.
    index : int
        The leaf, from 0.
    size : int
        Of how many of the leaves the tree is made [1].

    Returns
    -------
    list of bytes
        From the leaf upwards.

    Raises
    ------
    RegisterError
        Where there is no such leaf.
    """
    return Tree(leaves).inclusion(index, size)


def root_from_inclusion(leaf: bytes, index: int, size: int, path: Sequence[bytes]) -> bytes:
    """Work out the head from one leaf and its audit path.

    Parameters
    ----------
    leaf : bytes
        Hash of the leaf.
    index : int
        Its place, from 0.
    size : int
        Leaves of the tree [1].
    path : sequence of bytes
        Hashes from the leaf upwards.

    Returns
    -------
    bytes
        The head that they lead to; the leaf is proved where it is the head that is trusted.

    Raises
    ------
    RegisterError
        Where a path of that length cannot belong to that place.

    References
    ----------
    RFC 9162, section 2.1.3.2.
    """
    if not 0 <= index < size:
        raise RegisterError(f"There is no leaf {index} in a tree of {size}: the proof is wrong.")
    place, last, root = index, size - 1, leaf
    for one in path:
        if last == 0:
            raise RegisterError(f"The proof of leaf {index} in a tree of {size} is too long.")
        if place & 1 or place == last:
            root = node_hash(one, root)
            while not place & 1 and place:
                place >>= 1
                last >>= 1
        else:
            root = node_hash(root, one)
        place >>= 1
        last >>= 1
    if last:
        raise RegisterError(f"The proof of leaf {index} in a tree of {size} is too short.")
    return root


def consistency_path(leaves: Sequence[bytes], m: int, n: int) -> list[bytes]:
    """Give the proof that the tree of n leaves goes on from that of m; use `Tree` for many.

    Parameters
    ----------
    leaves : sequence of bytes
        Hashes of the leaves.
    m, n : int
        Leaves of the earlier and of the later tree [1].

    Returns
    -------
    list of bytes
        Empty where both are the same or the earlier one is empty.

    Raises
    ------
    RegisterError
        Where m is larger than n, or there are not so many leaves.
    """
    return Tree(leaves).consistency(m, n)


def check_consistency(m: int, n: int, root_m: bytes, root_n: bytes, path: Sequence[bytes]) -> bool:
    """Say whether a later head goes on from an earlier one.

    Parameters
    ----------
    m, n : int
        Leaves of the earlier and of the later tree [1].
    root_m, root_n : bytes
        Their heads.
    path : sequence of bytes
        The proof.

    Returns
    -------
    bool
        False also where the proof has the wrong length. An empty tree goes on into any tree.

    References
    ----------
    RFC 9162, section 2.1.4.2.
    """
    if not 0 <= m <= n:
        return False
    if m == 0:
        return root_m == EMPTY_ROOT and not path and (n > 0 or root_n == EMPTY_ROOT)
    if m == n:
        return root_m == root_n and not path
    hashes = list(path) if m & (m - 1) else [root_m, *path]
    if not hashes or not path:
        return False
    place, last = m - 1, n - 1
    while place & 1:
        place >>= 1
        last >>= 1
    old = new = hashes[0]
    for one in hashes[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            old, new = node_hash(one, old), node_hash(one, new)
            while not place & 1 and place:
                place >>= 1
                last >>= 1
        else:
            new = node_hash(new, one)
        place >>= 1
        last >>= 1
    return old == root_m and new == root_n and last == 0


def _split(count: int) -> int:
    # The largest power of two below count (RFC 6962, section 2.1).
    return 1 << ((count - 1).bit_length() - 1)
