"""What does a seal cost? A form that is drawn alone, and one with its head as a code, sealed.

Every sealed form has a head of its own, as in a meet, so no code is drawn twice. The key is loaded
once, as the service does it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from itertools import count
from secrets import token_hex
from time import perf_counter

from app.forms.certificates import make_sealing_key
from app.forms.infringement_form import InfringementForm, draw_infringement_form
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead
from app.forms.seal import Attested, Sealer
from tests.bench.lines import Goal, Line, Ratio, ratio_of_rounds, time_line
from tests.bench.load import LoadFailed
from tests.bench.plan import LARGEST_SEALED_RATIO, SLOWEST_SEALED_MS, Plan
from tests.forms.builders import a_form

BEFORE = "infringement form, unsealed"
AFTER = "infringement form, sealed"
AGAIN = "further seal on a sealed form"


def measure_sealing(plan: Plan) -> list[Line]:
    """The same form without and with its code and seal, in turns; and a second seal on it."""
    now = datetime.now(UTC)
    sealer = Sealer(make_sealing_key("Lakeside Invented Games", now))
    attested = Attested("Cleo Anchor", "Ruling of Cleo Anchor, head official", "", now)
    forms = _forms()
    plain, sealed, again = [], [], []
    for _ in range(plan.rounds * plan.forms_a_round + 1):
        form = next(forms)
        bare = replace(form, head=replace(form.head, note=""))
        plain.append(_time(lambda bare=bare: draw_infringement_form(bare, Paper.A4))[0])
        took, pdf = _time(lambda form=form: _seal(sealer, form, attested))
        sealed.append(took)
        again.append(_time(lambda pdf=pdf: sealer.seal(pdf, attested).content)[0])
    del plain[0], sealed[0], again[0]  # the first fills what is kept
    ratio = ratio_of_rounds(sealed, plain)
    line = time_line(AFTER, sealed, Ratio(ratio, "times the unsealed one"))
    met = ratio <= LARGEST_SEALED_RATIO and line.median * 1e3 <= SLOWEST_SEALED_MS
    goal = Goal(f"≤ {LARGEST_SEALED_RATIO:g} × and ≤ {SLOWEST_SEALED_MS:g} ms", met)
    return [time_line(BEFORE, plain), replace(line, goal=goal), time_line(AGAIN, again)]


def _forms() -> Iterator[InfringementForm]:
    form = a_form()
    for size in count(1):
        note = form.head.note.replace("\n412\n", f"\n{size}\n").replace("LXEW", token_hex(2))
        yield replace(form, head=PrintedHead(size, token_hex(32), note))


def _seal(sealer: Sealer, form: InfringementForm, attested: Attested) -> bytes:
    return sealer.seal(draw_infringement_form(form, Paper.A4), attested).content


def _time(act: Callable[[], bytes]) -> tuple[float, bytes]:
    began = perf_counter()
    pdf = act()
    took = perf_counter() - began
    if not pdf.startswith(b"%PDF-"):
        raise LoadFailed("What came as a form is no PDF.")
    return took, pdf
