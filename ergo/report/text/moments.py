"""The worst moments with their pictures and what the angles were."""

from dataclasses import dataclass

from ergo.exposure.exposure import Exposure, WorstMoment
from ergo.report.pictures.moment_pictures import Fetch, data_uri, moment_picture
from ergo.report.text.words import Words
from ergo.session.session import Session

SD_OF_90_PERCENT = 1.645
SHOWN = 3


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment as the reader sees it.

    Attributes
    ----------
    title, alt : str
    values : tuple of str
        Angles with their 90 % intervals.
    picture : str or None
        As a data URI; None where the recording is no longer at its place.
    """

    title: str
    alt: str
    values: tuple[str, ...]
    picture: str | None


def moments(
    session: Session, exposure: Exposure, fetch: Fetch, words: Words, *, blur_operator: bool
) -> tuple[Moment, ...]:
    """Return the worst moments, worst first."""
    return tuple(
        _moment(session, worst, fetch, words, blur_operator=blur_operator)
        for worst in exposure.worst_moments[:SHOWN]
    )


def _moment(
    session: Session, worst: WorstMoment, fetch: Fetch, words: Words, *, blur_operator: bool
) -> Moment:
    picture = moment_picture(session, worst.frame, fetch, blur_operator=blur_operator)
    place = {"source": worst.source, "time": words.clock_time(worst.time_s)}
    return Moment(
        title=words.say("moments.title", **place),
        alt=words.say("moments.alt", **place),
        values=tuple(_value(name, worst, words) for name in worst.values),
        picture=None if picture is None else data_uri(picture),
    )


def _value(name: str, worst: WorstMoment, words: Words) -> str:
    value, spread = worst.values[name], SD_OF_90_PERCENT * worst.sds[name]
    text = words.say(
        "moments.value",
        angle=words.name("angle", name),
        value=words.measure(value, name),
        low=words.measure(value - spread, name),
        high=words.measure(value + spread, name),
    )
    if name != worst.reason:
        return text
    limit = words.measure(worst.limit, name)
    return (
        f"{text}; {words.say('moments.limit', rule=words.name('rules', worst.rule), limit=limit)}"
    )
