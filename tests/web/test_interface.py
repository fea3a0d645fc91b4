"""The JSON interface answers as its description says, whatever it is asked (schemathesis)."""

from dataclasses import replace
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import Case, GenerationMode
from schemathesis.checks import CHECKS

from hilum.bootstrap.http_intake import HttpIntake
from hilum.domain.access import Scope
from hilum.keeping.access import give
from hilum.web import intake
from hilum.web.app import create_app
from web.guarded import HERE, small_place
from web.small_world import NOW_MS

CHECKED = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_schema_conformance",
)
ASKED: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("GET", "/api/boxes/{slug}/history", {}),
    ("GET", "/api/boxes/{slug}/history", {"slug": "drawer"}),
    ("POST", "/api/readings", {}),
)
EXAMPLES = 60


def test_every_address_is_asked() -> None:
    """What is added to the interface is tried here too."""
    described = create_app(small_place()).openapi()["paths"]
    told = {(method.upper(), path) for path, ways in described.items() for method in ways}
    assert told == {(method, path) for method, path, _ in ASKED}


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
@pytest.mark.parametrize("with_token", [True, False], ids=["token", "no-token"])
@pytest.mark.parametrize(("method", "path", "fixed"), ASKED)
def test_answers_are_as_described(
    monkeypatch: pytest.MonkeyPatch,
    method: str,
    path: str,
    fixed: dict[str, Any],
    *,
    with_token: bool,
    mode: GenerationMode,
) -> None:
    """No failure of ours; every status, type and shape of an answer stands in the description."""
    monkeypatch.setattr(intake, "BURST", 10 * EXAMPLES)
    place = small_place()
    taken_in = HttpIntake(place.store, place.clock, lambda _: None)
    app = create_app(replace(place, ingest_http=taken_in))
    sends = method == "POST"
    scope, sensor = (Scope.INGEST, "home/t") if sends else (Scope.READ, "")
    _, key = give(place.store, scope, "t", NOW_MS, sensor=sensor)
    operation = schemathesis.openapi.from_dict(app.openapi())[path][method]
    token = {"authorization": f"Bearer {key}"} if with_token else {}
    checks: Any = CHECKS.get_by_names(CHECKED)
    seen = set()

    @settings(max_examples=EXAMPLES if with_token else 5, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy(mode, path_parameters=fixed or None))
    def ask(case: Case[Any]) -> None:
        case.headers.pop("authorization", None)
        answer = case.call(HERE, app=app, headers=token)
        case.validate_response(answer, checks=checks)
        seen.add(answer.status_code)

    ask()
    assert (seen == {401}) is not with_token
    if with_token and mode is GenerationMode.POSITIVE:
        assert (200 if fixed else 422 if sends else 404) in seen
