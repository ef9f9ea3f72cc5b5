"""What is known against the pinned versions: any fault fails, and what could not be asked is said.

Where nothing can be looked up, pip-audit may still end well and say that it knows of no fault; so
what it says of each version is read here.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

SECONDS = 180
ASK = ("--progress-spinner", "off", "--no-deps", "--disable-pip", "--format", "json")


def audit(tool: str, pins: Path) -> int:
    """1 where a pinned version has a known fault; 0 where none has, or nothing could be asked."""
    try:
        asked = subprocess.run(
            [tool, *ASK, "-r", str(pins)],
            capture_output=True,
            text=True,
            timeout=SECONDS,
            check=False,
        )
        told = json.loads(asked.stdout)["dependencies"]
    except subprocess.TimeoutExpired:
        return _skip(f"no answer within {SECONDS} seconds")
    except (OSError, ValueError, KeyError) as error:
        why = asked.stderr.strip().splitlines() if not isinstance(error, OSError) else [str(error)]
        return _skip(why[-1] if why else "the tool said nothing")
    return judge(told)


def judge(told: Sequence[dict[str, Any]]) -> int:
    """Say what is known of each version."""
    faults = [
        f"{one['name']} {one['version']}: {fault['id']}, "
        f"mended in {', '.join(fault['fix_versions']) or 'no version yet'}"
        for one in told
        for fault in one.get("vulns", ())
    ]
    unknown = [one for one in told if "skip_reason" in one]
    if len(unknown) == len(told):
        return _skip(unknown[0]["skip_reason"] if unknown else "there are no versions to ask for")
    print("\n".join(faults) or f"Audit: no known fault of {len(told) - len(unknown)} versions.")
    if unknown:
        print(f"Audit: {len(unknown)} could not be looked up: {_names(unknown)}.")
    return 1 if faults else 0


def _names(unknown: Sequence[dict[str, Any]]) -> str:
    return ", ".join(one["name"] for one in unknown)


def _skip(why: str) -> int:
    print(f"Audit of the pinned versions SKIPPED: {why}")
    return 0


if __name__ == "__main__":
    sys.exit(audit(sys.argv[1], Path(sys.argv[2])))
