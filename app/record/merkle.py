"""The Merkle tree of RFC 9162, section 2: hashes, the growing frontier, and proofs.

Pure. A leaf is SHA-256(0x00 ‖ entry), a node SHA-256(0x01 ‖ left ‖ right). The frontier holds the
roots of the complete subtrees that make up the tree, largest first; with it an append and the root
cost O(log n). A proof is the roots of a few subtrees; which leaves each of them has is told by
`inclusion_spans` and `consistency_spans`, so that whoever has many leaves reads them one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
        return _folded(self.roots)


def _split(size: int) -> int:
    """The largest power of two smaller than size."""
    return 1 << (size - 1).bit_length() - 1


def root_over(leaves: Iterable[bytes]) -> bytes:
    """The root over leaf hashes that come one after another; few are held at a time."""
    roots: list[bytes] = []
    for size, leaf in enumerate(leaves):
        hashed, rest = leaf, size
        while rest & 1:
            hashed = node_hash(roots.pop(), hashed)
            rest >>= 1
        roots.append(hashed)
    return _folded(roots)


def _folded(roots: Sequence[bytes]) -> bytes:
    """The root over the roots of complete subtrees, largest first."""
    if not roots:
        return EMPTY_ROOT
    hashed = roots[-1]
    for left in reversed(roots[:-1]):
        hashed = node_hash(left, hashed)
    return hashed


@dataclass(frozen=True, slots=True)
class Span:
    """The leaves of one subtree: from `start` on, up to `end` and without it; counted from 0."""

    start: int
    end: int


class Levels:
    """All complete subtrees of a tree, for whoever asks for many proofs: two hashes a leaf."""

    def __init__(self, leaves: Iterable[bytes]) -> None:
        self._levels = [list(leaves)]
        self.size = len(self._levels[0])
        while len(below := self._levels[-1]) > 1:
            pairs = zip(below[::2], below[1::2], strict=False)
            self._levels.append([node_hash(left, right) for left, right in pairs])

    def root(self, span: Span) -> bytes:
        """The root of a span that is a subtree."""
        roots, at = [], span.start
        while at < span.end:
            height = (span.end - at).bit_length() - 1
            roots.append(self._levels[height][at >> height])
            at += 1 << height
        return _folded(roots)

    def inclusion(self, index: int, size: int) -> tuple[bytes, ...]:
        """RFC 9162, 2.1.3.1: the path that proves leaf `index` in the tree of the first `size`."""
        return tuple(self.root(span) for span in inclusion_spans(index, size))

    def consistency(self, earlier: int, size: int) -> tuple[bytes, ...]:
        """RFC 9162, 2.1.4.1: the path that proves the first `size` to extend earlier ones."""
        return tuple(self.root(span) for span in consistency_spans(earlier, size))


def inclusion_spans(index: int, size: int) -> tuple[Span, ...]:
    """The subtrees whose roots prove leaf `index` (from 0): RFC 9162, 2.1.3.1, in its order.

    ValueError where the tree has no such leaf.
    """
    if not 0 <= index < size:
        raise ValueError("there is no such entry in this tree")
    start, end, spans = 0, size, []
    while end - start > 1:
        cut = start + _split(end - start)
        if index < cut:
            spans.append(Span(cut, end))
            end = cut
        else:
            spans.append(Span(start, cut))
            start = cut
    return tuple(reversed(spans))


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


def consistency_spans(earlier: int, size: int) -> tuple[Span, ...]:
    """The subtrees whose roots prove a tree to extend its first `earlier` leaves: RFC 9162,
    2.1.4.1, in its order. ValueError where the earlier tree is no part of this one.
    """
    if not 0 < earlier <= size:
        raise ValueError("the earlier tree must be a part of this one")
    start, end, spans = 0, size, []
    while earlier < end:
        cut = start + _split(end - start)
        if earlier <= cut:
            spans.append(Span(cut, end))
            end = cut
        else:
            spans.append(Span(start, cut))
            start = cut
    if start:  # the earlier tree ends in this one, and its own root does not tell it
        spans.append(Span(start, end))
    return tuple(reversed(spans))


def roots_from_consistency(
    earlier: int, later: int, earlier_root: bytes, proof: Sequence[bytes]
) -> tuple[bytes, bytes] | None:
    """RFC 9162, 2.1.4.2: the earlier and the later root that a proof leads to, None where it cannot
    be one. The earlier root is made use of where the proof does not tell it.
    """
    if not 0 < earlier <= later:
        return None
    if earlier == later:
        return None if proof else (earlier_root, earlier_root)
    path = list(proof)
    if earlier & (earlier - 1) == 0:
        path.insert(0, earlier_root)
    if not path:
        return None
    node, last = earlier - 1, later - 1
    while node & 1:
        node >>= 1
        last >>= 1
    old = new = path[0]
    for step in path[1:]:
        if last == 0:
            return None
        if node & 1 or node == last:
            old, new = node_hash(step, old), node_hash(step, new)
            while not node & 1 and node:
                node >>= 1
                last >>= 1
        else:
            new = node_hash(new, step)
        node >>= 1
        last >>= 1
    return (old, new) if last == 0 else None
