"""Do the measures of a meet make a track of 400 m, or an oval of 200 m, with zones on it?

Others are stored all the same, and told: heats, reports and rulings need no more than the number of
lanes, and a meet must not wait for a surveyor.
"""

from __future__ import annotations

from app.meets.wire import TrackIn
from app.rules.relay import Relay
from app.rules.track import LAP_M, Track, in_lanes, is_run_on


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


def take_overs_in_lanes(measures: TrackIn, relay: Relay) -> int:
    """How many of a relay's first take-overs are in lanes as the meet runs it; as usual where the
    measures make no lap, or the relay is not known on an oval.
    """
    track = None if track_note(measures) else track_of(measures)
    if track is None or not is_run_on(track, relay):
        return relay.take_overs_in_lanes
    return in_lanes(track, relay).take_overs
