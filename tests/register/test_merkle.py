"""The tree against RFC 6962's own definition, published vectors and an independent library."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymerkle import InmemoryTree  # type: ignore[import-untyped]  # it has no types

from lungwort.errors import RegisterError
from lungwort.register.merkle import (
    EMPTY_ROOT,
    Frontier,
    Tree,
    check_consistency,
    consistency_path,
    inclusion_path,
    leaf_hash,
    node_hash,
    root_from_inclusion,
    tree_root,
)

# Test vectors of the Certificate Transparency reference implementation: eight inputs (hexadecimal)
# and the root hash after each (from memory; they are also recomputed below from the definition).
INPUTS = (
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
)
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
LEAVES = [leaf_hash(bytes.fromhex(one)) for one in INPUTS]
MANY = [leaf_hash(number.to_bytes(2, "big")) for number in range(70)]

SIZES = st.integers(1, len(MANY))


def _by_definition(leaves: list[bytes]) -> bytes:
    # RFC 6962, section 2.1, MTH, as written there.
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    left, right = _by_definition(leaves[:split]), _by_definition(leaves[split:])
    return hashlib.sha256(b"\x01" + left + right).digest()


def test_head_of_nothing() -> None:
    """RFC 6962, section 2.1: the hash of an empty list is that of an empty string (FIPS 180-4)."""
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"

    assert tree_root([]).hex() == empty
    assert Tree().root() == EMPTY_ROOT == Frontier().root()


@pytest.mark.parametrize(("size", "root"), list(enumerate(ROOTS, start=1)))
def test_published_roots(size: int, root: str) -> None:
    """Each of the eight trees of the reference vectors has its root."""
    assert tree_root(LEAVES[:size]).hex() == root
    assert Tree(LEAVES).root(size).hex() == root


def test_example_tree_of_the_rfc() -> None:
    """RFC 6962, section 2.1.3: paths in the tree of seven leaves, by the names printed there."""
    d = MANY[:7]
    a, b, c, e, f, j = d[0], d[1], d[2], d[4], d[5], d[6]
    g, h, i = node_hash(a, b), node_hash(c, d[3]), node_hash(e, f)
    k, el = node_hash(g, h), node_hash(i, j)

    assert tree_root(d) == node_hash(k, el)
    assert inclusion_path(d, 0, 7) == [b, h, el]
    assert inclusion_path(d, 3, 7) == [c, g, el]
    assert inclusion_path(d, 4, 7) == [f, j, k]
    assert inclusion_path(d, 6, 7) == [i, k]
    assert consistency_path(d, 3, 7) == [c, d[3], g, el]
    assert consistency_path(d, 4, 7) == [el]
    assert consistency_path(d, 6, 7) == [i, j, k]


@pytest.mark.parametrize("size", range(71))
def test_roots_follow_the_definition(size: int) -> None:
    """Frontier and levels come to what the recursive definition says."""
    expected = _by_definition(MANY[:size])

    assert tree_root(MANY[:size]) == expected
    assert Tree(MANY).root(size) == expected


def test_every_leaf_of_every_small_tree_proves() -> None:
    """All places in all sizes up to 70."""
    tree = Tree(MANY)
    for size in range(1, 71):
        root = _by_definition(MANY[:size])
        for index in range(size):
            path = tree.inclusion(index, size)

            assert root_from_inclusion(MANY[index], index, size, path) == root
            assert len(path) <= (size - 1).bit_length()


def test_every_pair_of_small_trees_is_consistent() -> None:
    """All pairs of sizes up to 70."""
    tree = Tree(MANY)
    roots = [_by_definition(MANY[:size]) for size in range(71)]
    for new in range(71):
        for old in range(new + 1):
            path = tree.consistency(old, new)

            assert check_consistency(old, new, roots[old], roots[new], path)


@given(st.lists(st.binary(max_size=8), min_size=1, max_size=40), st.data())
@settings(deadline=None, max_examples=60)
def test_agrees_with_an_independent_library(entries: list[bytes], data: st.DataObject) -> None:
    """Roots are those of pymerkle (general-purpose, RFC 9162 hashing)."""
    other = InmemoryTree(algorithm="sha256")
    for one in entries:
        other.append_entry(one)
    tree = Tree(map(leaf_hash, entries))
    size = data.draw(st.integers(1, len(entries)))

    assert tree.root() == other.get_root()
    assert tree.root(size) == other.get_root(size)
    # Its paths begin with the leaf itself and list the siblings by their place in the tree.
    index = data.draw(st.integers(0, size - 1))
    theirs = other.prove_inclusion(index + 1, size).path
    assert sorted(theirs) == sorted([leaf_hash(entries[index]), *tree.inclusion(index, size)])


@given(SIZES, st.data())
@settings(deadline=None, max_examples=100)
def test_a_changed_bit_anywhere_breaks_an_inclusion_proof(size: int, data: st.DataObject) -> None:
    """Leaf, place, or any byte of the path: the head is not reached."""
    index = data.draw(st.integers(0, size - 1))
    tree = Tree(MANY)
    root, path = tree.root(size), tree.inclusion(index, size)
    parts = [MANY[index], *path]
    which = data.draw(st.integers(0, len(parts) - 1))
    bit = data.draw(st.integers(0, 255))
    parts[which] = (int.from_bytes(parts[which], "big") ^ 1 << bit).to_bytes(32, "big")

    assert root_from_inclusion(parts[0], index, size, parts[1:]) != root


@given(SIZES, st.data())
@settings(deadline=None, max_examples=100)
def test_a_leaf_does_not_prove_at_another_place(size: int, data: st.DataObject) -> None:
    """The place is part of what is proved."""
    index, other = data.draw(st.integers(0, size - 1)), data.draw(st.integers(0, size - 1))
    tree = Tree(MANY)
    path = tree.inclusion(index, size)
    if other == index:
        assert root_from_inclusion(MANY[index], other, size, path) == tree.root(size)
        return
    try:
        found = root_from_inclusion(MANY[index], other, size, path)
    except RegisterError:
        return

    assert found != tree.root(size)


@given(SIZES, st.data())
@settings(deadline=None, max_examples=100)
def test_a_changed_bit_breaks_a_consistency_proof(size: int, data: st.DataObject) -> None:
    """Either head or any byte of the path."""
    old = data.draw(st.integers(1, size))
    tree = Tree(MANY)
    parts = [tree.root(old), tree.root(size), *tree.consistency(old, size)]
    which = data.draw(st.integers(0, len(parts) - 1))
    bit = data.draw(st.integers(0, 255))
    parts[which] = (int.from_bytes(parts[which], "big") ^ 1 << bit).to_bytes(32, "big")

    assert not check_consistency(old, size, parts[0], parts[1], parts[2:])


@given(st.integers(2, 70), st.data())
@settings(deadline=None, max_examples=100)
def test_a_rewritten_history_is_not_consistent(size: int, data: st.DataObject) -> None:
    """Whoever changes a leaf before the old head finds no proof for it, not even a new one."""
    old = data.draw(st.integers(1, size - 1))
    changed = data.draw(st.integers(0, old - 1))
    forged = Tree([*MANY[:changed], leaf_hash(b"forged"), *MANY[changed + 1 :]])

    assert not check_consistency(
        old, size, Tree(MANY).root(old), forged.root(size), forged.consistency(old, size)
    )


def test_proofs_of_wrong_length_are_refused() -> None:
    """Too long, too short, or for no such place."""
    tree = Tree(MANY)
    path = tree.inclusion(5, 20)

    with pytest.raises(RegisterError, match="too long"):
        root_from_inclusion(MANY[5], 5, 20, [*path, path[0]])
    with pytest.raises(RegisterError, match="too short"):
        root_from_inclusion(MANY[5], 5, 20, path[:-1])
    with pytest.raises(RegisterError, match="no leaf 20"):
        root_from_inclusion(MANY[5], 20, 20, path)
    proof = tree.consistency(5, 20)
    assert not check_consistency(5, 20, tree.root(5), tree.root(20), proof[:-1])
    assert not check_consistency(5, 20, tree.root(5), tree.root(20), [*proof, proof[0]])
    assert not check_consistency(5, 20, tree.root(5), tree.root(20), [])
    assert not check_consistency(4, 20, tree.root(4), tree.root(20), [])
    assert not check_consistency(20, 5, tree.root(20), tree.root(5), proof)
    assert not check_consistency(7, 7, tree.root(7), tree.root(7), proof)


@pytest.mark.parametrize("index", [-1, 20, 70])
def test_there_is_no_proof_of_a_leaf_that_is_not_there(index: int) -> None:
    """Outside the tree."""
    with pytest.raises(RegisterError, match="no leaf"):
        inclusion_path(MANY, index, 20)


def test_there_is_no_head_beyond_the_last_leaf() -> None:
    """Nor a proof from a later tree to an earlier one."""
    with pytest.raises(RegisterError, match="71 was asked for, and there are 70"):
        Tree(MANY).root(71)
    with pytest.raises(RegisterError, match="cannot go on from one of 9"):
        consistency_path(MANY, 9, 8)


def test_an_empty_tree_goes_on_into_any() -> None:
    """Its only head is the hash of nothing."""
    assert check_consistency(0, 5, EMPTY_ROOT, tree_root(MANY[:5]), [])
    assert not check_consistency(0, 5, MANY[0], tree_root(MANY[:5]), [])
    assert not check_consistency(0, 0, EMPTY_ROOT, MANY[0], [])


def test_leaf_and_node_hashes_cannot_be_mistaken() -> None:
    """RFC 6962, section 2.1: domain separation against second preimages."""
    left, right = MANY[0], MANY[1]

    assert leaf_hash(left + right) != node_hash(left, right)


def test_frontier_grows_as_the_tree() -> None:
    """After each leaf both have the same head and size."""
    frontier, tree = Frontier(), Tree()
    for leaf in MANY:
        frontier.append(leaf)
        tree.append(leaf)

        assert (frontier.size, frontier.root()) == (tree.size, tree.root())


@pytest.mark.parametrize("size", range(1, 71))
def test_closed_subtrees_are_the_full_ones_that_end_there(size: int) -> None:
    """By the definition: each covers a power of two of leaves and ends with the last one."""
    closed = Tree(MANY).closed(size)
    expected = []
    width = 1
    while size % width == 0:
        expected.append(_by_definition(MANY[size - width : size]))
        width *= 2

    assert closed == expected


def test_a_tree_without_leaves_closes_nothing() -> None:
    """There is no last leaf."""
    with pytest.raises(RegisterError, match="no subtree"):
        Tree(MANY).closed(0)
