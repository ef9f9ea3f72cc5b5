"""What a command says in a terminal: its result on stdout; on stderr how far it is, and what is
wrong. Nobody may be reading: a pipe has ended, a disk is full, or there is no such stream.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TextIO


def say(line: str) -> bool:
    """A line of the result, and whether it was told: whoever reads no further misses nothing that
    they wanted. OSError where it cannot be told for another reason.
    """
    try:
        print(line, flush=True)
    except OSError as error:
        _silence(sys.stdout)
        if not isinstance(error, BrokenPipeError):
            raise
        return False
    return True


def say_beside(line: str) -> None:
    """A line beside the result. It is an extra: where it cannot be told, all goes on in silence."""
    if sys.stderr is None:  # there is none: to print to none is to print to stdout
        return
    try:
        print(line, file=sys.stderr, flush=True)
    except OSError:
        _silence(sys.stderr)


def _silence(stream: TextIO) -> None:
    """What follows, and what the stream still holds, goes nowhere: else the interpreter fails at
    its end, with another end than the command's.
    """
    with Path(os.devnull).open("wb") as nowhere:
        os.dup2(nowhere.fileno(), stream.fileno())
