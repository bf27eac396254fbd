"""An hour on the page, in a real browser: how soon it is there, how smoothly it scrubs."""

import statistics
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ergo.app.analyse import evaluate_session
from ergo.library.library import open_library
from ergo.storage.session_folder import read_session, write_session
from tests.benchmarks.hour import HOUR_S, stretched
from tests.web.chromium import ARGUMENTS, PATIENCE_MS, chromium

LOADS, MOVES = 7, 200

_UNTIL = """async (is_there) => {
  while (!document.querySelector(is_there)) await new Promise((go) => setTimeout(go, 5));
  return performance.now();
}"""

_SCRUB = """async (moves) => {
  const lanes = document.getElementById("lanes"), box = lanes.getBoundingClientRect();
  const send = (kind, x) => lanes.dispatchEvent(new PointerEvent(kind,
    { clientX: box.left + x, clientY: box.top + 40, pointerId: 1, bubbles: true }));
  lanes.setPointerCapture = () => {};
  const frame = () => new Promise(requestAnimationFrame);
  const idle = [], work = [], frames = [];
  await frame();
  for (let step = 0; step < moves; step++) {
    const begun = performance.now();
    await frame();
    idle.push(performance.now() - begun);
  }
  send("pointerdown", 10);
  for (let step = 1; step <= moves; step++) {
    const begun = performance.now();
    send("pointermove", 10 + step * (box.width - 20) / moves);
    work.push(performance.now() - begun);
    await frame();
    frames.push(performance.now() - begun);
  }
  send("pointerup", 10);
  return { idle, work, frames };
}"""


@contextmanager
def served(library: Path) -> Iterator[str]:
    """Serve a library with the real command; yield the opening address."""
    command = [sys.executable, "-m", "ergo", "serve", "--no-browser", "--library", str(library)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().strip()
        finally:
            process.terminate()


def library_with_hour(analysed: Path, folder: Path) -> tuple[str, int]:
    """Make a library with one hour of a session; return the session's id and its frames."""
    stored = read_session(analysed)
    recording = stretched(stored.recording, HOUR_S)
    made = folder / "hour"
    made.mkdir()
    write_session(evaluate_session(recording, stored.notes), made)
    with open_library(folder / "library") as library:
        return library.add(made, "An hour").id, len(recording.timeline)


def measured(analysed: Path, folder: Path) -> dict[str, Any]:
    """Return the times of loading and scrubbing an hour. [ms]

    Parameters
    ----------
    analysed : Path
        Output folder of one clip; its landmarks are repeated to fill an hour.
    folder : Path
        For the library.
    """
    from playwright.sync_api import sync_playwright

    session, frames = library_with_hour(analysed, folder)
    with served(folder / "library") as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(PATIENCE_MS)
        page.goto(address)
        home = address.split("/open")[0]
        shown = f"{home}/sessions/{session}"
        listed = [_loading_ms(page, home, "#list li") for _ in range(LOADS)]
        first_ms = _loading_ms(page, shown, "body[data-ready]")
        loads = [_loading_ms(page, shown, "body[data-ready]") for _ in range(LOADS)]
        page.wait_for_selector("body[data-figures]")
        scrub = page.evaluate(_SCRUB, MOVES)
        browser.close()
    return {
        "frames": frames,
        "listed": statistics.median(listed),
        "first": first_ms,
        "load": statistics.median(loads),
        "idle": statistics.median(scrub["idle"]),
        "work": statistics.median(scrub["work"]),
        "work_90": sorted(scrub["work"])[int(0.9 * MOVES)],
        "frame": statistics.median(scrub["frames"]),
        "frame_90": sorted(scrub["frames"])[int(0.9 * MOVES)],
    }


def _loading_ms(page: Any, address: str, is_there: str) -> float:
    page.goto("about:blank")
    page.goto(address, wait_until="commit")
    return float(page.evaluate(_UNTIL, is_there))
