"""Invented papers of one dispute: a protest, its decision, an appeal, and the decision on that."""

from dataclasses import replace
from typing import Any

from app.forms.remedy_paper import InkField, RemedyPaper, Section, Signature
from tests.forms.builders import HEAD, a_signature

DESK = "T. Desk, technical information centre"
PANEL = ("M. Chairwell", "P. Quayle-Invented", "S. Tarn")


def a_section(**changes: Any) -> Section:
    """A part with facts, text and a list."""
    section = Section(
        title="What the protest says",
        facts=(("about", "ruling 7: DQ TR24.7"), ("asked for", "the place that was run")),
        paragraphs=("The baton was taken before the end line; our own pictures show it.",),
        items=("If upheld: Harbour Runners A in the final on time.",),
    )
    return replace(section, **changes)


def a_protest(**changes: Any) -> RemedyPaper:
    """A protest that awaits the referee."""
    paper = RemedyPaper(
        title="Protest",
        number="protest 3",
        meet="Lakeside Invented Games",
        place="Lakeside Stadium",
        date="Saturday 13 June 2026",
        time_zone="Europe/Vienna (CEST, UTC+2)",
        edition="World Athletics, from 1 November 2025",
        event="4x100 m relay women",
        round="first round",
        heat="2",
        lane="4",
        team="Harbour Runners A",
        affiliation="Harbour Runners",
        bib="412",
        verdict="",
        awaits="awaits the referee",
        effect="",
        grounds=(),
        reasons="",
        standing_note="",
        marks=(),
        sections=(_lodging(), a_section(), _consequences()),
        signatures=(_desk_signature(),),
        ink_fields=(InkField("Team representative"), InkField("Taken in by", "T. Desk")),
        head=HEAD,
        printed_at="2026-06-13 14:31:20 CEST",
    )
    return replace(paper, **changes)


def a_referee_decision(**changes: Any) -> RemedyPaper:
    """The protest, rejected: nothing is amended, and an appeal can be lodged from the advice on."""
    paper = a_protest(
        title="Decision of the referee",
        verdict="rejected",
        awaits="",
        effect="DQ TR24.7 stands",
        grounds=(
            ("decided", "14:49:05"),
            ("by", "A. Specimen, referee"),
            ("rule", "World Athletics TR8.3"),
        ),
        reasons="Both umpires and the picture from the home straight show the baton past the end "
        "line when the receiver alone held it. The pictures of the team show another take-over.",
        sections=(_lodging(), a_section(), _seen_by_the_referee(), _what_follows()),
        signatures=(a_signature(at="14:49:05"),),
        ink_fields=(
            InkField("Referee", "A. Specimen"),
            InkField("Team, for receipt"),
        ),
        printed_at="2026-06-13 14:49:40 CEST",
    )
    return replace(paper, **changes)


def an_appeal(**changes: Any) -> RemedyPaper:
    """An appeal that came late and was admitted; the jury has it."""
    paper = a_protest(
        title="Appeal to the jury",
        number="appeal 1",
        awaits="awaits the jury",
        marks=("LATE by 4 minutes 10 seconds",),
        sections=(_lodging(what="appeal"), _deposit("received at 15:22:30"), a_section()),
        ink_fields=(InkField("Team representative"), InkField("Secretary", "K. Scribe")),
    )
    return replace(paper, **changes)


def a_jury_decision(**changes: Any) -> RemedyPaper:
    """The appeal, upheld by a panel of three."""
    paper = an_appeal(
        title="Decision of the jury",
        verdict="upheld",
        awaits="",
        effect="disqualification set aside",
        grounds=(
            ("decided", "15:58:12"),
            ("votes", "2 for, 1 against"),
            ("rule", "World Athletics TR8.7"),
        ),
        reasons="The picture that the team brought at 15:40 shows both runners with the baton on "
        "the end line. What one umpire saw from the stand does not outweigh it.",
        sections=(_panel(), _deposit("returned at 16:01:00"), _evidence(), _after_the_appeal()),
        signatures=tuple(
            a_signature(role="Jury, chair" if name == PANEL[0] else "Jury", name=name)
            for name in PANEL
        ),
        ink_fields=(
            *(InkField("Jury", name) for name in PANEL),
            InkField("Secretary", "K. Scribe"),
            InkField("Team, for receipt"),
        ),
    )
    return replace(paper, **changes)


def _desk_signature() -> Signature:
    return a_signature(role="Results desk", name="T. Desk", at="14:30:02")


def _lodging(what: str = "protest") -> Section:
    return Section(
        title=f"How the {what} came in",
        facts=(
            ("lodged", "14:29:40, orally, by C. Speaker, team manager"),
            ("taken in by", DESK),
            ("window", "opened by announcement 1 at 14:01:10, open until 14:31:10 (TR8.2)"),
            ("in time", "1 minute 30 seconds before the window closed"),
        ),
    )


def _consequences() -> Section:
    return Section(
        title="If it is upheld",
        items=(
            "Harbour Runners A: place 3, 43.20, in the final on time (q).",
            "Breakwater Club: place 4 instead of 3, no longer in the final.",
        ),
    )


def _seen_by_the_referee() -> Section:
    return Section(
        title="What the referee looked at",
        items=("Reports 11 and 12 with their observations.", "Picture 4, from the home straight."),
    )


def _what_follows() -> Section:
    return Section(
        title="What follows",
        items=(
            "Nothing is amended; C. Speaker was told so at 14:50:00.",
            "An appeal to the jury can be lodged until 15:20:00 (TR8.7), in writing, signed, with "
            "the deposit of 100 USD.",
        ),
    )


def _deposit(became: str) -> Section:
    return Section("Deposit", (("amount", "100 USD"), ("receipt 0017", became)))


def _panel() -> Section:
    return Section(
        title="The panel",
        facts=(
            ("chair", PANEL[0]),
            ("members", ", ".join(PANEL[1:])),
            ("withdrew", "B. Weir: Breakwater Club loses a place in the final if it is upheld"),
            ("substitute", PANEL[2]),
            ("secretary, without vote", "K. Scribe"),
            ("quorum", "3 of 3 present"),
        ),
    )


def _evidence() -> Section:
    return Section(
        title="What the jury had before it",
        items=("Reports 11 and 12, ruling 7, protest 3 and its decision.", "Pictures 4, 5 and 6."),
    )


def _after_the_appeal() -> Section:
    return Section(
        title="What follows",
        items=(
            "Announcement 3 amends the result of heat 2.",
            "Harbour Runners A: place 3, 43.20, in the final in lane 8, advanced by the jury (qJ).",
            "This decision is final; it can be reopened only on new evidence (TR8.9).",
        ),
    )
