"""Who may call each route and open each page: one place, read by the guard of every request and by
tests.

A route that is not named here cannot be called, and the program refuses to start with it. What a
role may do *to a particular thing* (only your own report, never rule on it) is the action's
business.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.roles import Role


@dataclass(frozen=True, slots=True)
class Who:
    """Those who may call a route; `aside` is what an action asks of one of the roles besides."""

    roles: frozenset[Role] = frozenset()
    public: bool = False
    founder: bool = False
    aside: str = ""


ANYONE = Who(public=True)
FOUNDER = Who(founder=True)
JOINED = Who(frozenset(Role))
ORGANISER = Who(frozenset({Role.ORGANISER}))
ORGANISER_OR_FOUNDER = Who(frozenset({Role.ORGANISER}), founder=True)
HEAD = Who(frozenset({Role.REFEREE, Role.CHIEF_UMPIRE}))
CHIEF_RULES = "“The chief umpire may rule, as the referee may”"
"""The setting `terms.chief_umpire_rules`, as the organiser's page calls it."""
RULES = Who(
    HEAD.roles, aside=f"the chief umpire only where the settings of the meet say {CHIEF_RULES}"
)
HOLDS_BACK = Who(
    HEAD.roles,
    aside="the chief umpire once the result was announced only where the settings of the meet say "
    f"{CHIEF_RULES}",
)
ENDS_REHEARSALS = Who(frozenset({*HEAD.roles, Role.ORGANISER}))
HEAD_OR_JURY = Who(frozenset({Role.REFEREE, Role.CHIEF_UMPIRE, Role.JURY}))
PLANS_CREW = Who(frozenset({Role.ORGANISER, Role.CHIEF_UMPIRE}))
BRIEFS_CREW = Who(frozenset({Role.ORGANISER, Role.CHIEF_UMPIRE, Role.REFEREE}))
UMPIRES = Who(frozenset({Role.UMPIRE, Role.CHIEF_UMPIRE, Role.REFEREE}))
READERS_OF_REPORTS = Who(frozenset({Role.UMPIRE, Role.CHIEF_UMPIRE, Role.REFEREE, Role.JURY}))
RESULTS = Who(frozenset({Role.RESULTS}))
SETS_ROUNDS = Who(frozenset({Role.ORGANISER, Role.REFEREE, Role.RESULTS}))
DRAWS_LOTS = Who(frozenset({Role.REFEREE, Role.RESULTS}))
DESK = Who(frozenset({Role.RESULTS, Role.REFEREE, Role.CHIEF_UMPIRE, Role.ORGANISER, Role.JURY}))

# Not the organiser, as with the record: a form tells what was reported, word for word.
READERS_OF_FORMS = Who(frozenset({Role.RESULTS, Role.REFEREE, Role.CHIEF_UMPIRE, Role.JURY}))

# Not the organiser: the record holds what was reported, word for word.
READERS_OF_RECORD = Who(frozenset({Role.JURY, Role.REFEREE}))

REFEREE = Who(frozenset({Role.REFEREE}))
JURY = Who(frozenset({Role.JURY}))
PANEL = Who(JURY.roles, aside="a member of the appeal's panel")
CHAIR = Who(JURY.roles, aside="the chair of the appeal's panel")
SECRETARY = Who(
    frozenset({Role.JURY, Role.RESULTS, Role.REFEREE, Role.ORGANISER}),
    aside="the official whom the appeal's panel names as its secretary",
)
TAKES_PROTESTS = Who(frozenset({Role.RESULTS, Role.REFEREE}))
TAKES_APPEALS = Who(frozenset({Role.RESULTS, Role.JURY}))
CORRECTS_PROTESTS = Who(TAKES_PROTESTS.roles, aside="not of a panel on an appeal about it")
CORRECTS_APPEALS = Who(TAKES_APPEALS.roles, aside="not of the appeal's panel")

ENDS_MEET = Who(frozenset({Role.REFEREE, Role.ORGANISER}))

WHO_READS_PAPER: dict[str, Who] = {
    "announcement": ANYONE,
    "appeal": READERS_OF_FORMS,
    "decision": READERS_OF_FORMS,
    "protest": READERS_OF_FORMS,
    "report": HEAD_OR_JURY,  # an umpire's own is given to the umpire at the report's address alone
    "ruling": READERS_OF_FORMS,
}
"""Who may read a sealed paper by the id of one edition: nobody who could not have it drawn. A kind
that is not named here is read by nobody.
"""

MEET = "/api/meets/{meet}"

WHO_MAY: dict[tuple[str, str], Who] = {
    ("GET", "/healthz"): ANYONE,
    ("GET", "/readyz"): ANYONE,
    ("GET", "/metrics"): ANYONE,
    ("GET", "/problems"): ANYONE,
    ("GET", "/problems/{slug}"): ANYONE,
    ("GET", "/api/time"): ANYONE,
    ("GET", "/api/editions"): ANYONE,
    ("POST", "/api/join/look"): ANYONE,
    ("POST", "/api/join"): ANYONE,
    ("GET", "/api/me"): JOINED,
    ("GET", "/api/meets"): ANYONE,
    ("DELETE", "/api/me/session"): JOINED,
    ("PUT", MEET): ORGANISER_OR_FOUNDER,
    ("GET", MEET): ANYONE,
    ("GET", f"{MEET}/officials"): Who(frozenset({Role.ORGANISER, Role.REFEREE, Role.CHIEF_UMPIRE})),
    ("POST", f"{MEET}/officials-list"): ORGANISER,
    ("PUT", f"{MEET}/officials/{{official}}"): ORGANISER,
    ("GET", f"{MEET}/officials/{{official}}"): ORGANISER,
    ("DELETE", f"{MEET}/officials/{{official}}/pin"): ORGANISER,
    ("PUT", f"{MEET}/officials/{{official}}/join-links/{{link}}"): ORGANISER_OR_FOUNDER,
    ("DELETE", f"{MEET}/officials/{{official}}/join-links/{{link}}"): ORGANISER,
    ("POST", f"{MEET}/badges.pdf"): ORGANISER,
    ("POST", f"{MEET}/me/keys/options"): JOINED,
    ("PUT", f"{MEET}/me/keys/{{key}}"): JOINED,
    ("GET", f"{MEET}/me/keys"): JOINED,
    ("POST", f"{MEET}/me/keys/{{key}}/revoke"): JOINED,
    ("GET", f"{MEET}/officials/{{official}}/keys"): ORGANISER,
    ("POST", f"{MEET}/officials/{{official}}/keys/{{key}}/revoke"): ORGANISER,
    ("POST", f"{MEET}/start-lists"): ORGANISER,
    ("GET", f"{MEET}/heats"): ANYONE,
    ("GET", f"{MEET}/heats/{{heat}}"): ANYONE,
    ("PUT", f"{MEET}/heat-now"): HEAD,
    ("GET", f"{MEET}/heat-now"): JOINED,
    ("POST", f"{MEET}/heats/{{heat}}/start"): HEAD,
    ("POST", f"{MEET}/heats/{{heat}}/hold-back"): HOLDS_BACK,
    ("POST", f"{MEET}/heats/{{heat}}/not-held"): ORGANISER,
    ("PUT", f"{MEET}/rehearsals/{{rehearsal}}"): ORGANISER,
    ("POST", f"{MEET}/rehearsals/{{rehearsal}}/end"): ENDS_REHEARSALS,
    ("GET", f"{MEET}/rehearsals"): JOINED,
    ("GET", f"{MEET}/heats/{{heat}}/posts"): DESK,
    ("PUT", f"{MEET}/crew"): PLANS_CREW,
    ("POST", f"{MEET}/crew-list"): PLANS_CREW,
    ("GET", f"{MEET}/crew"): JOINED,
    ("GET", f"{MEET}/crew.csv"): JOINED,
    ("PUT", f"{MEET}/crew/wishes"): PLANS_CREW,
    ("GET", f"{MEET}/crew/wishes"): PLANS_CREW,
    ("POST", f"{MEET}/people-list"): PLANS_CREW,
    ("POST", f"{MEET}/crew-template"): PLANS_CREW,
    ("PUT", f"{MEET}/crew/searches/{{search}}"): PLANS_CREW,
    ("GET", f"{MEET}/crew/searches/{{search}}"): PLANS_CREW,
    ("DELETE", f"{MEET}/crew/searches/{{search}}"): PLANS_CREW,
    ("POST", f"{MEET}/crew/searches/{{search}}/take"): PLANS_CREW,
    ("GET", f"{MEET}/crew/briefing-cards.pdf"): BRIEFS_CREW,
    ("POST", f"{MEET}/crew/briefing-cards.pdf"): ORGANISER,
    ("GET", f"{MEET}/crew/chiefs-sheet.pdf"): BRIEFS_CREW,
    ("GET", f"{MEET}/survey"): JOINED,
    ("GET", f"{MEET}/survey.csv"): JOINED,
    ("GET", f"{MEET}/survey-sheets.pdf"): JOINED,
    ("GET", f"{MEET}/survey/zones/{{relay}}/{{take_over}}"): JOINED,
    ("PUT", f"{MEET}/survey/zones/{{relay}}/{{take_over}}"): PLANS_CREW,
    ("POST", f"{MEET}/survey-list"): PLANS_CREW,
    ("GET", f"{MEET}/watch"): JOINED,
    ("GET", f"{MEET}/meet-report"): UMPIRES,
    ("GET", f"{MEET}/meet-report.csv"): UMPIRES,
    ("GET", f"{MEET}/meet-report.pdf"): UMPIRES,
    ("PUT", f"{MEET}/calls/{{call}}"): UMPIRES,
    ("GET", f"{MEET}/calls/{{call}}"): READERS_OF_REPORTS,
    ("PUT", f"{MEET}/reports/{{report}}"): UMPIRES,
    ("GET", f"{MEET}/reports/{{report}}"): READERS_OF_REPORTS,
    ("GET", f"{MEET}/reports"): UMPIRES,
    ("POST", f"{MEET}/reports/{{report}}/return"): HEAD,
    ("POST", f"{MEET}/reports/{{report}}/withdraw"): UMPIRES,
    ("PUT", f"{MEET}/reports/{{report}}/pictures/{{picture}}"): UMPIRES,
    ("GET", f"{MEET}/reports/{{report}}/pictures/{{picture}}"): READERS_OF_REPORTS,
    ("GET", f"{MEET}/reports/{{report}}/pictures/{{picture}}/copy.jpg"): READERS_OF_REPORTS,
    ("GET", f"{MEET}/reports/{{report}}/pictures/{{picture}}/original"): READERS_OF_REPORTS,
    ("GET", f"{MEET}/docket"): HEAD,
    ("GET", f"{MEET}/cases/{{case}}"): HEAD_OR_JURY,
    ("PUT", f"{MEET}/cases/{{case}}/rulings/{{ruling}}"): RULES,
    ("GET", f"{MEET}/rulings/{{ruling}}"): DESK,
    ("GET", f"{MEET}/reports/{{report}}/form.pdf"): READERS_OF_REPORTS,
    ("GET", f"{MEET}/rulings/{{ruling}}/form.pdf"): READERS_OF_FORMS,
    ("GET", f"{MEET}/heats/{{heat}}/rulings"): DESK,
    ("GET", f"{MEET}/disqualifications"): DESK,
    ("PUT", f"{MEET}/heats/{{heat}}/result"): RESULTS,
    ("GET", f"{MEET}/heats/{{heat}}/result"): DESK,
    ("PUT", f"{MEET}/rounds/{{round}}"): SETS_ROUNDS,
    ("GET", f"{MEET}/rounds/{{round}}"): ANYONE,
    ("GET", f"{MEET}/rounds"): ANYONE,
    ("PUT", f"{MEET}/rounds/{{round}}/lots/{{lots}}"): DRAWS_LOTS,
    ("GET", f"{MEET}/heats/{{heat}}/round"): ANYONE,
    ("GET", f"{MEET}/heats/{{heat}}/round/now"): DESK,
    ("GET", f"{MEET}/scores"): ANYONE,
    ("PUT", f"{MEET}/announcements/{{announcement}}"): RESULTS,
    ("PUT", f"{MEET}/announcements/{{announcement}}/time-corrections/{{correction}}"): RESULTS,
    ("GET", f"{MEET}/announcements"): ANYONE,
    ("GET", f"{MEET}/announcements/{{announcement}}.json"): ANYONE,
    ("GET", f"{MEET}/announcements/{{announcement}}.csv"): ANYONE,
    ("GET", f"{MEET}/announcements/{{announcement}}.pdf"): ANYONE,
    ("GET", f"{MEET}/announcements/{{announcement}}.txt"): ANYONE,
    ("PUT", f"{MEET}/end"): ENDS_MEET,
    ("GET", f"{MEET}/end"): ANYONE,
    ("GET", f"{MEET}/end/time-corrections"): DESK,
    ("PUT", f"{MEET}/end/time-corrections/{{correction}}"): ENDS_MEET,
    ("GET", f"{MEET}/windows.json"): ANYONE,
    ("GET", f"{MEET}/windows.ics"): ANYONE,
    ("PUT", f"{MEET}/protests/{{protest}}"): TAKES_PROTESTS,
    ("GET", f"{MEET}/protests"): READERS_OF_FORMS,
    ("GET", f"{MEET}/protests/{{protest}}"): READERS_OF_FORMS,
    ("POST", f"{MEET}/protests/{{protest}}/consequences"): HEAD_OR_JURY,
    ("PUT", f"{MEET}/protests/{{protest}}/decision"): REFEREE,
    ("PUT", f"{MEET}/protests/{{protest}}/advice"): TAKES_PROTESTS,
    ("PUT", f"{MEET}/protests/{{protest}}/time-corrections/{{correction}}"): CORRECTS_PROTESTS,
    (
        "PUT",
        f"{MEET}/protests/{{protest}}/advice/time-corrections/{{correction}}",
    ): CORRECTS_PROTESTS,
    ("POST", f"{MEET}/protests/{{protest}}/withdraw"): RESULTS,
    ("GET", f"{MEET}/protests/{{protest}}/form.pdf"): READERS_OF_FORMS,
    ("PUT", f"{MEET}/appeals/{{appeal}}"): TAKES_APPEALS,
    ("GET", f"{MEET}/appeals"): READERS_OF_FORMS,
    ("GET", f"{MEET}/appeals/{{appeal}}"): READERS_OF_FORMS,
    ("GET", f"{MEET}/appeals/{{appeal}}/dossier"): HEAD_OR_JURY,
    ("PUT", f"{MEET}/appeals/{{appeal}}/deposit"): TAKES_APPEALS,
    ("PUT", f"{MEET}/appeals/{{appeal}}/time-corrections/{{correction}}"): CORRECTS_APPEALS,
    ("PUT", f"{MEET}/appeals/{{appeal}}/deposit/time-corrections/{{correction}}"): CORRECTS_APPEALS,
    (
        "PUT",
        f"{MEET}/appeals/{{appeal}}/deposit/receipt-corrections/{{correction}}",
    ): CORRECTS_APPEALS,
    ("PUT", f"{MEET}/appeals/{{appeal}}/admission"): CHAIR,
    ("PUT", f"{MEET}/appeals/{{appeal}}/panel"): JURY,
    ("GET", f"{MEET}/appeals/{{appeal}}/panel/candidates"): JURY,
    ("POST", f"{MEET}/appeals/{{appeal}}/panel/{{official}}/withdraw"): JURY,
    ("PUT", f"{MEET}/appeals/{{appeal}}/votes/{{vote}}"): PANEL,
    ("POST", f"{MEET}/appeals/{{appeal}}/consequences"): HEAD_OR_JURY,
    ("PUT", f"{MEET}/appeals/{{appeal}}/decision"): CHAIR,
    ("POST", f"{MEET}/appeals/{{appeal}}/withdraw"): RESULTS,
    ("POST", f"{MEET}/appeals/{{appeal}}/reopen"): CHAIR,
    ("GET", f"{MEET}/appeals/{{appeal}}/form.pdf"): READERS_OF_FORMS,
    ("GET", f"{MEET}/decisions/{{decision}}/form.pdf"): READERS_OF_FORMS,
    ("PUT", f"{MEET}/decisions/{{decision}}/signatures/{{signature}}"): SECRETARY,
    ("GET", f"{MEET}/cases/{{case}}/consequences"): HEAD_OR_JURY,
    ("GET", f"{MEET}/cases/{{case}}/file.pdf"): HEAD_OR_JURY,
    ("GET", f"{MEET}/cases/{{case}}/file.zip"): HEAD_OR_JURY,
    ("GET", f"{MEET}/protests/{{protest}}/file.pdf"): HEAD_OR_JURY,
    ("GET", f"{MEET}/protests/{{protest}}/file.zip"): HEAD_OR_JURY,
    ("GET", f"{MEET}/appeals/{{appeal}}/file.pdf"): HEAD_OR_JURY,
    ("GET", f"{MEET}/appeals/{{appeal}}/file.zip"): HEAD_OR_JURY,
    ("GET", f"{MEET}/feed"): JOINED,
    ("GET", f"{MEET}/seals"): ANYONE,
    ("GET", f"{MEET}/papers"): READERS_OF_FORMS,
    ("GET", f"{MEET}/papers/{{paper}}.pdf"): READERS_OF_FORMS,
    ("GET", f"{MEET}/record"): READERS_OF_RECORD,
    ("GET", f"{MEET}/record.zip"): READERS_OF_RECORD,
    ("GET", f"{MEET}/record/head"): ANYONE,
    ("GET", f"{MEET}/record/checkpoint"): ANYONE,
    ("GET", f"{MEET}/record/checkpoints"): ANYONE,
    ("GET", f"{MEET}/record/proofs/inclusion"): READERS_OF_RECORD,
    ("GET", f"{MEET}/record/proofs/consistency"): ANYONE,
}

PAGES = "/meets/{meet}"

# The secretary of a panel may read no appeals, and signs all the same what it has decided.
OPENS_JURY = Who(READERS_OF_FORMS.roles | SECRETARY.roles)

WHO_OPENS: dict[tuple[str, str], Who] = {
    ("GET", "/"): ANYONE,
    ("GET", "/assets/{release}/{name:path}"): ANYONE,
    ("GET", "/join"): ANYONE,
    ("POST", "/join"): ANYONE,
    ("GET", "/set-up"): ANYONE,
    ("GET", "/problems"): ANYONE,
    ("GET", "/problems/{slug}"): ANYONE,
    ("GET", PAGES): ANYONE,
    ("GET", f"{PAGES}/results/{{announcement}}"): ANYONE,
    ("GET", f"{PAGES}/start"): JOINED,
    ("GET", f"{PAGES}/jury"): OPENS_JURY,
    ("GET", f"{PAGES}/jury/{{appeal}}"): OPENS_JURY,
    ("GET", f"{PAGES}/record"): READERS_OF_RECORD,
    ("GET", f"{PAGES}/head"): HEAD,
    ("GET", f"{PAGES}/cases/{{case}}"): HEAD_OR_JURY,
    ("GET", f"{PAGES}/keys"): JOINED,
    ("POST", f"{PAGES}/leave"): JOINED,
    ("GET", f"{PAGES}/meet-report"): UMPIRES,
    ("GET", f"{PAGES}/zone"): UMPIRES,
    ("GET", f"{PAGES}/zone/manifest.webmanifest"): ANYONE,
    ("GET", "/worker.js"): ANYONE,
    ("GET", f"{PAGES}/desk"): DESK,
    ("GET", f"{PAGES}/desk/rounds"): DESK,
    ("GET", f"{PAGES}/desk/heats/{{heat}}"): DESK,
    ("GET", f"{PAGES}/desk/heats/{{heat}}/protest"): TAKES_PROTESTS,
    ("GET", f"{PAGES}/protests"): READERS_OF_FORMS,
    ("GET", f"{PAGES}/protests/{{protest}}"): READERS_OF_FORMS,
    ("GET", f"{PAGES}/organiser"): ORGANISER,
    ("GET", f"{PAGES}/organiser/officials"): ORGANISER,
    ("GET", f"{PAGES}/organiser/start-lists"): ORGANISER,
    ("GET", f"{PAGES}/organiser/crew"): PLANS_CREW,
    ("GET", f"{PAGES}/organiser/survey"): PLANS_CREW,
    ("GET", f"{PAGES}/organiser/crew-search"): PLANS_CREW,
    ("GET", f"{PAGES}/organiser/rehearsals"): PLANS_CREW,
}
"""Who may open each page, and what belongs to pages; all else is in `WHO_MAY`."""

ROUTES = WHO_MAY | WHO_OPENS


def kinds_read_by(roles: frozenset[Role]) -> list[str]:
    """The kinds of sealed papers that an official of these roles may read."""
    return [kind for kind, who in WHO_READS_PAPER.items() if who.public or roles & who.roles]
