"""Invented forms and result sheets, and invented names in many scripts."""

from dataclasses import replace
from typing import Any

from app.forms.infringement_form import (
    InfringementForm,
    InkField,
    PrintedHead,
    ReportOnForm,
    ReturnOnForm,
    Signature,
    ZoneMark,
    ZonePicture,
)
from app.forms.result_sheet import ResultLine, ResultSheet

DIGEST = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"


NOTE = (
    "zone-docket/0198c2f4-7a31-7c55-9d02-3f1e5b7a9c10\n412\n"
    "LXEWQrcmsEQBYnypy6wy9chTD7GQPMTbAiWHF5IaSIE=\ntime 2026-06-13T12:12:03Z\n\n"
    "— zone-docket/0198c2f4-7a31-7c55-9d02-3f1e5b7a9c10 "
    "1fzqhLXEWQrcmsEQBYnypy6wy9chTD7GQPMTbAiWHF5IaSIE9chTD7GQPMTbAiWHF5IaSIE1fzqhLXEWQrcmsEQBYnyp"
    "y6wy\n"
)
"""A signed note as long as real ones (C2SP signed-note and tlog-checkpoint); its signature is
nobody's."""
HEAD = PrintedHead(412, DIGEST, NOTE)

# Names that nobody bears, one a script; the families that hold the letters are named in `fonts`.
NAMES = {
    "Latin": "Łenka Żuk-Dvořáčková",
    "Vietnamese": "Nguyễn Thị Ánh Sương",
    "Greek": "Ανθή Λιμνοπούλου",
    "Cyrillic": "Мирослава Щукіна",
    "Armenian": "Անի Լճափյան",
    "Georgian": "ნინო ტბისძე",
    "Hebrew": "נועה אגמון",
    "Arabic": "بدر البحيري",
    "Persian": "پونه دریاچه",
    "Devanagari": "प्रिया क्षेत्रपाल",
    "Bengali": "অনন্যা হ্রদকার",
    "Gurmukhi": "ਹਰਪ੍ਰੀਤ ਝੀਲ",
    "Gujarati": "શ્રુતિ સરોવર",
    "Odia": "ଶ୍ରୀମତୀ ହ୍ରଦ",
    "Tamil": "தமிழ்ச்செல்வி ஏரி",
    "Telugu": "సరస్సు శ్రీదేవి",
    "Kannada": "ಶ್ರೀದೇವಿ ಸರೋವರ",
    "Malayalam": "ലക്ഷ്മി തടാകം",
    "Sinhala": "ශ්‍රීමතී වැව",
    "Thai": "สุภาพร ริมน้ำ",
    "Lao": "ພອນ ໜອງ",
    "Khmer": "សុភា បឹង",
    "Myanmar": "ကျော် ရေကန်",
    "Ethiopic": "አበበ ሐይቁ",
    "Chinese": "湖小明",
    "Japanese": "みずうみ さくら",
    "Korean": "호수민",
}


def a_mark(metres: float = 31.4, **changes: Any) -> ZoneMark:
    """A position of the baton."""
    mark = ZoneMark("sole possession", metres, 0.3, "baton at sole possession, seen by J. Example")
    return replace(mark, **changes)


def a_zone(*marks: ZoneMark, **changes: Any) -> ZonePicture:
    """The 30 m zone with its leg line at 20 m (World Athletics TR24.3, from 1 November 2017)."""
    return replace(ZonePicture("take-over 2", 30.0, 20.0, 0.0, marks), **changes)


def a_report(**changes: Any) -> ReportOnForm:
    """What one umpire wrote."""
    report = ReportOnForm(
        observer="J. Example",
        post="take-over 1, end of the zone, lanes 3 and 4",
        seen="baton passed outside the zone",
        observed="When both runners held the baton, its leading end was past the end of the zone.",
        words="The incoming runner let go about a stride and a half after the end line.",
        written_at="14:03:22",
        received_at="14:03:25",
        clock_note="the phone showed 14:03:23, 1.20 s ahead of the server's clock",
        finding="infringement",
        finding_reason="the pass was completed past the end of the zone",
        rule="TR24.7",
        marks_note="",
        attested="by J. Example on a joined device",
    )
    return replace(report, **changes)


def a_return(**changes: Any) -> ReturnOnForm:
    """That the umpire was asked back, and answered."""
    asked = ReturnOnForm(
        at="14:05:40",
        by="A. Specimen",
        asked="How far past the line?",
        became="written again 14:07:02",
    )
    return replace(asked, **changes)


def a_signature(**changes: Any) -> Signature:
    """A signature with a PIN."""
    signature = Signature("Referee", "A. Specimen", "14:11:52", "PIN on a joined device", DIGEST)
    return replace(signature, **changes)


def a_form(**changes: Any) -> InfringementForm:
    """An ordinary case: two reports, three marks, a ruling with two sentences of reasons."""
    form = InfringementForm(
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
        case_id="0198c2f4-7a31-7c55-9d02-3f1e5b7a9c10",
        zones=(a_zone(a_mark(), a_mark(31.1, uncertainty=0.5), a_mark(28.2, uncertainty=1.0)),),
        reports=(a_report(), a_report(observer="R. Sample")),
        ruling_verdict="Confirmed",
        ruling_infringement="pass completed outside the take-over zone",
        ruling_rule="World Athletics TR24.7",
        ruling_count="",
        ruling_reasons="Two umpires with a clear view from both sides agree. The video from the "
        "home straight does not contradict them.",
        ruled_at="14:11:40",
        ruled_by="A. Specimen",
        effect="DQ TR24.7",
        later_ruling="",
        signatures=(a_signature(),),
        ink_fields=(
            InkField("Report 1", "J. Example"),
            InkField("Report 2", "R. Sample"),
            InkField("Head official", "A. Specimen"),
            InkField("Team, for receipt"),
        ),
        head=HEAD,
        printed_at="2026-06-13 14:12:03 CEST",
    )
    return replace(form, **changes)


def a_line(number: int, **changes: Any) -> ResultLine:
    """One team's line."""
    line = ResultLine(
        place=str(number),
        lane=str(number),
        bib=str(400 + number),
        team=f"Invented Team {number}",
        affiliation=f"Invented Club {number}",
        time=f"4{number}.{number}1",
        annotation="",
    )
    return replace(line, **changes)


def a_result(**changes: Any) -> ResultSheet:
    """A heat of eight with one disqualification."""
    lines = [a_line(lane) for lane in range(1, 8)]
    lines.append(a_line(8, place="", time="", annotation="DQ TR24.7"))
    sheet = ResultSheet(
        meet="Lakeside Invented Games",
        place="Lakeside Stadium",
        date="Saturday 13 June 2026",
        time_zone="Europe/Vienna (CEST, UTC+2)",
        event="4x100 m relay women",
        round="first round",
        heat="2",
        number=2,
        is_amended=True,
        supersedes="announcement 1 of 14:01:10",
        superseded="",
        announced_at="14:12:31",
        announced_by="T. Desk",
        lines=tuple(lines),
        remarks=("Announced with a silent post: take-over 3, start, lanes 5 to 8.",),
        windows=("Protests until 14:42:31 (TR8.2)",),
        abbreviations=(("DQ", "disqualified"), ("q", "qualified by time")),
        head=HEAD,
        digest=DIGEST,
        printed_at="2026-06-13 14:13:05 CEST",
    )
    return replace(sheet, **changes)
