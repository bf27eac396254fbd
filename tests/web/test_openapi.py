"""Whatever is sent to the described addresses, the answer is one of those described."""

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from starlette.routing import Route

from ergo.web.app import ROUTES
from ergo.web.guard import CHUNK_TYPE
from ergo.web.routes.openapi import description


@schemathesis.serializer(CHUNK_TYPE)
def as_it_is(_, value):
    return value if isinstance(value, bytes) else str(value).encode()


SCHEMA = schemathesis.openapi.from_dict(description())
OPERATIONS = [result.ok() for result in SCHEMA.get_all_operations()]


def test_every_address_of_the_api_is_described():
    routes = {
        (method, route.path.replace(":int", ""))
        for route in ROUTES
        if isinstance(route, Route) and route.path.startswith("/api/")
        for method in route.methods - {"HEAD"}
    }
    described = {(each.method.upper(), each.path) for each in OPERATIONS}
    assert routes - described == {("GET", "/api/openapi.json")}
    assert described <= routes


def test_the_page_gives_its_description(client):
    assert client.get("/api/openapi.json").json() == description()


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda each: each.label)
def test_whatever_is_sent_the_answer_is_as_described(client, session_id, operation, monkeypatch):
    responses = operation.definition.raw["responses"]

    async def nobody(*_):
        return []

    monkeypatch.setattr(client.app.state.app_state.people, "search", nobody)  # takes seconds

    @settings(
        max_examples=8,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        database=None,
    )
    @given(case=operation.as_strategy())
    def send(case):
        if "session" in case.path_parameters:
            case.path_parameters["session"] = session_id
        sent = case.as_transport_kwargs(base_url="http://127.0.0.1:8000")
        headers = {**(sent.get("headers") or {}), **(case.headers or {})}
        answer = client.request(
            sent["method"],
            sent["url"],
            params=sent.get("params"),
            json=sent.get("json"),
            content=sent.get("data"),
            headers={name: str(value) for name, value in headers.items() if name != "User-Agent"},
        )
        assert str(answer.status_code) in responses, answer.text
        if answer.status_code >= 400:
            assert set(answer.json()) == {"error"}

    send()
