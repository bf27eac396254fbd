"""The result in a few lines of plain text, for a terminal."""

from ergo.exposure.exposure import Exposure
from ergo.report.text.cameras import start_sentences
from ergo.report.text.first_change import changes_of
from ergo.report.text.key_findings import film_next, first_sentences
from ergo.report.text.reasons import in_words
from ergo.report.text.words import words
from ergo.session.session import Session


def summary_lines(
    session: Session, exposure: Exposure, language: str = "en", *, all_changes: bool = False
) -> list[str]:
    """Return what matters most, what to change first and what to film next, a sentence a line.

    ``all_changes`` adds the changes that come after the first.
    """
    own_words = words(language)
    changes = changes_of(session, exposure, own_words)
    said = ([changes.first] if changes.first else []) + [*changes.others]
    return [
        *first_sentences(exposure, own_words),
        *(
            f"{own_words.say('head.change' if at == 0 else 'change.next')}: {each.do} {each.why}"
            for at, each in enumerate(said if all_changes else said[:1])
        ),
        *film_next(session, exposure, own_words),
        *start_sentences(session, own_words),
    ]


def remark_lines(session: Session, language: str = "en") -> list[str]:
    """Return what could not be read, was left out or is doubtful, a source a line."""
    own_words, recording = words(language), session.recording
    said = [
        (name, in_words(reason, own_words))
        for remarks in (recording.damage, recording.doubt, session.moments_left_out)
        for name, reason in remarks.items()
    ]
    for source, name in enumerate(recording.timeline.sources):
        gap_s = recording.timeline.gap_of(source)
        if gap_s > 0:
            said.append((name, own_words.say("seen.gap", amount=own_words.duration(gap_s))))
    return [f"{name}: {reason}" for name, reason in said]
