"""A decision of the referee's says which one of the jury has undone it, and since when it stands.

Of before is brought along what was undone by name on another protest: by a decision of the jury
that stands, or by one that was replaced since by another which took that back: what stands again so
is told by the next announcement, also where one had told it before.

Revision: 0007, after 0006.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("decisions", sa.Column("settled_by", sa.String(length=36), nullable=True))
    op.add_column("decisions", sa.Column("given_back", sa.Integer(), nullable=True))
    rows = op.get_bind().execute(
        sa.text(
            "SELECT id, seq, instance, protest_id, replaced_by, orders, carried_out FROM decisions "
            "ORDER BY meet_id, seq"
        )
    )
    for decision, values in _settled([row._asdict() for row in rows]).items():
        op.get_bind().execute(
            sa.text("UPDATE decisions SET settled_by = :by, given_back = :back WHERE id = :id"),
            {"id": decision, **values},
        )


def _settled(known: Iterable[Mapping[str, Any]]) -> Mapping[str, Mapping[str, Any]]:
    """By decision of the referee's that the jury undid: by which, and when it was given back."""
    found: dict[str, dict[str, Any]] = {}
    by_id = {one["id"]: one for one in known}
    jurys = [one for one in by_id.values() if one["instance"] == "jury"]
    heard = {one["protest_id"] for one in jurys if one["replaced_by"] is None}
    for one in jurys:
        later = by_id.get(one["replaced_by"])
        for undone in _undoes(one):
            if by_id[undone]["protest_id"] in heard:
                continue
            if later is not None and undone not in _undoes(later) and _takes_back(later):
                found[undone] = {"by": None, "back": later["seq"]}
            else:
                found[undone] = {"by": one["id"], "back": None}
    return found


def _undoes(decision: Mapping[str, Any]) -> list[str]:
    orders = _read(decision["orders"])
    return [order["decision"] for order in orders if order["order"] == "undo"]


def _takes_back(decision: Mapping[str, Any]) -> bool:
    return any(kept.get("takes_back") for kept in _read(decision["carried_out"]))


def _read(stored: Any) -> Any:
    """JSON as a database hands it out: as text, or read already."""
    return json.loads(stored) if isinstance(stored, str) else stored


def downgrade() -> None:
    """What the jury has undone is told by its orders again."""
    op.execute("ALTER TABLE decisions DROP COLUMN given_back")
    op.execute("ALTER TABLE decisions DROP COLUMN settled_by")
