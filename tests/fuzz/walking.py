"""Requests to every address by everybody: good ones, good ones with something else in them, and
such as are made up from what the document says; most of them about things that are there.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Collection, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl

import requests
import schemathesis
from hypothesis.errors import Unsatisfiable
from schemathesis import APIOperation, Case, GenerationMode, Response
from schemathesis.core import NOT_SET
from schemathesis.core.parameters import ParameterLocation

from app.ids import new_id
from tests.builders import PIN, Json
from tests.fuzz.budget import SEED, drawn
from tests.fuzz.contract import breaches
from tests.fuzz.played import BUILDS, CALLERS, PARAMETER, Played, whose
from tests.sendings import Sending

NAMED = {"team", "heat", "post", "event", "official", "protest", "appeal", "ruling", "report"}
"""What a document names by its id, in a field that is called so."""
MOST_LOOKED_AT = 8
ENDS_SESSIONS = "/api/me/session"
FEED = "/api/meets/{meet}/feed"
PATIENCE = 60


@dataclass
class Walk:
    """What was asked of a played meet, how it was answered, and what broke the contract."""

    played: Played
    found: dict[str, str] = field(default_factory=dict)
    answered: Counter[tuple[str, int]] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.chance = random.Random(SEED)
        self.http = requests.Session()
        self.http.trust_env = False
        document = self.played.service.http.get("/openapi.json").json()
        schema = schemathesis.openapi.from_dict(document)
        schema.config.update(base_url=self.played.service.address)
        self.operations = [one.ok() for one in schema.get_all_operations()]

    def good(self, label: str) -> bool:
        """Whether somebody was given what they asked for there."""
        return any(self.answered[label, status] for status in (200, 201))

    def by_status(self) -> dict[int, int]:
        """How often each status came."""
        counted: Counter[int] = Counter()
        for (_, status), times in self.answered.items():
            counted[status] += times
        return dict(sorted(counted.items()))

    # Good requests --------------------------------------------------------------------------------

    def read_all(self, callers: Collection[str] = CALLERS) -> None:
        """Every address that only tells, of things that are there, until somebody is told."""
        for operation in self._of("get"):
            for parameters in self._addresses(operation):
                for caller in callers:
                    self._ask(operation.Case(path_parameters=parameters), caller)
                if self.good(operation.label):
                    break

    def _addresses(self, operation: APIOperation) -> Iterator[Json]:
        names = PARAMETER.findall(operation.path)
        for at in range(MOST_LOOKED_AT):
            yield self._paired({name: self._known(name, -1 - at) for name in names})

    def send_all(self) -> None:
        """What changes something: by those who may not, and last by whom it is of."""
        for build in BUILDS.values():
            sending = build(self.played.meet)
            self._by_everybody(self._as_case(sending), last=whose(self.played.meet, sending))

    def send_all_with_changes(self, examples: int) -> None:
        """The same with a field of what the document says, by whom it is of."""
        for caller, sending in self.played.ready:
            self._with_changes(caller, sending, examples)

    def _with_changes(self, caller: str, sending: Sending, examples: int) -> None:
        operation = self._as_case(sending).operation

        as_told = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)
        for made_up in drawn(as_told, examples):
            changed = self._as_case(sending)
            if isinstance(made_up.body, dict) and made_up.body:
                name = self.chance.choice(sorted(made_up.body))
                changed.body = {**sending.document, name: self._grounded(made_up.body[name], name)}
            if changed.method == "PUT" and self.chance.random() < 0.5:
                self._rename(changed)
            self._ask(changed, caller)

    def _rename(self, case: Case) -> None:
        """The same of another id, as if it were new."""
        case.path_parameters.update({name: new_id() for name in PARAMETER.findall(case.path)[-1:]})

    def _as_case(self, sending: Sending) -> Case:
        path, _, query = sending.path.partition("?")
        for operation in self._of(sending.method.lower()):
            fits = re.fullmatch(PARAMETER.sub(r"(?P<\1>[^/]+)", operation.path), path)
            if fits:
                return operation.Case(
                    path_parameters=fits.groupdict(),
                    headers={"If-Match": sending.etag} if sending.etag else {},
                    query=dict(parse_qsl(query)),
                    body=NOT_SET if sending.body is None else sending.body,
                    media_type=next(iter(operation.get_request_payload_content_types()), None),
                )
        raise LookupError(sending.path)

    # Made up --------------------------------------------------------------------------------------

    def make_up(self, mode: GenerationMode, examples: int) -> None:
        """Requests as the document says, or on purpose not so, each by everybody."""
        for operation in self.operations:
            made: list[Case] = []
            # An address that takes nothing takes nothing that could be wrong.
            with suppress(*([Unsatisfiable] if mode.is_negative else [])):
                made = drawn(operation.as_strategy(generation_mode=mode), examples)
            for case in made:
                self._ground(case)
                self._by_everybody(case)

    def _ground(self, case: Case) -> None:
        """What is not wrong on purpose is about things that are there, most of the time."""
        parts = case.meta.components if case.meta else {}

        def wrong(place: ParameterLocation) -> bool:
            return place in parts and parts[place].mode.is_negative

        if not wrong(ParameterLocation.PATH) and self.chance.random() < 0.9:
            case.path_parameters = self._path(case)
        if not wrong(ParameterLocation.HEADER) and "If-Match" in (case.headers or {}):
            case.headers["If-Match"] = f'"v{self.chance.randrange(1, 7)}"'
        if not wrong(ParameterLocation.BODY) and case.body is not NOT_SET:
            case.body = self._grounded(case.body)

    def _path(self, case: Case) -> Json:
        names = PARAMETER.findall(case.path)
        known = self._paired({name: self._known(name) for name in names})
        is_new = case.method == "PUT" and self.chance.random() < 0.5
        return known | ({names[-1]: new_id()} if is_new else {})

    def _paired(self, known: Json) -> Json:
        """A picture goes with its report."""
        report = self.played.pictures.get(known.get("picture", ""))
        return known | ({"report": report} if report else {})

    def _known(self, name: str, at: int | None = None) -> str:
        ids = self.played.ids.get(name)
        if not ids:
            return new_id()
        return self.chance.choice(ids) if at is None else ids[at % len(ids)]

    def _grounded(self, part: Any, name: str = "") -> Any:
        if isinstance(part, dict):
            return {key: self._grounded(inner, key) for key, inner in part.items()}
        if isinstance(part, list):
            return [self._grounded(inner, name.removesuffix("s")) for inner in part]
        if name == "pin":
            return PIN  # after some wrong ones nobody may sign for a while
        return self._known(name) if name in NAMED and isinstance(part, str) else part

    # Asking ---------------------------------------------------------------------------------------

    def _of(self, method: str) -> list[APIOperation]:
        return [one for one in self.operations if one.method == method]

    def _by_everybody(self, case: Case, last: str = "nobody") -> None:
        for caller in sorted({*CALLERS, last}, key=lambda one: (one == last, one)):
            self._ask(case, caller)
        if case.path == ENDS_SESSIONS:
            self.played.let_in_again()

    def _ask(self, case: Case, caller: str) -> None:
        token, label = self.played.token(caller), case.operation.label
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        answer = self._begun(case, headers) if case.path == FEED else self._whole(case, headers)
        self.answered[label, answer.status_code] += 1
        for breach in breaches(case, answer):
            sent, given = case.as_curl_command(), answer.text_lossy()[:600]
            told = f"{label} by {caller}: {breach}\n{sent}\n{given}"
            self.found.setdefault(f"{label} {answer.status_code} {breach}"[:120], told)

    def _whole(self, case: Case, headers: dict[str, str]) -> Response:
        return case.call(session=self.http, headers=headers, timeout=PATIENCE)

    def _begun(self, case: Case, headers: dict[str, str]) -> Response:
        """The head of a live feed, which does not end by itself; any other answer as it is."""
        sent = case.as_transport_kwargs(case.operation.base_url, headers)
        with self.http.request(**sent, stream=True, timeout=PATIENCE) as answer:
            if answer.ok:
                answer._content = b""
                answer.raw.close()  # a line on which a feed speaks serves nothing else
            return Response.from_requests(answer, verify=True)
