"""The Merkle tree against the published reference roots, and its proofs against each other."""

from __future__ import annotations

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.record.merkle import (
    EMPTY_ROOT,
    Frontier,
    Levels,
    Span,
    consistency_spans,
    inclusion_spans,
    leaf_hash,
    node_hash,
    root_from_inclusion,
    root_over,
)
from tests.record.proving import consistency_proof, inclusion_proof, is_consistent

# Source: the reference inputs and roots of the RFC 6962 hashing strategy, as published in the
# transparency-dev/merkle repository, testonly/constants.go. RFC 9162 section 2.1 has the same
# hashes.
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
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)

# Source: the proofs over the same inputs in the reference tests of the same repository
# (testonly/reference_test.go); there leaves are counted from 0, as in RFC 9162.
INCLUSION: list[tuple[int, int, list[str]]] = [
    (0, 1, []),
    (
        0,
        8,
        [
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (
        5,
        8,
        [
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
    (2, 3, ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    (
        1,
        5,
        [
            "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
]
CONSISTENCY: list[tuple[int, int, list[str]]] = [
    (1, 1, []),
    (
        1,
        8,
        [
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (
        6,
        8,
        [
            "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
    (
        2,
        5,
        [
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
]

SIZES = st.integers(1, 70)


def leaves(count: int) -> list[bytes]:
    return [leaf_hash(str(number).encode()) for number in range(count)]


def grown(hashes: list[bytes]) -> Frontier:
    frontier = Frontier()
    for leaf in hashes:
        frontier = frontier.grow(leaf)
    return frontier


@pytest.mark.parametrize("size", range(9))
def test_roots_are_those_of_the_published_reference(size: int) -> None:
    hashes = [leaf_hash(bytes.fromhex(entry)) for entry in INPUTS[:size]]
    assert grown(hashes).root.hex() == ROOTS[size]
    assert root_over(hashes).hex() == ROOTS[size]


def by_definition(hashes: list[bytes]) -> bytes:
    """The root, by the recursive definition of RFC 9162, 2.1.1."""
    if not hashes:
        return EMPTY_ROOT
    if len(hashes) == 1:
        return hashes[0]
    cut = 1
    while cut * 2 < len(hashes):
        cut *= 2
    return node_hash(by_definition(hashes[:cut]), by_definition(hashes[cut:]))


@given(SIZES)
def test_growing_gives_the_same_root_as_the_recursive_definition(size: int) -> None:
    assert grown(leaves(size)).root == root_over(leaves(size)) == by_definition(leaves(size))


@pytest.mark.parametrize(("index", "size", "path"), INCLUSION)
def test_inclusion_proofs_are_those_of_the_published_reference(
    index: int, size: int, path: list[str]
) -> None:
    hashes = [leaf_hash(bytes.fromhex(entry)) for entry in INPUTS[:size]]
    proof = inclusion_proof(index, hashes)
    assert [step.hex() for step in proof] == path
    found = root_from_inclusion(index, size, hashes[index], proof)
    assert found is not None
    assert found.hex() == ROOTS[size]


@pytest.mark.parametrize(("earlier", "size", "path"), CONSISTENCY)
def test_consistency_proofs_are_those_of_the_published_reference(
    earlier: int, size: int, path: list[str]
) -> None:
    hashes = [leaf_hash(bytes.fromhex(entry)) for entry in INPUTS[:size]]
    proof = consistency_proof(earlier, hashes)
    assert [step.hex() for step in proof] == path
    old, new = bytes.fromhex(ROOTS[earlier]), bytes.fromhex(ROOTS[size])
    assert is_consistent(earlier, size, old, new, proof)


@given(st.integers(1, 2**40), st.data())
def test_a_proof_in_a_tree_of_any_size_names_few_subtrees_that_are_apart(
    size: int, data: st.DataObject
) -> None:
    index = data.draw(st.integers(0, size - 1))
    for spans in (inclusion_spans(index, size), consistency_spans(index + 1, size)):
        assert len(spans) <= size.bit_length() + 1
        in_order = sorted(spans, key=lambda span: span.start)
        ends = [0, *(span.end for span in in_order)]
        assert all(span.start >= end for span, end in zip(in_order, ends, strict=False))
        assert all(span.end <= size for span in in_order)


@given(SIZES, st.data())
def test_every_entry_can_be_proved_and_no_other(size: int, data: st.DataObject) -> None:
    index = data.draw(st.integers(0, size - 1))
    hashes = leaves(size)
    proof = inclusion_proof(index, hashes)
    root = root_over(hashes)
    assert root_from_inclusion(index, size, hashes[index], proof) == root
    assert root_from_inclusion(index, size, sha256(b"forged").digest(), proof) != root
    if size > 1:
        other = (index + 1) % size
        assert root_from_inclusion(other, size, hashes[index], proof) != root


@given(SIZES, st.data())
def test_a_later_head_proves_to_extend_an_earlier_one(size: int, data: st.DataObject) -> None:
    earlier = data.draw(st.integers(1, size))
    hashes = leaves(size)
    old, new = root_over(hashes[:earlier]), root_over(hashes)
    proof = consistency_proof(earlier, hashes)
    assert is_consistent(earlier, size, old, new, proof)
    forged = sha256(b"forged").digest()
    assert not is_consistent(earlier, size, forged, new, proof)
    assert not is_consistent(earlier, size, old, forged, proof)


@given(SIZES, st.data())
def test_a_rewritten_history_has_no_consistency_proof(size: int, data: st.DataObject) -> None:
    earlier = data.draw(st.integers(1, size))
    changed = data.draw(st.integers(0, earlier - 1))
    hashes = leaves(size)
    old = root_over(hashes[:earlier])
    hashes[changed] = leaf_hash(b"rewritten")
    proof = consistency_proof(earlier, hashes)
    assert not is_consistent(earlier, size, old, root_over(hashes), proof)


def test_proofs_for_what_is_not_there_are_refused() -> None:
    with pytest.raises(ValueError, match="no such entry"):
        inclusion_proof(3, leaves(3))
    with pytest.raises(ValueError, match="must be a part"):
        consistency_proof(4, leaves(3))


@given(SIZES, st.data())
def test_a_tree_that_is_kept_gives_the_same_proofs(size: int, data: st.DataObject) -> None:
    later = data.draw(st.integers(1, size))
    index = data.draw(st.integers(0, later - 1))
    kept, hashes = Levels(leaves(size)), leaves(later)
    assert kept.root(Span(0, later)) == root_over(hashes)
    assert kept.inclusion(index, later) == inclusion_proof(index, hashes)
    assert kept.consistency(index + 1, later) == consistency_proof(index + 1, hashes)
