"""What the scripts may ask of the server, described as OpenAPI 3.1."""

from typing import Any

from pydantic import BaseModel

from ergo import __version__
from ergo.web.guard import CHUNK_TYPE
from ergo.web.jobs.uploads import AnalysisWanted, Called, UploadWanted
from ergo.web.routes.uploading import StartsStated
from ergo.web.session.classroom import ClassSteps
from ergo.web.session.corrections import Correction

_ID = {"type": "string", "pattern": "^[0-9a-f]{32}$"}
_WHOLE = {"type": "integer", "minimum": 0, "maximum": 2**31 - 1}
_JSON = "application/json"
_REFUSALS = ("400", "403", "404", "409", "413", "415", "421", "422", "503", "507")


def description() -> dict[str, Any]:
    """Return the description of every address under ``/api``."""
    paths = {**_of_sessions(), **_of_sending()}
    for path, methods in paths.items():
        methods["parameters"] = _parameters(path)
    return {
        "openapi": "3.1.0",
        "info": {"title": "ergo: the review page", "version": __version__},
        "paths": paths,
    }


def _of_sessions() -> dict[str, dict[str, Any]]:
    session = "/api/sessions/{session}"
    return {
        "/api/words": {"get": _asked("Words of the page", {"type": "object"})},
        "/api/sessions": {"get": _asked("Sessions of the library", {"type": "array"})},
        f"{session}/timeline": {
            "get": _asked("Description and arrays", None, "application/octet-stream")
        },
        f"{session}/figures": {"get": _asked("Sentences and tables", {"type": "object"})},
        f"{session}/setup/{{source}}": {
            "get": _asked("What the marks of a camera place tell", {"type": "object"})
        },
        f"{session}/pictures/{{frame}}": {"get": _picture()},
        f"{session}/people/{{frame}}": {"get": _people()},
        f"{session}/corrections": {
            "get": _asked("Corrections, oldest first", {"type": "array"}),
            "post": _told("Keep a correction", {"type": "array"}, Correction),
        },
        f"{session}/entry": {
            "post": _told("Give a session another name and tags", {"type": "object"}, Called)
        },
        f"{session}/undo": {"post": _told("Take the last correction back", {"type": "array"})},
        f"{session}/class": {
            "get": _asked("Printed steps to choose from", {"type": "array"}),
            "post": _told("Steps beside the measured ones", {"type": "object"}, ClassSteps),
        },
    }


def _of_sending() -> dict[str, dict[str, Any]]:
    return {
        "/api/uploads": {
            "post": _told("Begin an upload", {"type": "object"}, UploadWanted, status="201")
        },
        "/api/uploads/{upload}": {"get": _asked("How much has come", {"type": "object"})},
        "/api/uploads/{upload}/done": {
            "post": _told("Queue the analysis", {"type": "object"}, AnalysisWanted, status="201")
        },
        "/api/uploads/{upload}/{number}": {"patch": _part()},
        "/api/jobs": {"get": _asked("Analyses in the queue", {"type": "array"})},
        "/api/jobs/{job}": {"delete": _told("Take an analysis off the list", None, status="204")},
        "/api/jobs/{job}/starts": {
            "post": _told(
                "State when clips began, and analyse again", None, StartsStated, status="204"
            )
        },
        "/api/jobs/{job}/again": {
            "post": _told("Put an analysis that failed back into the queue", None, status="204")
        },
        "/api/jobs/{job}/cancel": {"post": _told("Stop an analysis", None, status="204")},
    }


def _parameters(path: str) -> list[dict[str, Any]]:
    names = [part[1:-1] for part in path.split("/") if part.startswith("{")]
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "schema": _WHOLE if name in ("frame", "number", "source") else _ID,
        }
        for name in names
    ]


def _answers(status: str, schema: dict[str, Any] | None, kind: str = _JSON) -> dict[str, Any]:
    error = {
        "type": "object",
        "required": ["error"],
        "properties": {"error": {"type": "string"}},
    }
    good: dict[str, Any] = {"description": "As asked"}
    if status != "204":
        good["content"] = {kind: {"schema": schema} if schema else {}}
    refused = {"description": "Refused", "content": {_JSON: {"schema": error}}}
    return {status: good, **dict.fromkeys(_REFUSALS, refused)}


def _asked(summary: str, schema: dict[str, Any] | None, kind: str = _JSON) -> dict[str, Any]:
    return {"summary": summary, "responses": _answers("200", schema, kind)}


def _told(
    summary: str,
    schema: dict[str, Any] | None,
    form: type[BaseModel] | None = None,
    status: str = "200",
) -> dict[str, Any]:
    told: dict[str, Any] = {"summary": summary, "responses": _answers(status, schema)}
    if form is not None:
        content = {_JSON: {"schema": _inlined(form)}}
        told["requestBody"] = {"required": True, "content": content}
    return told


def _inlined(form: type[BaseModel]) -> dict[str, Any]:
    """Return a form's schema with its parts in place instead of referred to."""
    schema = form.model_json_schema()
    parts = schema.pop("$defs", {})

    def filled(branch: Any) -> Any:
        if isinstance(branch, list):
            return [filled(each) for each in branch]
        if not isinstance(branch, dict):
            return branch
        if "$ref" in branch:
            return filled(parts[branch["$ref"].rpartition("/")[2]])
        return {key: filled(value) for key, value in branch.items()}

    inlined: dict[str, Any] = filled(schema)
    return inlined


def _picture() -> dict[str, Any]:
    asked = _asked("One analysed frame", None, "image/jpeg")
    width = {"type": "integer", "minimum": 1, "maximum": 4096}
    blur = {"type": "string", "enum": ["0", "1"]}
    asked["parameters"] = [
        {"name": "width", "in": "query", "schema": width},
        {"name": "blur", "in": "query", "schema": blur},
        {"name": "camera", "in": "query", "schema": {"type": "integer", "minimum": 1}},
    ]
    return asked


def _people() -> dict[str, Any]:
    asked = _asked("Everybody in a picture, from left to right", {"type": "array"})
    asked["parameters"] = [
        {"name": "camera", "in": "query", "schema": {"type": "integer", "minimum": 1}}
    ]
    return asked


def _part() -> dict[str, Any]:
    told = _told("A part of a file", {"type": "object"})
    offset = {"type": "integer", "minimum": 0, "maximum": 10**10}
    told["parameters"] = [
        {"name": "Upload-Offset", "in": "header", "required": True, "schema": offset}
    ]
    binary = {"type": "string", "format": "binary"}
    told["requestBody"] = {"required": True, "content": {CHUNK_TYPE: {"schema": binary}}}
    return told
