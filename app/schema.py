"""All tables together, and the version of the schema that this program works with."""

from __future__ import annotations

from sqlalchemy import MetaData

from app.access import tables as access_tables
from app.appeals import tables as appeals_tables
from app.crew import tables as crew_tables
from app.crew_search import tables as crew_search_tables
from app.meets import tables as meets_tables
from app.pictures import tables as pictures_tables
from app.record import tables as record_tables
from app.reports import tables as reports_tables
from app.results import tables as results_tables
from app.rounds import tables as rounds_tables
from app.rulings import tables as rulings_tables
from app.sealing import tables as sealing_tables
from app.store.columns import metadata
from app.surveys import tables as surveys_tables

REVISION = "0012"

TABLE_MODULES = (
    meets_tables,
    access_tables,
    crew_tables,
    surveys_tables,
    crew_search_tables,
    reports_tables,
    pictures_tables,
    rulings_tables,
    rounds_tables,
    results_tables,
    appeals_tables,
    record_tables,
    sealing_tables,
)


def all_tables() -> MetaData:
    """The metadata with every capability's tables on it."""
    return metadata
