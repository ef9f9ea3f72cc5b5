"""All pages' routers, a place each."""

from __future__ import annotations

from fastapi import APIRouter

from app.pages import (
    assets,
    board,
    case,
    crew_search,
    desk,
    desk_heat,
    desk_rounds,
    head,
    home,
    joining,
    jury,
    keys,
    meet_report,
    organiser,
    problem_types,
    protests,
    record,
    survey,
    zone,
)

ROUTERS: tuple[APIRouter, ...] = (
    assets.router,
    home.router,
    joining.router,
    board.router,
    head.router,
    case.router,
    keys.router,
    desk.router,
    desk_heat.router,
    desk_rounds.router,
    protests.router,
    jury.router,
    record.router,
    zone.router,
    organiser.router,
    survey.router,
    crew_search.router,
    meet_report.router,
    problem_types.router,
)
