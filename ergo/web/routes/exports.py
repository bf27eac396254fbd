"""Answers for reports, tables, stills and clips to be kept, and for comparisons."""

import re
from http import HTTPStatus
from pathlib import PurePosixPath
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from ergo.library.entry import Entry
from ergo.web.app_state import app_state_of, entry_of, opened_of, words_of
from ergo.web.routes.pages import page
from ergo.web.session.session_cache import OpenSession

FILES = {
    "report.html": "text/html",
    "report.pdf": "application/pdf",
    "frames.csv": "text/csv",
    "episodes.csv": "text/csv",
    "summary.json": "application/json",
}
COMPARISON_FILES = {
    "comparison.html": "text/html",
    "comparison.pdf": "application/pdf",
    "comparison.csv": "text/csv",
}
_NOT_IN_NAMES = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*]')
REPORT_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'self'; "
    "sandbox allow-same-origin allow-top-navigation-by-user-activation"
)
"""The report is one file in which no script may run; it may only be shown inside our page.

A click on one of its rows leads the page around it to the moment behind that row;
that the request carries our cookie, it must count as ours.
"""


async def report_file(request: Request) -> Response:
    """Answer with a file of the report, made anew if the notes have changed."""
    name = request.path_params["name"]
    if name not in FILES:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such file.")
    opened = await run_in_threadpool(opened_of, request)
    page_of_session = f"/sessions/{opened.entry.id}"
    folder = await app_state_of(request).made.get(
        "report",
        [opened.folder],
        words_of(request).language,
        [str(opened.folder), page_of_session],
    )
    if name == "report.html":
        return FileResponse(
            folder / name,
            media_type=FILES[name],
            headers={"content-security-policy": REPORT_POLICY},
        )
    return FileResponse(folder / name, media_type=FILES[name], filename=_named(opened, name))


async def clip(request: Request) -> Response:
    """Answer with the annotated clip of one source."""
    opened = await run_in_threadpool(opened_of, request)
    source = request.path_params["source"]
    if source >= len(opened.session.recording.sources):
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such recording.")
    folder = await app_state_of(request).made.get(
        "clip", [opened.folder], words_of(request).language, [str(opened.folder), str(source)]
    )
    name = opened.session.recording.sources[source].name
    return FileResponse(
        folder / "clip.mp4",
        media_type="video/mp4",
        filename=file_name(opened.entry.name, _stem(name), ending=".mp4"),
    )


async def still(request: Request) -> Response:
    """Answer with a frame to be passed on: landmarks drawn in, every face blurred."""
    opened = await run_in_threadpool(opened_of, request)
    frame = request.path_params["frame"]
    if frame >= len(opened.session.recording.timeline):
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such frame.")
    jpeg = await app_state_of(request).pictures.still(opened.folder, frame)
    if jpeg is None:
        raise HTTPException(HTTPStatus.NOT_FOUND, "The recording is no longer at its place.")
    name = file_name(opened.entry.name, *_moment(opened, frame), ending=".jpg")
    return Response(
        jpeg,
        media_type="image/jpeg",
        headers={"content-disposition": f"attachment; filename*=utf-8''{quote(name)}"},
    )


def report_page(request: Request) -> Response:
    """Answer with the report inside the page."""
    entry = entry_of(request)
    source = f"/sessions/{entry.id}/files/report.html"
    return page(
        request,
        "framed.html",
        title=entry.name,
        source=source,
        back=entry.id,
        head="page.report",
        pdf=f"/sessions/{entry.id}/files/report.pdf",
        csv=None,
    )


def comparison_page(request: Request) -> Response:
    """Answer with the comparison of two sessions inside the page."""
    before, after = _both(request)
    query = f"?before={before.id}&after={after.id}"
    return page(
        request,
        "framed.html",
        title=f"{before.name} – {after.name}",
        back=None,
        source=f"/comparison.html{query}",
        head="page.comparison",
        pdf=f"/comparison.pdf{query}",
        csv=f"/comparison.csv{query}",
    )


async def comparison_file(request: Request) -> Response:
    """Answer with the comparison of two sessions as a page, for print or as a table."""
    both = await run_in_threadpool(_both, request)
    arguments = [text for entry in both for text in (str(entry.folder), entry.name)]
    folder = await app_state_of(request).made.get(
        "comparison", [entry.folder for entry in both], words_of(request).language, arguments
    )
    name = request.url.path.removeprefix("/")
    kind = COMPARISON_FILES[name]
    if name.endswith(".html"):
        headers = {"content-security-policy": REPORT_POLICY}
        return FileResponse(folder / name, media_type=kind, headers=headers)
    named = file_name(*(entry.name for entry in both), ending=f" {name}")
    return FileResponse(folder / name, media_type=kind, filename=named)


def _both(request: Request) -> list[Entry]:
    try:
        return [
            app_state_of(request).sessions.entry(request.query_params.get(side, ""))
            for side in ("before", "after")
        ]
    except KeyError as error:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such session.") from error


def _named(opened: OpenSession, name: str) -> str:
    return file_name(opened.entry.name, ending=f" {name}")


def _moment(opened: OpenSession, frame: int) -> tuple[str, ...]:
    """Return the recording and, of a clip, the time at which a frame was taken."""
    recording = opened.session.recording
    facts = recording.sources[recording.timeline.source_index[frame]]
    if facts.kind == "still":
        return (_stem(facts.name),)
    minutes, seconds = divmod(round(float(recording.timeline.time_s[frame]), 1), 60)
    return _stem(facts.name), f"{minutes:.0f} min {seconds:04.1f} s"


def _stem(name: str) -> str:
    return PurePosixPath(name).with_suffix("").as_posix()


def file_name(*parts: str, ending: str) -> str:
    """Return a name that every system takes: what the file shows, at most 200 bytes."""
    whole = _NOT_IN_NAMES.sub("_", ", ".join(parts)).strip(" .") or "ergo"
    room = 200 - len(ending.encode())
    return whole.encode()[:room].decode(errors="ignore") + ending
