"""Do the measures of a meet make a track of 400 m, on which its zones can be placed?

Others are stored all the same, and told: heats, reports and rulings need no more than the number of
lanes, and a meet must not wait for a surveyor.
"""

from __future__ import annotations

from app.meets.wire import TrackIn
from app.rules.track import Track


def track_of(measures: TrackIn) -> Track:
    """The track; ValueError, in words, where the measures make no lap of 400 m."""
    return Track(**measures.model_dump())


def track_note(measures: TrackIn) -> str:
    """Why the measures make no lap of 400 m; empty where they do."""
    try:
        track_of(measures)
    except ValueError as error:
        return str(error)
    return ""
