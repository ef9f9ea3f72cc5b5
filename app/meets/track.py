"""Do the measures of a meet make a track of 400 m, or an oval of 200 m, with zones on it?

Others are stored all the same, and told: heats, reports and rulings need no more than the number of
lanes, and a meet must not wait for a surveyor.
"""

from __future__ import annotations

from app.meets.wire import TrackIn
from app.rules.track import LAP_M, Track


def track_of(measures: TrackIn) -> Track:
    """The track; ValueError, in words, where the measures make no lap of 400 or 200 m."""
    return Track(**measures.model_dump())


def track_note(measures: TrackIn) -> str:
    """Why the measures make no lap of 400 or 200 m; empty where they do."""
    try:
        track_of(measures)
    except ValueError as error:
        return str(error)
    return ""


def lap_of(measures: TrackIn) -> int:
    """The lap as people call it, in metres; 400 also where the measures make none."""
    return LAP_M if track_note(measures) else track_of(measures).lap_m
