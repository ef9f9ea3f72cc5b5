"""What a person has chosen by hand, made firm."""

from __future__ import annotations

from app.planning.facts import Pin
from app.planning.model import Model


def pin(model: Model) -> None:
    """Each pin as a row. Raises ValueError where hours or barred positions leave no such post."""
    people = {person.id: at for at, person in enumerate(model.task.people)}
    spell_of = {heat.id: spell.number for spell in model.spells for heat in spell.heats}
    for one in model.task.pins:
        if one.person not in people or one.heat not in spell_of:
            raise ValueError(f"A pin names {one.person} and {one.heat}; one of them is not there.")
        _pin(model, one, people[one.person], spell_of[one.heat])


def _pin(model: Model, one: Pin, person: int, spell: int) -> None:
    if model.has_begun(spell):
        return  # what has been run is firmer than any pin
    serves = model.serves(person, spell)
    if one.take_over is None:
        model.linear.row(dict.fromkeys(serves, 1.0), at_most=0)
        return
    chosen = [
        column
        for (who, zone, seat), column in model.taken.items()
        if who == person
        and model.staffings[zone].zone.spell == spell
        and one.take_over in model.staffings[zone].zone.take_overs
        and one.edge in {None, seat.edge}
        and one.lanes <= frozenset(seat.lanes)
    ]
    if not chosen:
        raise ValueError(
            f"{model.task.people[person].name} cannot be pinned to take-over {one.take_over} for "
            f"{one.heat}: hours, positions they may not take, or the template leave no such post."
        )
    model.linear.row(dict.fromkeys(chosen, 1.0), at_least=1)
