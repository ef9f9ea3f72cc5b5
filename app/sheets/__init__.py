"""Sheets people bring and take: start lists, finish lists, and CSV going out.

Pure reading and writing: no database, no web, no clock. Who may import a list, and what an
import changes, is decided elsewhere.
"""
