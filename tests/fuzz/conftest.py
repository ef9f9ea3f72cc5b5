"""A sealed meet and its export, as the tests of exports have them."""

from __future__ import annotations

from tests.exporting.conftest import exported, sealed

__all__ = ["exported", "sealed"]
