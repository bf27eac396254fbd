"""The result in a few lines of plain text, for a terminal."""

from ergo.session import Session
from ergo.stats.exposure import Exposure
from ergo.views.change import changes_of
from ergo.views.facts import film_next, first_sentences
from ergo.views.together import start_sentences
from ergo.views.words import words


def summary_lines(session: Session, exposure: Exposure, language: str = "en") -> list[str]:
    """Return what matters most, what to change first and what to film next, a sentence a line."""
    own_words = words(language)
    first_change = changes_of(session, exposure, own_words).changes[:1]
    return [
        *first_sentences(exposure, own_words),
        *(f"{own_words.say('head.change')}: {change.do} {change.why}" for change in first_change),
        *film_next(session, exposure, own_words),
        *start_sentences(session, own_words),
    ]
