"""The pages: a list of sessions, and one session with its timeline."""

from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from ergo.report.text.words import LANGUAGES
from ergo.web.app_state import LANGUAGE_COOKIE, app_state_of, entry_of, words_of


async def sessions_page(request: Request) -> Response:
    """Answer with the list of sessions."""
    return page(request, "sessions.html", title=words_of(request).say("page.sessions"))


def session_page(request: Request) -> Response:
    """Answer with the page of one session; its scripts ask for what was measured."""
    entry = entry_of(request)
    return page(request, "session.html", title=entry.name, entry=entry)


def page(request: Request, template: str, **content: Any) -> Response:
    """Answer with a template in the reader's language; a language chosen here is kept."""
    words = words_of(request)
    html = (
        app_state_of(request)
        .templates.get_template(template)
        .render(words=words, say=words.say, languages=LANGUAGES, path=request.url.path, **content)
    )
    answer = HTMLResponse(html)
    if request.query_params.get("language") in LANGUAGES:
        answer.set_cookie(LANGUAGE_COOKIE, words.language, samesite="strict", httponly=True)
    return answer
