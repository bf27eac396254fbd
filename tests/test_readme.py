"""What README.md and DEVELOPERS.md tell people to type is there and works."""

import os
import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from ergo.cli import ergo

ROOT = Path(__file__).parents[1]
PAGES = [
    ROOT / name
    for name in ("README.md", "DEVELOPERS.md", "reports/accuracy.md", "ergo/training/MODEL_CARD.md")
    if (ROOT / name).is_file()
]

SAMPLE, TEST = ".ci/sample", ".ci/test"


def _typed(page: Path) -> list[list[str]]:
    """Return every command line in the page's shell blocks, in words."""
    blocks = re.findall(r"```sh\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return [words for line in lines if (words := shlex.split(line, comments=True))]


COMMANDS = [words for page in PAGES for words in _typed(page)]


def test_the_first_two_commands_run_the_sample_and_the_tests():
    assert _typed(ROOT / "README.md")[:2] == [["bash", SAMPLE], ["bash", TEST]]


@pytest.mark.parametrize("words", [each for each in COMMANDS if each[0] == "bash"], ids=" ".join)
def test_every_script_that_is_named_is_there(words):
    script = ROOT / words[1]
    assert os.access(script, os.X_OK)
    assert script.read_text(encoding="utf-8").startswith("#!/usr/bin/env bash\n")


@pytest.mark.parametrize("words", [each for each in COMMANDS if each[0] == "ergo"], ids=" ".join)
def test_every_command_and_option_that_is_named_exists(words):
    command: click.Command = ergo
    options = [word.split("=")[0] for word in words[1:] if word.startswith("--")]
    for word in words[1:]:
        if isinstance(command, click.Group) and not word.startswith("--"):
            command = command.commands[word]
    known = {name for each in command.get_params(click.Context(command)) for name in each.opts}
    assert set(options) <= known


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_file_that_a_page_links_to_is_there(page):
    targets = re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8"))
    ours = [target for target in targets if "://" not in target]
    assert [target for target in ours if not (ROOT / target).exists()] == []


def test_the_build_machine_runs_the_test_command_of_the_readme():
    assert f"bash {TEST}" in (ROOT / ".ci/run").read_text(encoding="utf-8")


def test_the_sample_command_writes_a_report_and_says_where(tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    script = (ROOT / SAMPLE).read_text(encoding="utf-8")
    (line,) = re.findall(r"^ergo (analyse .*)$", script, re.MULTILINE)
    out = tmp_path / "sample"
    words = shlex.split(line)
    words[words.index("--out") + 1] = str(out)
    done = CliRunner().invoke(ergo, words, standalone_mode=False)
    assert done.exception is None
    assert str(out / "report.html") in done.stdout
    assert (out / "report.html").stat().st_size > 10_000
