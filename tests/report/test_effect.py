"""What a correction did, told as amounts before and after."""

import numpy as np
import pytest

from ergo.app.workflow import exposure_of_session, judge_again
from ergo.exposure.limits import limit_set
from ergo.notes.notes import Notes
from ergo.report.text.effect import moving_figures
from ergo.report.text.words import LANGUAGES, words
from tests.web.conftest import SAMPLES, STEP_S, invented_session

EN = words("en")


@pytest.fixture(scope="module")
def before():
    return invented_session(SAMPLES / "kf_scaling.mp4", 100)


def told(session, own=EN):
    return {each.key: each for each in moving_figures(exposure_of_session(session), own)}


def corrected(session, **stated):
    return judge_again(session, (Notes(handed="right", **stated),))


def test_a_part_left_out_is_taken_from_what_was_beyond_a_limit(before):
    """Counted frame by frame here, by the printed limit."""
    left_out = {"from_s": 0.0, "to_s": 6.0}
    one, other = told(before), told(corrected(before, excluded=[left_out]))
    name, rule = "neck_side_bend_deg", "side_bend"
    bands = limit_set(rule, name).bands
    most = max(band.high for band in bands if band.strain < 2)
    least = min(band.low for band in bands if band.strain < 2)
    bend = before.posture.angle(name)
    beyond = (bend > most) | (bend < least)
    time_s = before.recording.timeline.time_s
    key = f"beyond/{rule}/{name}"
    assert one[key].amount == pytest.approx(STEP_S * np.sum(beyond), abs=0.3)
    assert other[key].amount == pytest.approx(STEP_S * np.sum(beyond & (time_s >= 6)), abs=0.3)
    assert one[key].amount - other[key].amount > 3
    assert one[key].what == other[key].what == "Your neck bent sideways more than 10°"
    key = f"unjudged/{name}"
    assert one[key].text == "0\N{NO-BREAK SPACE}s"
    assert other[key].text.startswith("6\N{NO-BREAK SPACE}s")


def test_a_stated_hour_appears_and_the_rest_is_told_too(before):
    stated = {"from_s": 1.9, "to_s": 5.9, "hours": 9.5}
    other = told(corrected(before, clock=[stated]))
    assert not [key for key in told(before) if key.startswith("clock/")]
    hours = {key: each for key, each in other.items() if key.startswith("clock/")}
    assert sum(each.amount for each in hours.values()) == pytest.approx(100 * STEP_S)
    assert any(each.what.startswith("Clock position: ") for each in hours.values())


def test_an_amount_that_is_not_sure_has_its_interval(before):
    unsure = [each for each in told(before).values() if "(" in each.text]
    assert unsure
    for each in unsure:
        assert "between " in each.text or "hardly more or less" in each.text


def test_every_figure_has_one_key_in_every_language(before):
    session = corrected(before, tasks=[{"task": "scaling", "mouth_area": "lower front"}])
    keys = [[*told(session, words(language))] for language in LANGUAGES]
    assert keys[0] == keys[1]
    for language in LANGUAGES:
        assert "{" not in "".join(
            f"{e.what}{e.text}" for e in told(session, words(language)).values()
        )
