"""Routers of which every route is guarded: whoever comes is admitted first, by the one table."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from fastapi.routing import APIRoute

from app.access.guard import admit
from app.problems import DOCUMENTED

_ADMITTED_FIRST = Depends(admit)


def for_programs(tag: str) -> APIRouter:
    """A router whose routes stand in the OpenAPI document, with the problems that they answer."""
    return APIRouter(tags=[tag], dependencies=[_ADMITTED_FIRST], responses=DOCUMENTED)


def for_readers(route_class: type[APIRoute] = APIRoute) -> APIRouter:
    """A router of pages and what belongs to them."""
    return APIRouter(
        include_in_schema=False, dependencies=[_ADMITTED_FIRST], route_class=route_class
    )


def is_guarded(route: APIRoute) -> bool:
    """Whether this route admits nobody unasked."""
    return route.dependencies[:1] == [_ADMITTED_FIRST]
