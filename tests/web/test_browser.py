"""The page in a real browser, served by the real command."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Error, expect, sync_playwright

from ergo.storage.library import open_library

from .conftest import SAMPLES, folder_of, invented_session

CHROMIUM = os.environ.get("ERGO_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
PATIENCE_MS = 60_000
HOUR_FRAMES = 18_000

pytestmark = pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="needs Debian's chromium")


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
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
    expect(page.locator("#history li")).to_have_count(2)
    page.get_by_text("Time by clock position").first.click()
    page.get_by_role("button", name="10 o'clock").click()
    expect(page.get_by_role("slider")).to_have_attribute("aria-valuenow", "10")
    figures_anew(page, lambda: page.locator("#undo").click())
    figures_anew(page, lambda: page.locator("body").press("z"))
    expect(page.get_by_label("The operator is")).to_have_value("right")
    expect(page.locator("#undo")).to_be_disabled()


def test_a_part_is_marked_by_dragging_and_by_keys(page):
    open_session(page)
    page.get_by_role("button", name="Mark a part").click()
    box = page.get_by_role("slider").bounding_box()
    page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 40, steps=4)
    page.mouse.up()
    assert float(page.locator("#from").input_value()) == pytest.approx(5, abs=0.5)
    assert float(page.locator("#to").input_value()) == pytest.approx(10, abs=0.5)
    page.locator("h1").click()
    for key in ("Home", "[", "Shift+ArrowRight", "]"):
        page.locator("body").press(key)
    assert page.locator("#from").input_value() == "0"
    assert float(page.locator("#to").input_value()) == pytest.approx(2.1)


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
            "buffer": (SAMPLES / "1_kf_side_left.jpg").read_bytes(),
        }
    )
    expect(page.locator("#jobs li")).to_have_count(1, timeout=PATIENCE_MS)
    page.goto("about:blank")  # the page may be closed meanwhile
    page.go_back()
    page.wait_for_selector("#jobs li[data-state='done']")
    open_session(page, "First day 2")
    expect(page.locator("#where")).to_contain_text("picture 1 of 1")


def test_an_hour_opens_in_two_seconds_and_scrubs_without_stutter(browser, address, library):
    session = invented_session(SAMPLES / "kf_scaling.mp4", HOUR_FRAMES)
    with open_library(library) as opened:
        opened.add(folder_of(session, library.parent / "hour"), "An hour")
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    open_session(page, "An hour")  # the first opening judges the hour
    page.reload()
    begun = page.evaluate("performance.timeOrigin")
    page.wait_for_selector("body[data-ready='18000']")
    assert page.evaluate("performance.timeOrigin + performance.now()") - begun < 2000
    took_ms = page.evaluate(
        """async () => {
          const lanes = document.getElementById("lanes"), box = lanes.getBoundingClientRect();
          const send = (kind, x) => lanes.dispatchEvent(new PointerEvent(kind,
            { clientX: box.left + x, clientY: box.top + 40, pointerId: 1, bubbles: true }));
          lanes.setPointerCapture = () => {};
          send("pointerdown", 10);
          const took = [];
          for (let step = 1; step <= 100; step++) {
            const before = performance.now();
            send("pointermove", 10 + step * (box.width - 20) / 100);
            took.push(performance.now() - before);
            await new Promise(requestAnimationFrame);
          }
          send("pointerup", 10);
          return took.sort((a, b) => a - b);
        }"""
    )
    context.close()
    assert took_ms[50] < 16  # a moving picture needs sixty a second
    assert took_ms[90] < 50


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
