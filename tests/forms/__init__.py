"""Tests of the printed forms."""
