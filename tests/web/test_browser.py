"""The page in a real browser, served by the real command."""

import re
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Error, expect, sync_playwright

from ergo.library.library import open_library
from ergo.notes.times import seconds_of
from tests.notes.test_times import examples
from tests.web.chromium import ARGUMENTS, PATIENCE_MS, chromium
from tests.web.conftest import SAMPLES, folder_of, invented_session
from tests.web.test_cameras_shown import joined_session
from tests.web.test_choosing import STILLS, session_of_stills

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
HOUR_FRAMES = 18_000

expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def library(tmp_path_factory, invented):
    """A library with the invented session; the clip is a copy, notes may be written beside it."""
    folder = tmp_path_factory.mktemp("page")
    clip = folder / "clip.mp4"
    clip.write_bytes((SAMPLES / "kf_scaling.mp4").read_bytes())
    facts = replace(invented.recording.sources[0], path=clip)
    session = replace(invented, recording=replace(invented.recording, sources=(facts,)))
    with open_library(folder / "library") as opened:
        opened.add(folder_of(session, folder / "made"), "First day", tags=("scaling",))
    return folder / "library"


@pytest.fixture(scope="module")
def address(library):
    """The opening address that the command prints."""
    command = [sys.executable, "-m", "ergo", "serve", "--no-browser", "--library", str(library)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        yield process.stdout.readline().strip()
        process.terminate()
        process.wait(20)


@pytest.fixture
def page(browser, address):
    """The list of sessions; a word on the console or a failed script fails the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.goto(address)
    page.wait_for_selector("#list li")  # from then on every button is listened to
    yield page
    context.close()
    assert complaints == []


def open_session(page, name="First day"):
    page.get_by_role("link", name=name, exact=True).click()
    page.wait_for_selector("body[data-ready][data-figures]")


def figures_anew(page, act):
    """Do something and wait until the figures have come again."""
    before = int(page.evaluate("document.body.dataset.figures"))
    act()
    page.wait_for_selector(f"body[data-figures='{before + 1}']")


def standing(page):
    """Corrections that are not undone; the session is shared, and what was undone stays listed."""
    return page.locator("#history li > span")


def test_a_session_is_found_by_words_and_tags(page):
    expect(page.locator("#list li")).to_have_count(1)
    page.get_by_label("Search").fill("nothing like it")
    expect(page.locator("#list li")).to_have_count(0)
    page.get_by_label("Search").fill("SCALING first")
    expect(page.locator("#list li")).to_have_count(1)


def test_the_picture_and_the_lanes_follow_mouse_and_keyboard(page):
    open_session(page)
    slider = page.get_by_role("slider")
    page.locator("body").press("ArrowRight")
    page.locator("body").press("Shift+ArrowRight")
    expect(slider).to_have_attribute("aria-valuenow", "11")
    box = slider.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 40)
    assert 45 <= int(slider.get_attribute("aria-valuenow")) <= 55
    page.locator("body").press("End")
    expect(slider).to_have_attribute("aria-valuenow", "99")
    page.wait_for_selector("#picture[data-frame='99']")
    assert page.evaluate("document.getElementById('picture').naturalWidth") > 300
    assert page.locator("#overlay .joint").count() > 10


def test_playing_goes_on_by_itself_and_stops_when_told(page):
    open_session(page)
    page.locator("#speed").select_option("4")
    page.get_by_role("button", name="Play").click()
    expect(page.locator("#lanes")).not_to_have_attribute("aria-valuenow", "0")
    page.get_by_role("button", name="Pause").click()
    at = page.locator("#lanes").get_attribute("aria-valuenow")
    page.wait_for_timeout(300)
    assert page.locator("#lanes").get_attribute("aria-valuenow") == at


def test_one_change_stands_first_and_the_others_unfold(page):
    open_session(page)
    page.locator("#hours").fill("9")
    figures_anew(page, lambda: page.get_by_role("button", name="State it").click())
    expect(page.locator("#change")).to_contain_text("11 or 12 o'clock")
    other = page.locator("#more-changes li").first
    expect(other).to_be_hidden()
    page.locator("#more-changes summary").press("Enter")
    expect(other).to_be_visible()
    figures_anew(page, lambda: page.locator("#undo").click())


def test_what_the_reader_states_changes_the_figures_and_is_still_there_after_reloading(page):
    open_session(page)
    figures_anew(page, lambda: page.get_by_label("The operator is").select_option("left"))
    page.locator("#from").fill("2")
    page.locator("#to").fill("6,5")
    page.locator("#hours").fill("10")
    figures_anew(page, lambda: page.get_by_role("button", name="State it").click())
    page.reload()
    page.wait_for_selector("body[data-ready][data-figures]")
    expect(page.get_by_label("The operator is")).to_have_value("left")
    expect(standing(page)).to_have_count(2)
    page.get_by_text("Time by clock position").first.click()
    page.get_by_role("button", name="10 o'clock").click()
    expect(page.get_by_role("slider")).to_have_attribute("aria-valuenow", "10")
    figures_anew(page, lambda: page.locator("#undo").click())
    figures_anew(page, lambda: page.locator("body").press("z"))
    expect(page.get_by_label("The operator is")).to_have_value("right")
    expect(page.locator("#undo")).to_be_disabled()


def test_work_goes_on_until_the_figures_have_come_and_what_changed_is_told(page):
    open_session(page)
    held = []
    page.route("**/figures", lambda route: held.append(route))
    page.locator("#what").select_option("excluded")
    page.locator("#from").fill("0:00")
    page.locator("#to").fill("0:06")
    page.get_by_role("button", name="State it").press("Enter")
    effect = page.locator("#effect")
    expect(effect).to_have_text("kf_scaling.mp4: being kept; all figures are computed again …")
    expect(standing(page)).to_have_count(1)  # kept by then, the figures not yet
    while not held:
        page.wait_for_timeout(50)
    expect(page.locator("#figures")).to_have_attribute("aria-busy", "true")
    expect(page.locator("#told")).to_contain_text("being kept")
    held[0].continue_()
    page.unroute("**/figures")
    expect(effect).to_contain_text("Kept for kf_scaling.mp4.")
    expect(effect.locator("li").filter(has_text="not judged: 0 s → 6 s").first).to_be_visible()
    expect(page.locator("#told")).to_contain_text("Kept for kf_scaling.mp4. ")
    expect(page.locator("#figures")).not_to_have_attribute("aria-busy", "true")
    page.locator("#undo").press("Enter")
    expect(effect).to_contain_text("Taken back: Left out: 0:00 to 0:06.")
    expect(effect.locator("li").filter(has_text="→ 0 s").first).to_be_visible()
    figures_anew(page, lambda: page.get_by_label("The operator is").select_option("left"))
    expect(effect).to_have_text("Kept for kf_scaling.mp4. No amount has changed.")
    figures_anew(page, lambda: page.locator("#undo").press("Enter"))


def test_what_the_server_refuses_is_told_with_its_recording_and_is_no_fault_of_the_page(
    browser, address
):
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(address)
    open_session(page)
    page.route("**/corrections", lambda route: route.fulfill(status=422, json={"error": "Nein."}))
    page.get_by_role("button", name="Angeben", exact=True).press("Enter")
    expect(page.locator("#effect")).to_have_text(
        "kf_scaling.mp4: nicht aufbewahrt; alles ist, wie es war. Nein."
    )
    expect(page.locator("#figures")).not_to_have_attribute("aria-busy", "true")
    page.locator("#handed").select_option("left")
    expect(page.locator("#handed")).to_have_value("right")  # as it is stated still
    context.close()
    assert faults == []


def test_the_clock_is_told_with_its_interval(page):
    open_session(page)
    figures_anew(page, lambda: page.get_by_role("button", name="State it").click())
    expect(page.locator("#clock-said")).to_contain_text("at 12.0 o'clock (90 % interval: ± ")
    figures_anew(page, lambda: page.locator("#undo").click())
    expect(page.locator("#clock-said")).to_be_empty()


def test_a_part_is_marked_by_dragging_and_by_keys(page):
    open_session(page)
    page.get_by_role("button", name="Mark a part").click()
    box = page.get_by_role("slider").bounding_box()
    page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 40, steps=4)
    page.mouse.up()
    assert seconds_of(page.locator("#from").input_value()) == pytest.approx(5, abs=0.5)
    assert seconds_of(page.locator("#to").input_value()) == pytest.approx(10, abs=0.5)
    page.locator("h1").click()
    for key in ("Home", "[", "Shift+ArrowRight", "]"):
        page.locator("body").press(key)
    assert page.locator("#from").input_value() == "0:00"
    assert page.locator("#to").input_value() == "0:02.1"
    expect(page.locator("#marked")).to_have_text("0:00 to 0:02.1")


def test_page_and_program_read_times_alike(page):
    """One list of examples for both; what is empty is no time to the one, no wish to the other."""
    read = """async (texts) => {
      const { secondsIn } = await import("/static/times.js");
      return texts.map(secondsIn).map((value) => Number.isNaN(value) ? null : value);
    }"""
    texts, seconds = zip(*examples(), strict=True)
    assert page.evaluate(read, list(texts)) == list(seconds)


def test_what_is_missing_in_a_statement_is_said_and_an_hour_elsewhere_does_not_block(page):
    """No fault on the console: nothing of it is sent."""
    open_session(page)
    what, state = page.locator("#what"), page.get_by_role("button", name="State it")
    for field, words in (("task", "Write the task"), ("mouth_area", "Write the area")):
        what.select_option(field)
        page.locator("#text").fill("  ")
        state.press("Enter")
        expect(page.locator("#told")).to_contain_text(words)
        expect(page.locator("#text")).to_be_focused()
    what.select_option("clock")
    page.locator("#hours").fill("25")
    state.press("Enter")
    expect(page.locator("#told")).to_contain_text("Write the hour from 1 to 12.9")
    expect(page.locator("#hours")).to_be_focused()
    what.select_option("excluded")
    page.locator("#from").fill("0:05")
    page.locator("#to").fill("0:04")
    state.press("Enter")
    expect(page.locator("#told")).to_contain_text("Write times as 0:05")
    page.locator("#to").fill("0:07,5")
    figures_anew(page, lambda: state.press("Enter"))
    expect(page.locator("#history li").first).to_contain_text("0:05 to 0:08")
    page.locator("#to").fill("")
    figures_anew(page, lambda: state.press("Enter"))
    expect(page.locator("#history li").first).to_contain_text("0:05 to the end")
    for _ in range(2):
        figures_anew(page, lambda: page.locator("#undo").press("Enter"))


def test_a_landmark_is_dragged_to_its_place(page):
    open_session(page)
    page.wait_for_selector("#picture[data-frame='0']")
    page.get_by_role("button", name="Move a landmark").click()
    joint = page.locator("[data-landmark='wrist_right']")
    box = joint.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 60, box["y"] + 30, steps=3)
    figures_anew(page, page.mouse.up)
    after = joint.bounding_box()
    assert after["x"] - box["x"] == pytest.approx(60, abs=8)
    figures_anew(page, lambda: page.locator("#undo").click())


def test_a_class_scores_first_and_sees_the_measured_steps_then(page):
    open_session(page)
    page.get_by_role("button", name="Score it yourself").click()
    expect(page.locator("#values")).to_be_hidden()
    expect(page.locator("#tables")).to_be_hidden()
    for select in page.locator("#class-form .region select").all():
        select.select_option("1")
    page.get_by_role("button", name="Compare with the measured steps").click()
    expect(page.locator("#class-answer tbody tr")).to_have_count(8)
    page.set_viewport_size({"width": 390, "height": 844})
    answer = page.locator("#class-answer .scroll")
    assert answer.evaluate("it => it.scrollWidth <= it.clientWidth")  # nothing is cut on a phone
    assert answer.locator("td").first.get_attribute("data-label") == "Yours"


def test_the_whole_page_can_be_walked_with_the_keyboard_alone(page):
    page.locator("body").press("Tab")
    expect(page.get_by_text("Skip to the content")).to_be_focused()
    page.get_by_role("link", name="First day", exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("body[data-ready][data-figures]")
    wanted = {"play", "next-hold", "handed", "lanes", "undo", "neutral", "span-form", "mark"}
    reached = set()
    for _ in range(150):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id"))
        if page.evaluate("document.activeElement === document.body"):
            break
    assert wanted - reached <= {"undo", "span-form"}  # nothing to undo; a form is no stop
    page.keyboard.press("?")
    expect(page.get_by_role("dialog")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (1280, "dark"), (390, "dark")])
def test_axe_finds_no_serious_fault_and_nothing_is_wider_than_the_screen(
    browser, address, width, scheme
):
    context = browser.new_context(
        viewport={"width": width, "height": 844}, color_scheme=scheme, locale="de-DE"
    )
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    page.wait_for_selector("#list li")
    faults = serious_faults(page)
    open_session(page)
    faults += serious_faults(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()
    assert faults == []


def serious_faults(page):
    page.evaluate(AXE)
    found = page.evaluate("axe.run({resultTypes: ['violations']})")["violations"]
    return [
        f"{each['id']}: {each['nodes'][0]['html'][:120]}"
        for each in found
        if each["impact"] in ("serious", "critical")
    ]


def test_a_recording_is_dropped_in_and_becomes_a_session(page):
    page.get_by_role("link", name="First day", exact=True).wait_for()
    page.locator("#files").set_input_files(
        {
            "name": "First day.jpg",
            "mimeType": "image/jpeg",
            "buffer": (SAMPLES / "stills" / "1_kf_side_left.jpg").read_bytes(),
        }
    )
    expect(page.locator("#jobs li")).to_have_count(1)
    page.goto("about:blank")  # the page may be closed meanwhile
    page.go_back()
    page.wait_for_selector("#jobs li[data-state='done']")
    open_session(page, "First day 2")
    expect(page.locator("#where")).to_contain_text("picture 1 of 1")


def chosen(name, kind="video/mp4"):
    return {"name": name, "mimeType": kind, "buffer": name.encode()}


def sent_for_analysis(page):
    """Return the list of what the page sends from now on; it is accepted, nothing is analysed."""
    sent = []

    def answer(route):
        sent.append(route.request.post_data_json)
        route.fulfill(status=201, json={"job": "a" * 32})

    page.route("**/api/uploads/*/done", answer)
    return sent


def when_sent(page, sent, count):
    """Wait until as many analyses were asked for and no upload is left; return what was sent."""
    end = time.monotonic() + PATIENCE_MS / 1000
    while len(sent) < count and time.monotonic() < end:
        page.wait_for_timeout(50)
    expect(page.locator("#uploads p")).to_have_count(0)
    return sent


def test_an_upload_that_could_not_be_ended_is_not_sent_a_second_time(browser, address, tmp_path):
    (tmp_path / "long.mp4").write_bytes(bytes(1000))
    context = browser.new_context(locale="en-GB")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    page.wait_for_selector("#list li")
    asked, answers = [], [503, 201]
    page.on("request", lambda request: asked.append((request.method, request.url)))
    page.route(
        "**/api/uploads/*/done",
        lambda route: route.fulfill(status=answers.pop(0), json={"error": "Later.", "job": "a"}),
    )
    page.locator("#files").set_input_files(tmp_path / "long.mp4")
    expect(page.locator("#told")).to_contain_text("Later.")
    page.locator("#files").set_input_files([])
    with page.expect_response("**/done"):
        page.locator("#files").set_input_files(tmp_path / "long.mp4")
    expect(page.locator("#uploads p")).to_have_count(0)
    assert answers == []
    assert [method for method, _ in asked].count("PATCH") == 1
    assert [url.rpartition("/")[2] for _, url in asked].count("uploads") == 1
    context.close()


def test_what_failed_can_be_tried_again_by_keys_alone(page):
    job = {"id": "b" * 32, "name": "long", "state": "failed", "share": 0.0, "left_s": None}
    job |= {"error": "The analysis lacked memory.", "session": None, "replaces": None}
    job |= {"clips": [], "lacks_start": False, "can_be_repeated": True}
    page.route("**/api/jobs", lambda route: route.fulfill(json=[job]))
    page.route("**/api/jobs/*/again", lambda route: route.fulfill(status=204))
    page.reload()
    button = page.get_by_role("button", name="Try again: long")
    button.focus()
    with page.expect_request("**/again") as told:
        page.keyboard.press("Enter")
    assert (told.value.method, "b" * 32 in told.value.url) == ("POST", True)


def test_clips_of_two_cameras_are_chosen_by_keys_alone_and_what_is_missing_is_said(page):
    sent = sent_for_analysis(page)
    tabbed_to(page, "cameras")
    page.keyboard.press("Enter")
    expect(page.locator("#more")).to_be_focused()
    page.locator("#more").set_input_files([chosen("side.mp4")])
    trouble = page.locator("#basket-trouble")
    expect(page.locator("#first-clip")).to_be_hidden()  # one clip leaves no choice
    page.get_by_role("button", name="Analyse", exact=True).press("Enter")
    expect(trouble).to_have_text(re.compile("side.mp4 is the only clip"))
    page.locator("#more").set_input_files([chosen("rear.mp4"), chosen("chair.jpg", "image/jpeg")])
    expect(trouble).to_be_empty()
    page.get_by_role("button", name="Analyse", exact=True).press("Enter")
    expect(trouble).to_have_text(re.compile("chair.jpg is a still"))
    page.get_by_role("button", name="Leave out chair.jpg").press("Enter")
    tabbed_to(page, "first-clip")
    page.keyboard.press("r")  # "rear.mp4", as lists are chosen
    with page.expect_request("**/api/uploads") as begun:
        page.get_by_role("button", name="Analyse", exact=True).press("Enter")
    names = [each["name"] for each in begun.value.post_data_json["files"]]
    assert names == ["rear.mp4", "side.mp4"]
    expect(page.locator("#basket")).to_be_hidden()
    assert when_sent(page, sent, 1) == [{"name": "rear + side", "together": True}]


def test_clips_that_may_show_several_things_are_asked_about_and_one_each_is_possible(page):
    sent = sent_for_analysis(page)
    page.locator("#files").set_input_files([chosen("anna.mp4"), chosen("ben.mp4")])
    page.get_by_role("button", name="Analyse", exact=True).click()
    expect(page.locator("#basket-trouble")).to_have_text("Choose what the files show.")
    page.get_by_label("Different sessions").check()
    page.get_by_role("button", name="Analyse", exact=True).click()
    when_sent(page, sent, 2)
    expect(page.locator("#told")).to_be_empty()
    assert sent == [{"name": "anna", "together": False}, {"name": "ben", "together": False}]


def test_a_missing_start_is_asked_for_and_what_is_being_written_stays(page):
    job = {"id": "b" * 32, "name": "both", "state": "failed", "share": 0, "left_s": None}
    job |= {"error": "rear.mp4: cannot be laid beside side.mp4.", "session": None, "replaces": None}
    job |= {"clips": ["side.mp4", "rear.mp4"], "lacks_start": True}
    other = {**job, "id": "c" * 32, "state": "running", "lacks_start": False, "clips": []}
    asked = []

    def jobs(route):
        asked.append(1)
        route.fulfill(json=[job, {**other, "share": len(asked) / 100, "error": None}])

    page.route("**/api/jobs", jobs)
    page.route("**/api/jobs/*/starts", lambda route: route.fulfill(status=204))
    page.reload()
    field = page.get_by_label("rear.mp4 began later than side.mp4 by (s)")
    field.press_sequentially("nine")
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("Write the start in seconds")
    field.fill("−1,")
    before = len(asked)
    page.wait_for_function(f"() => Number(document.querySelector('progress').value) > {before}/100")
    expect(field).to_be_focused()
    page.keyboard.type("5")
    with page.expect_request("**/starts") as told:
        page.keyboard.press("Enter")
    assert told.value.post_data_json == {"begins_s": [-1.5]}


def test_each_camera_is_shown_and_its_start_stated_and_undone_by_keys_alone(
    page, library, tmp_path
):
    with open_library(library) as opened:
        made = folder_of(joined_session(tmp_path / "phones", is_whole=True), tmp_path / "made both")
        opened.add(made, "Both")
    page.reload()
    page.route("**/pictures/*camera=1", lambda route: route.fulfill(body=b"", status=204))
    open_session(page, "Both")
    expect(page.locator("#together-facts")).to_contain_text("rear.mp4 began 2.60 s after side.mp4")
    for _ in range(3):
        page.locator("body").press("Shift+ArrowRight")
    before = page.locator("#overlay").inner_html()
    page.locator("#main").focus()
    tabbed_to(page, "camera")
    page.keyboard.press("r")  # "rear.mp4", as lists are chosen
    expect(page.locator("#picture")).to_have_attribute(
        "alt", re.compile("rear.mp4, side.mp4, 0:06")
    )
    page.wait_for_selector("#picture[src]")
    assert page.locator("#overlay").inner_html() != before
    field = page.get_by_label("rear.mp4 began later than side.mp4 by (s)")
    field.fill("2,7")
    figures_anew(page, lambda: page.keyboard.press("Enter"))
    expect(page.locator("#together-facts")).to_contain_text("rear.mp4 began 2.70 s after side.mp4")
    expect(page.locator("#history li")).to_contain_text(["rear.mp4: Began after the first clip"])
    expect(page.locator("#camera")).to_have_value("1")
    figures_anew(page, lambda: page.locator("#undo").press("Enter"))
    expect(field).to_have_value("2.60")


def test_an_hour_is_shown_whole_and_scrubs_to_its_end(browser, address, library):
    session = invented_session(SAMPLES / "kf_scaling.mp4", HOUR_FRAMES)
    with open_library(library) as opened:
        opened.add(folder_of(session, library.parent / "hour"), "An hour")
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    open_session(page, "An hour")
    expect(page.locator(f"body[data-ready='{HOUR_FRAMES}']")).to_have_count(1)
    box = page.get_by_role("slider").bounding_box()
    page.mouse.move(box["x"] + 10, box["y"] + 40)
    page.mouse.down()
    for step in range(1, 11):
        page.mouse.move(box["x"] + box["width"] * step / 10, box["y"] + 40)
    page.mouse.up()
    expect(page.get_by_role("slider")).to_have_attribute("aria-valuenow", str(HOUR_FRAMES - 1))
    for _ in range(20):
        page.locator("body").press("+")
    page.locator("body").press("Home")
    expect(page.get_by_role("slider")).to_have_attribute("aria-valuenow", "0")
    context.close()


def test_a_bar_and_a_row_of_the_report_lead_to_their_moments(page):
    open_session(page)
    page.get_by_role("link", name="Report", exact=True).click()
    report = page.frame_locator("#framed")
    bar = report.locator(".drawn.wide a[href*='#limits_table/']").first
    wanted = bar.get_attribute("href").partition("#")[2]
    bar.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**#{wanted}")
    page.wait_for_selector("body[data-ready][data-figures]")
    expect(page.locator("#moments-text")).to_contain_text("moment 1 of")
    page.go_back()
    report.locator("table a[href*='#holds_table/0']").click()
    page.wait_for_url("**#holds_table/0")
    expect(page.locator("#moments-text")).to_contain_text("moment 1 of 1")
    hold = page.locator("#tables button.leads").first.inner_text()
    expect(page.locator("#moments-text")).to_contain_text(hold)
    page.get_by_role("button", name="Done").click()
    expect(page.locator("#moments-of")).to_be_hidden()


def test_the_moments_of_a_row_are_walked_with_one_key(page):
    open_session(page)
    page.get_by_text("Time in every range of the rules").first.click()
    cell = page.locator("#tables td button.leads").first
    cell.click()
    text = page.locator("#moments-text")
    expect(text).to_contain_text("moment 1 of")
    total = int(text.inner_text().rsplit(" ", 1)[1])
    page.keyboard.press("n")
    expect(text).to_contain_text(f"moment {2 if total > 1 else 1} of {total}")


def test_marks_of_the_camera_place_are_made_by_mouse_and_by_keys_and_undone(page):
    open_session(page)
    page.locator("#setup-part summary").click()
    expect(page.locator("#setup-summary")).to_contain_text("Nothing is marked yet")
    page.locator("#setup-what").select_option("vertical")
    page.get_by_role("button", name="Mark it in the picture").click()
    expect(page.locator("#point-how")).to_contain_text("Point 1 of 2")
    box = page.locator("#overlay").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 20)
    expect(page.locator("#point-how")).to_contain_text("Point 2 of 2")
    figures_anew(
        page,
        lambda: page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] - 20),
    )
    expect(page.locator("#setup-marks li")).to_contain_text(["vertical edge 1"])
    expect(page.locator("#setup-summary")).to_contain_text("The marks fit to")
    page.locator("#setup-what").select_option("head")
    page.locator("#setup").press("Enter")
    for key in ("Shift+ArrowLeft", "ArrowUp"):
        page.keyboard.press(key)
    figures_anew(page, lambda: page.keyboard.press("Enter"))
    expect(page.locator("#setup-marks li")).to_have_count(2)
    assert page.locator("#overlay .mark").count() == 6  # three points, each seen on dark and light
    page.locator("#lens_height").fill("135")
    figures_anew(page, lambda: page.get_by_role("button", name="State the sizes").click())
    expect(page.locator("#setup-values")).to_contain_text("1.35 m")
    page.locator("#setup-what").select_option("tape")
    page.get_by_role("button", name="Mark it in the picture").click()
    expect(page.locator("#told")).to_contain_text("Write the length")
    for _ in range(3):
        figures_anew(page, lambda: page.locator("#undo").click())
    expect(page.locator("#setup-marks")).to_contain_text("nothing yet")


def test_pointing_is_given_up_with_escape(page):
    open_session(page)
    page.get_by_role("button", name="Move a landmark").click()
    page.keyboard.press("Escape")
    expect(page.locator("#point-how")).to_be_empty()
    expect(page.locator("#move")).to_have_attribute("aria-pressed", "false")
    expect(page.locator("#overlay .pointed")).to_have_count(0)


def test_a_landmark_is_moved_with_keys_alone(page):
    open_session(page)
    page.wait_for_selector("#picture[data-frame='0']")
    before = page.locator("[data-landmark]").evaluate_all("all => all.map((one) => one.outerHTML)")
    page.locator("#move").press("Enter")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
    figures_anew(page, lambda: page.keyboard.press("Enter"))
    after = page.locator("[data-landmark]").evaluate_all("all => all.map((one) => one.outerHTML)")
    assert sum(one != other for one, other in zip(before, after, strict=True)) == 1
    figures_anew(page, lambda: page.locator("#undo").click())


def test_a_session_gets_another_name_and_tags_and_is_found_by_them(page):
    page.get_by_role("button", name="Name and tags: First day", exact=True).click()
    page.get_by_label("Tags, separated by commas").fill("scaling, room 2")
    page.get_by_role("button", name="Keep").click()
    expect(page.locator("#tags button")).to_have_text(["room 2", "scaling"])
    page.locator("#tags button").first.click()
    open_session(page)
    page.get_by_role("button", name="Name and tags").click()
    page.get_by_label("Name", exact=True).fill("Renamed")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("Renamed")
    page.get_by_role("button", name="Name and tags").click()
    page.get_by_label("Name", exact=True).fill("First day")
    page.get_by_label("Tags, separated by commas").fill("scaling")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("First day")


def test_another_person_is_chosen_watched_again_and_undone(page, library, tmp_path):
    made = folder_of(session_of_stills(tmp_path / "stills"), tmp_path / "made stills")
    with open_library(library) as opened:
        opened.add(made, "Two stills")
    page.reload()
    open_session(page, "Two stills")
    page.get_by_role("button", name="Choose the operator in the picture").click()
    expect(page.locator("#people-how")).to_contain_text("Looking for everybody")
    found = page.locator("#people-list button")
    expect(found.filter(has_text="lies, as a patient does")).to_have_count(1)
    upright = found.filter(has_not_text="followed now").filter(has_not_text="lies")
    number = upright.first.inner_text().partition(":")[0]
    page.locator("#overlay text").get_by_text(number, exact=True).locator(
        "xpath=preceding-sibling::*[1]"
    ).click()
    expect(page.locator("#people-ask")).to_contain_text(f"Is person {number} the operator?")
    page.get_by_role("button", name="Yes, this is the operator").click()
    expect(page.locator("#jobs li")).to_have_count(1)
    first = page.locator("#values").inner_text()
    name = STILLS[0]
    expect(page.locator("#effect")).to_have_text(f"Kept for {name}.")
    expect(page.locator("#watching")).to_contain_text(f"{name}: being watched again")
    expect(page.locator("#effect")).to_contain_text(f"{name}: watched again; picture and figures")
    expect(page.locator("#watching")).to_be_hidden()
    watched = page.locator("#values").inner_text()
    assert watched != first
    figures_anew(page, lambda: page.locator("#undo").click())
    assert page.locator("#values").inner_text() == first


PEOPLE = [
    {"outline": [[60, 300], [260, 300], [260, 380], [60, 380]], "at": [150, 340], "lies": True},
    {"outline": [[250, 100], [390, 100], [330, 450], [250, 450]], "at": [300, 250], "lies": False},
    {"outline": [[480, 120], [600, 120], [600, 440], [480, 440]], "at": [540, 300], "lies": False},
]


def shows_people(page, people=PEOPLE):
    """Return the list of corrections that are sent from now on; none is kept."""
    said = [{"is_operator": at == 1, **each} for at, each in enumerate(people)]
    page.route("**/people/*", lambda route: route.fulfill(json=said))
    sent = []

    def keep(route):
        if route.request.method == "POST":
            sent.append(route.request.post_data_json)
            route.fulfill(json=[])
        else:
            route.continue_()

    page.route("**/corrections", keep)
    return sent


def test_the_operator_is_chosen_by_keys_alone_and_nothing_is_sent_before_confirming(page):
    open_session(page)
    sent = shows_people(page)
    page.wait_for_selector("#picture[data-frame='0']")
    shown = page.locator("#picture").get_attribute("src")
    tabbed_to(page, "operator")
    page.keyboard.press("Enter")
    buttons = page.locator("#people-list button")
    expect(buttons).to_have_text(
        [
            "1: on the left, lies, as a patient does",
            "2: in the middle, followed now",
            "3: on the right",
        ]
    )
    expect(buttons.first).to_be_focused()
    expect(page.locator("#overlay .person-line")).to_have_count(3)
    assert page.locator("#overlay .person-line.lies").get_attribute("stroke-dasharray") != "none"
    page.keyboard.press("2")
    expect(page.locator("#told")).to_contain_text("Person 2 is followed as the operator already")
    page.keyboard.press("1")
    expect(page.locator("#people-ask")).to_contain_text("Person 1 lies, as a patient does. Is this")
    expect(page.get_by_role("button", name="No, another one")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator("#people-confirm")).to_be_hidden()
    page.keyboard.press("3")
    expect(page.locator("#people-ask")).to_contain_text("Is person 3 the operator?")
    expect(page.locator("#overlay .person-line.chosen")).to_have_count(1)
    assert sent == []
    assert page.locator("#picture").get_attribute("src") == shown
    page.keyboard.press("Enter")
    expect(page.locator("#people")).to_be_hidden()
    expect(page.locator("#effect")).to_contain_text("Kept for kf_scaling.mp4.")
    operator = {"at": [540, 300], "time_s": 0}
    assert sent == [{"key": "operator", "set": operator, "source": 0, "confirmed": False}]
    page.locator("#operator").press("Enter")
    expect(buttons).to_have_count(3)
    page.locator("body").press("1")
    page.get_by_role("button", name="Yes, this is the operator").press("Enter")
    expect(page.locator("#people")).to_be_hidden()
    expect(page.locator("#effect")).to_contain_text("Kept for kf_scaling.mp4.")
    assert sent[1]["confirmed"] is True
    page.locator("#operator").press("Enter")
    expect(buttons).to_have_count(3)
    page.locator("body").press("ArrowRight")  # other people may be in another picture
    expect(page.locator("#people")).to_be_hidden()
    expect(page.locator("#overlay .person-line")).to_have_count(0)


def test_nobody_found_says_what_to_do_and_fits_a_phone(browser, address):
    context = browser.new_context(viewport={"width": 390, "height": 844}, locale="de-DE")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    open_session(page)
    sent = shows_people(page)
    page.locator("#operator").press("Enter")
    expect(page.locator("#people-list button")).to_have_count(3)
    page.locator("body").press("1")
    expect(page.locator("#people-ask")).to_contain_text("Person 1 liegt wie ein Patient.")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert serious_faults(page) == []
    page.get_by_role("button", name="Niemanden wählen").press("Enter")
    expect(page.locator("#operator")).to_be_focused()
    page.unroute("**/people/*")
    shows_people(page, [])
    page.locator("#operator").press("Enter")
    expect(page.locator("#people-how")).to_contain_text("wurde niemand gefunden")
    expect(page.locator("#people-end")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator("#people")).to_be_hidden()
    assert sent == []
    context.close()


def test_the_longest_neck_hold_the_other_hand_and_the_pdf_by_keys_alone(page):
    """What somebody does who has never seen the page, without a mouse."""
    page.get_by_role("link", name="First day", exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("body[data-ready][data-figures]")
    page.keyboard.press("l")
    expect(page.locator("#told")).to_contain_text(" s")
    assert page.get_by_role("slider").get_attribute("aria-valuenow") is not None
    tabbed_to(page, "handed")
    figures_anew(page, lambda: page.keyboard.press("l"))  # "left-handed", as lists are chosen
    expect(page.locator("#handed")).to_have_value("left")
    page.locator("#main").focus()
    tabbed_to(page, "export-open")
    page.keyboard.press("Enter")
    with page.expect_download() as told:
        page.keyboard.press("Enter")
    assert Path(told.value.path()).read_bytes().startswith(b"%PDF")
    page.keyboard.press("Escape")
    figures_anew(page, lambda: page.keyboard.press("z"))


def tabbed_to(page, name):
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == name:
            return
    raise AssertionError(f"{name} was not reached")


def test_a_session_that_cannot_be_read_says_why_in_its_place(browser, address, library, invented):
    with open_library(library) as opened:
        entry = opened.add(folder_of(invented, library.parent / "damaged"), "Damaged")
    (entry.folder / "landmarks.parquet").unlink()
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    page.get_by_role("link", name="Damaged", exact=True).click()
    expect(page.locator("#loading")).to_contain_text("landmarks.parquet")
    expect(page.locator("#desk")).to_be_hidden()
    context.close()


def test_another_browser_cannot_use_the_page_without_the_address(browser, address):
    context = browser.new_context()
    stranger = context.new_page()
    answer = stranger.goto(address.split("/open")[0])
    assert answer.status == 403
    context.close()


def test_a_browser_refuses_what_our_policy_forbids(browser, address):
    context = browser.new_context()
    page = context.new_page()
    page.goto(address)
    with pytest.raises(Error):
        page.add_script_tag(content="document.title = 'taken over'")
    assert page.title() != "taken over"
    context.close()
