"""The Merkle tree against the published reference roots, and its proofs against each other."""

from __future__ import annotations

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.record.merkle import (
    Frontier,
    consistency_proof,
    inclusion_proof,
    is_consistent,
    leaf_hash,
    root_from_inclusion,
    root_of,
)

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
    assert root_of(hashes).hex() == ROOTS[size]


@given(SIZES)
def test_growing_gives_the_same_root_as_the_recursive_definition(size: int) -> None:
    assert grown(leaves(size)).root == root_of(leaves(size))


@given(SIZES, st.data())
def test_every_entry_can_be_proved_and_no_other(size: int, data: st.DataObject) -> None:
    index = data.draw(st.integers(0, size - 1))
    hashes = leaves(size)
    proof = inclusion_proof(index, hashes)
    root = root_of(hashes)
    assert root_from_inclusion(index, size, hashes[index], proof) == root
    assert root_from_inclusion(index, size, sha256(b"forged").digest(), proof) != root
    if size > 1:
        other = (index + 1) % size
        assert root_from_inclusion(other, size, hashes[index], proof) != root


@given(SIZES, st.data())
def test_a_later_head_proves_to_extend_an_earlier_one(size: int, data: st.DataObject) -> None:
    earlier = data.draw(st.integers(1, size))
    hashes = leaves(size)
    old, new = root_of(hashes[:earlier]), root_of(hashes)
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
    old = root_of(hashes[:earlier])
    hashes[changed] = leaf_hash(b"rewritten")
    proof = consistency_proof(earlier, hashes)
    assert not is_consistent(earlier, size, old, root_of(hashes), proof)


def test_proofs_for_what_is_not_there_are_refused() -> None:
    with pytest.raises(ValueError, match="no such entry"):
        inclusion_proof(3, leaves(3))
    with pytest.raises(ValueError, match="must be a part"):
        consistency_proof(4, leaves(3))
