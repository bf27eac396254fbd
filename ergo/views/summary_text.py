"""The result in a few lines of plain text, for a terminal."""

from ergo.session import Session
from ergo.stats.exposure import Exposure
from ergo.views.facts import film_next, first_sentences
from ergo.views.words import words


def summary_lines(session: Session, exposure: Exposure, language: str = "en") -> list[str]:
    """Return the things that matter most and what to film next, a sentence a line."""
    own_words = words(language)
    return [
        *first_sentences(exposure, own_words),
        *film_next(session, exposure, own_words),
    ]
