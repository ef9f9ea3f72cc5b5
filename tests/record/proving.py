"""Proofs over leaf hashes at hand, and their check, as RFC 9162, 2.1 describes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from app.record.merkle import (
    Span,
    consistency_spans,
    inclusion_spans,
    root_over,
    roots_from_consistency,
)


def inclusion_proof(index: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """2.1.3.1: the path that proves leaf `index` (from 0) to be in the tree."""
    return _roots_of(inclusion_spans(index, len(leaves)), leaves)


def consistency_proof(earlier: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """2.1.4.1: the path that proves the tree to extend its first `earlier` leaves."""
    return _roots_of(consistency_spans(earlier, len(leaves)), leaves)


def _roots_of(spans: Iterable[Span], leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    return tuple(root_over(leaves[span.start : span.end]) for span in spans)


def is_consistent(
    earlier: int, later: int, earlier_root: bytes, later_root: bytes, proof: Sequence[bytes]
) -> bool:
    """2.1.4.2: whether the later root extends the earlier one, by this proof."""
    roots = roots_from_consistency(earlier, later, earlier_root, proof)
    return roots == (earlier_root, later_root)
