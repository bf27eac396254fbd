import re
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import ergo
from ergo.camera.camera import LevelOrigin
from ergo.errors import InputError
from ergo.exposure.limits import RULES
from ergo.posture.angle_names import ANGLES
from ergo.report.plots.report_plots import FIGURES
from ergo.report.text.key_findings import _camera_place
from ergo.report.text.words import LANGUAGES, words
from ergo.scores.interpretations import READINGS
from ergo.scores.methods import METHODS

OTHER_LANGUAGES = [language for language in LANGUAGES if language != "en"]


def places(message):
    return sorted(re.findall(r"{(\w+)}", message))


@pytest.mark.parametrize("language", OTHER_LANGUAGES)
def test_every_message_has_words_in_every_language(language):
    assert words(language).catalogue.keys() == words("en").catalogue.keys()


@pytest.mark.parametrize("language", OTHER_LANGUAGES)
def test_every_language_has_the_same_places_for_figures(language):
    english, other = words("en").catalogue, words(language).catalogue
    assert {key: places(text) for key, text in other.items()} == {
        key: places(text) for key, text in english.items()
    }


@pytest.mark.parametrize("language", LANGUAGES)
def test_everything_that_has_a_key_elsewhere_has_a_name_for_readers(language):
    keys = {f"{kind}.{angle.name}" for angle in ANGLES for kind in ("angle", "subject", "state")}
    keys |= {f"zero.{angle.zero}" for angle in ANGLES}
    keys |= {f"positive.{angle.positive}" for angle in ANGLES}
    keys |= {f"advice.{_camera_place(angle.name)}" for angle in ANGLES}
    keys |= {f"rules.{rule}" for rule in (*RULES, *METHODS)}
    keys |= {f"{kind}.{option}" for option in READINGS for kind in ("readings", "reading_changes")}
    keys |= {f"plot.alt.{figure}" for figure in FIGURES}
    keys |= {f"seen.level_origins.{origin}" for origin in LevelOrigin.__args__}
    assert keys <= words(language).catalogue.keys()


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_blames_diagnoses_or_scores_out_of_a_hundred(language):
    text = " ".join(words(language).catalogue.values()).lower()
    for unkind in ("bad posture", "schlechte haltung", "out of 100", "von 100", "danger", "gefahr"):
        assert unkind not in text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (0.44, "0.4 s"),
        (9.0, "9 s"),
        (9.96, "10 s"),
        (94, "94 s"),
        (119.6, "2 min"),
        (440, "7 min 20 s"),
        (3599.7, "1 h"),
        (3900, "1 h 5 min"),
        (7199, "2 h"),
        (np.nan, "–"),
    ],
)
def test_a_length_of_time_is_written_as_people_say_it(seconds, text):
    assert words("en").duration(seconds).replace("\u00a0", " ") == text


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "0 %"), (0.001, "below 1 %"), (0.42, "42 %"), (0.999, "over 99 %"), (1.0, "100 %")],
)
def test_a_share_is_nothing_or_all_only_where_it_is_exactly_so(share, text):
    assert words("en").share(share).replace("\u00a0", " ") == text


def test_german_writes_a_decimal_comma():
    assert words("de").number(2.5, 1) == "2,5"


def test_an_angle_that_is_not_known_is_a_dash_and_never_a_number():
    assert words("en").measure(np.nan, "neck_flexion_deg") == "–°"


def test_a_height_carries_millimetres():
    assert words("en").measure(12.4, "shoulder_raise_mm_left") == "12\u00a0mm"


def test_pictures_are_counted_in_the_singular_and_the_plural():
    assert words("en").amount(1.0, "picture") == "1\u00a0picture"
    assert words("en").amount(7.0, "picture") == "7\u00a0pictures"


def test_an_interval_whose_ends_read_alike_is_not_written_as_two_equal_figures():
    apart = words("en").between(18.0, 45.0, "second").replace("\N{NO-BREAK SPACE}", " ")
    assert apart == "between 18 s and 45 s"
    assert words("en").between(17.9, 18.2, "second") == "hardly more or less"


def test_an_unknown_language_is_refused_with_the_choices():
    with pytest.raises(InputError, match="en, de"):
        words("xx")


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_message_stands_in_two_files(language):
    """The one read last would silently take the place of the other."""
    folder = Path(ergo.__file__).parent / "report" / "text" / "catalogues"
    keys = Counter(
        key
        for file in folder.iterdir()
        if file.stem.split("_")[0] == language
        for key, _ in flat(tomllib.loads(file.read_text(encoding="utf-8")))
    )
    assert [key for key, times in keys.items() if times > 1] == []


def flat(branch, path=""):
    for key, value in branch.items():
        if isinstance(value, dict):
            yield from flat(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", value
