"""What of a meet tells of people: every text and file of the schema, place by place.

A place is `table.column`, and within documents `table.column.key.key`; of the record's bodies it is
`record_bodies.kind.key`. Lists have no place of their own. The longest declared end of a place
counts, so a key that means the same everywhere stands here once. A key of a document that nobody
has declared counts as free text and goes: rather too much than too little. Ids, instants, numbers
and truth values need no declaration; they stay, and ids lead nowhere once the names are gone.

Teams and their affiliations stay, also where a whole meet is erased: a school is no person, and a
result that says neither team, lane, time nor rule is none. The same goes for events, rounds, the
meet's name and its venue.
"""

from __future__ import annotations

import re
from enum import StrEnum

from sqlalchemy import Column, LargeBinary, MetaData, String

from app.store.columns import ID_LENGTH, Instant, Json


class Sort(StrEnum):
    """What kind of thing stands in a place, and with that what becomes of it."""

    NAME = "name"
    """A person's name, and nothing else."""
    WORDS = "free text"
    """What somebody wrote: whatever it says, nobody can tell whom it tells of."""
    RECEIPT = "receipt"
    """A number that somebody chose, and may have made of a name. Sentences repeat it."""
    CONTACT = "contact"
    """What leads to one official, or to the device in that hand."""
    LETS_IN = "what lets in"
    """What lets somebody in. It goes with the person."""
    ENDS = "ends"
    """An instant that is set where it is empty: the session or the link is over."""
    DIGEST = "digest of words"
    """A digest without salt, by which somebody could try out what was written."""
    PICTURE = "picture"
    """A file. Its row goes."""
    PAPER = "paper"
    """A drawn paper, packed so that nothing in it can be looked for. Its row goes."""
    TOLD = "told"
    """A sentence of the program's own. It goes where it names somebody who is erased."""
    SEEN_BY = "seen by a name"
    """The program's own words "seen by", and a person's name."""
    DOCUMENT = "document"
    """A document kept as text, walked like any other."""
    OF_TEAMS = "of teams"
    """The name of a team, an event, a round or the meet. It stays, whoever it was named after."""
    STAYS = "stays"
    """Chosen from a closed list, a number, or a digest."""


def _all(sort: Sort, *places: str) -> dict[str, Sort]:
    return dict.fromkeys((place for line in places for place in line.split(", ")), sort)


COLUMNS: dict[str, Sort] = {
    **_all(
        Sort.NAME,
        "officials.name, protests.lodged_by, appeals.lodged_by, lots.drawn_by, lanes.legs",
    ),
    **_all(
        Sort.WORDS,
        "protests.words, protests.allowed_because, appeals.words, decisions.reasons",
        "decisions.heard_because, reports.words, reports.remark, rulings.reasons",
        "time_corrections.reasons, corrections.reasons",
    ),
    **_all(Sort.RECEIPT, "corrections.was, corrections.becomes"),  # an instant stays
    **_all(
        Sort.CONTACT,
        "officials.affiliation, sessions.device, device_keys.credential, device_keys.device",
        "device_keys.content",
    ),
    **_all(
        Sort.LETS_IN,
        "officials.pin_hash, join_links.secret_hash, sessions.secret_hash",
        "sessions.salt",
    ),
    **_all(Sort.ENDS, "sessions.ended_at, join_links.revoked_at"),
    **_all(Sort.DIGEST, "reports.content"),
    **_all(Sort.PICTURE, "picture_originals.content, picture_copies.content"),
    **_all(Sort.PAPER, "papers.content"),
    **_all(Sort.DOCUMENT, "rulings.content, signatures.statement"),
    **_all(Sort.TOLD, "heats.scheduled, reports.post_words, crew_searches.problem"),
    **_all(
        Sort.OF_TEAMS,
        "meets.name, events.name, teams.name, teams.affiliation, heats.round, rounds.round",
        "rounds.next_round, lanes.bib",
    ),
    # The same names once more, to be found by; numbers.
    **_all(
        Sort.STAYS,
        "events.name_key, teams.name_key, heats.round_key, rounds.round_key, rounds.next_key",
        "lots.round_key, advancements.round_key, re_runs.round_key, rounds.points",
    ),
    # From closed lists.
    **_all(
        Sort.STAYS,
        "meets.time_zone, meets.edition, events.relay, zone_surveys.relay",
        "heats.state, officials.roles, posts.edge, posts.side, posts.relays, heat_posts.edge",
        "heat_posts.side, cases.state, reports.state, reports.marks, calls.flag, calls.marks",
        "rulings.verdict, rulings.infringement, rulings.rule, rulings.effect, rulings.edition",
        "disqualifications.infringement, disqualifications.rule, disqualifications.state",
        "windows.kind, windows.remedy, windows.opened_by, windows.rule, windows.origin",
        "windows.counts_from, corrections.about, advancements.letter, advancements.state",
        "re_runs.letter, re_runs.state, protests.about, protests.ground, protests.capacity",
        "protests.state, appeals.state, decisions.instance, decisions.verdict, decisions.edition",
        "votes.vote, pictures.media_type, device_keys.kind, signatures.act, signatures.strength",
        "papers.kind, papers.sheet, papers.level, record_entries.kind, crew_searches.phase",
    ),
    # Ids, and digests of what cannot be tried out: it holds ids and instants to the microsecond,
    # or it was signed, and whoever holds the paper checks it by the digest.
    **_all(
        Sort.STAYS,
        "tries.key, posts.heats, calls.content, rulings.statement_digest",
        "decisions.statement_digest",
        "announcements.statement_digest, announcements.else_seen, signatures.statement_sha256",
        "pictures.sha256, pictures.shown_sha256, papers.facts_sha256, papers.sha256",
        "device_keys.public_key, seals.certificates, seals.fingerprint, seals.verifier_key",
    ),
    # The record: entries hold ids, a kind, an instant and a commitment with a salt. Bodies are
    # looked at one by one, and go as a whole together with their salts.
    **_all(
        Sort.STAYS,
        "record_entries.subject, record_entries.entry, record_bodies.salt, record_bodies.body",
        "record_heads.frontier, record_heads.root, checkpoints.root, checkpoints.note",
    ),
}

KEYS: dict[str, Sort] = {
    **_all(
        Sort.NAME,
        "name, by_name, announced_by_name, observer, ruled_by, lodged_by, drawn_by, secretary",
        "allowed_by, by, legs",
    ),
    **_all(
        Sort.WORDS,
        "words, reason, reasons, ruling_reasons, remark, despite, evidence, done_already",
        "heard_because, allowed_because, asked, paragraphs, marks_note, start lists loaded.sha256",
    ),
    **_all(Sort.RECEIPT, "receipt, was, becomes"),
    **_all(
        Sort.CONTACT,
        "official named.affiliation, official changed.affiliation, device, credential",
    ),
    **_all(Sort.SEEN_BY, "marks.note"),
    **_all(
        Sort.TOLD,
        "because, changes, through, changed_lines, moves, ordered, sentence, summary, too_late",
        "items, facts, grounds, note, zone_note, clock_note, observed, became, ruling_count, title",
        "finding_reason, finding.reason, lines.reason, carried_out.words, no_windows_because",
        "now_in_time.words, now_late.words, drawn_again, in_two_heats, lanes_moved, left_out",
        "renamed, new_to_event, ignored_columns, does_not_count, post, post_words, effect, number",
        "role, form_facts.lane, pictures, form_facts.marks, mind",
    ),
    **_all(
        Sort.OF_TEAMS,
        "teams.name, lanes.name, drawn.name, moves.name, named.name, zones.name, meet made.name",
        "meet changed.name, affiliation, affiliations, team, team_name, bib, event, event_name",
        "round, next_round, meet, meet_name, venue, place, time_zone, heat, lane, stands.words",
        "unwatched.words",
    ),
    # From closed lists, numbers, and times as texts.
    **_all(
        Sort.STAYS,
        "<id>, DNF, DNS, DQ, L, Q, q, qD, qJ, qR, about, act, annotation, announced_at_local, at",
        "attested, before, capacity, carried_otherwise, case_number, changed, clearly, consequence",
        "counted_by, counts_from, currency, deposit, did, distance_gained, distance_shortened",
        "drawn_at_local, dropped_at, edge, edition, edition_title, fetched_by",
        "fetched_from_inner_lane, finding, flag, forced_out, form_sha256, ground, held_by, helped",
        "infringement, inner_line, instance, kind, label, letter, lanes, marks, media_type",
        "obstructed, on_bend, order, order_fixed, origin, other_team_impeded, outcome",
        "own_lane_first, placed_by_official, points, qualification, received_at, relays, remedy",
        "returned_into_zone, returned_to_drop_point, roles, rolled_out_of_zone, rule, ruled_at",
        "ruling_infringement, ruling_rule, ruling_verdict, seen, sha256, shown_sha256, side, state",
        "statement_digest, statement_sha256, status, taken, tie, time, time_to_beat, touched",
        "verdict, vote, went, what, written_at, first_day, last_day, relay, date, form_date",
        "line, mark, begins, ends, wish, costs, working_on",
    ),
    # Of seals, keys and signatures.
    **_all(
        Sort.STAYS,
        "strength, key, public_key, rp_id, certificates, fingerprint, verifier_key, sheet, subject",
        "level, paper, authenticator_data, client_data_json, signature, head, root, official, as",
        "decision_sha256, facts_sha256, attested.words",
    ),
}
"""What documents hold, by the last keys of a place."""

_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d))?")


def is_id_or_instant(text: str) -> bool:
    """Whether a text is nothing but an id, an instant or a day: those tell of nobody."""
    return bool(_ID.fullmatch(text) or _INSTANT.fullmatch(text))


def place_of(key: str, inside: str) -> str:
    """The place of a key inside a place; ids as keys, as of votes, are one place together."""
    return f"{inside}.{'<id>' if _ID.fullmatch(key) else key}"


def declared(place: str) -> Sort | None:
    """What stands in a place of a document, None where nobody has said."""
    if place in COLUMNS:
        return COLUMNS[place]
    parts = place.split(".")
    ends = (".".join(parts[first:]) for first in range(1, len(parts)))
    return next((KEYS[end] for end in ends if end in KEYS), None)


def sort_of(place: str) -> Sort:
    """What stands in a place of a document; free text where nobody has said."""
    return declared(place) or Sort.WORDS


def needs_declaring(column: Column[object]) -> bool:
    """Whether a column can hold a text or a file of its own. Documents are declared by key."""
    kind = column.type
    if isinstance(kind, (Json, Instant)):
        return False
    if isinstance(kind, LargeBinary):
        return True
    return isinstance(kind, String) and kind.length != ID_LENGTH


def undeclared(tables: MetaData) -> set[str]:
    """The columns of the schema that nobody has declared."""
    columns = (column for table in tables.sorted_tables for column in table.columns)
    return {
        f"{column.table.name}.{column.name}"
        for column in columns
        if needs_declaring(column) and f"{column.table.name}.{column.name}" not in COLUMNS
    }
