"""The Merkle tree of RFC 9162, section 2: hashes, the growing frontier, and proofs.

Pure. A leaf is SHA-256(0x00 ‖ entry), a node SHA-256(0x01 ‖ left ‖ right). The frontier holds the
roots of the complete subtrees that make up the tree, largest first; with it an append and the root
cost O(log n). Proofs are computed from all leaves when somebody asks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

EMPTY_ROOT = sha256(b"").digest()


def leaf_hash(entry: bytes) -> bytes:
    """RFC 9162, 2.1.1: the hash of a leaf."""
    return sha256(b"\x00" + entry).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """RFC 9162, 2.1.1: the hash of an inner node."""
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Frontier:
    """A tree's size and the roots of its complete subtrees, largest first."""

    size: int = 0
    roots: tuple[bytes, ...] = ()

    def grow(self, leaf: bytes) -> Frontier:
        """The frontier with one more leaf hash."""
        roots = [*self.roots, leaf]
        size = self.size
        while size & 1:
            right = roots.pop()
            roots.append(node_hash(roots.pop(), right))
            size >>= 1
        return Frontier(self.size + 1, tuple(roots))

    @property
    def root(self) -> bytes:
        """The root hash of the whole tree."""
        if not self.roots:
            return EMPTY_ROOT
        hashed = self.roots[-1]
        for left in reversed(self.roots[:-1]):
            hashed = node_hash(left, hashed)
        return hashed


def _split(size: int) -> int:
    """The largest power of two smaller than size."""
    return 1 << (size - 1).bit_length() - 1


def root_of(leaves: Sequence[bytes]) -> bytes:
    """The root over leaf hashes, by the recursive definition of RFC 9162, 2.1.1."""
    if not leaves:
        return EMPTY_ROOT
    if len(leaves) == 1:
        return leaves[0]
    cut = _split(len(leaves))
    return node_hash(root_of(leaves[:cut]), root_of(leaves[cut:]))


def inclusion_proof(index: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """RFC 9162, 2.1.3.1: the path that proves leaf `index` (from 0) to be in the tree."""
    if not 0 <= index < len(leaves):
        raise ValueError("there is no such entry in this tree")
    if len(leaves) == 1:
        return ()
    cut = _split(len(leaves))
    if index < cut:
        return (*inclusion_proof(index, leaves[:cut]), root_of(leaves[cut:]))
    return (*inclusion_proof(index - cut, leaves[cut:]), root_of(leaves[:cut]))


def root_from_inclusion(index: int, size: int, leaf: bytes, proof: Sequence[bytes]) -> bytes | None:
    """RFC 9162, 2.1.3.2: the root that a proof leads to, None where it cannot be one."""
    if not 0 <= index < size:
        return None
    node, last, hashed = index, size - 1, leaf
    for step in proof:
        if last == 0:
            return None
        if node & 1 or node == last:
            hashed = node_hash(step, hashed)
            while not node & 1 and node:
                node >>= 1
                last >>= 1
        else:
            hashed = node_hash(hashed, step)
        node >>= 1
        last >>= 1
    return hashed if last == 0 else None


def consistency_proof(earlier: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """RFC 9162, 2.1.4.1: the path that proves the tree to extend its first `earlier` leaves."""
    if not 0 < earlier <= len(leaves):
        raise ValueError("the earlier tree must be a part of this one")
    return _subproof(earlier, leaves, whole=True)


def _subproof(earlier: int, leaves: Sequence[bytes], *, whole: bool) -> tuple[bytes, ...]:
    if earlier == len(leaves):
        return () if whole else (root_of(leaves),)
    cut = _split(len(leaves))
    if earlier <= cut:
        return (*_subproof(earlier, leaves[:cut], whole=whole), root_of(leaves[cut:]))
    return (*_subproof(earlier - cut, leaves[cut:], whole=False), root_of(leaves[:cut]))


def is_consistent(
    earlier: int, later: int, earlier_root: bytes, later_root: bytes, proof: Sequence[bytes]
) -> bool:
    """RFC 9162, 2.1.4.2: whether the later root extends the earlier one, by this proof."""
    if not 0 < earlier <= later:
        return False
    if earlier == later:
        return not proof and earlier_root == later_root
    path = list(proof)
    if earlier & (earlier - 1) == 0:
        path.insert(0, earlier_root)
    if not path:
        return False
    node, last = earlier - 1, later - 1
    while node & 1:
        node >>= 1
        last >>= 1
    old = new = path[0]
    for step in path[1:]:
        if last == 0:
            return False
        if node & 1 or node == last:
            old, new = node_hash(step, old), node_hash(step, new)
            while not node & 1 and node:
                node >>= 1
                last >>= 1
        else:
            new = node_hash(new, step)
        node >>= 1
        last >>= 1
    return old == earlier_root and new == later_root and last == 0
