"""Nothing from outside acts on the terminal, and no sign that it lacks ends the program."""

import json
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.cli import main
from ergo.cli.printing import print_json, remark, say
from ergo.printable import is_text, printable

ROOT = Path(__file__).parents[1]
ACTING = ["\x1b[2J", "\x1b]0;x\x07", "a\rb", "a\nb", "\x9b31m", "\u202egpj.exe", "\udcff", "\u2028"]


@pytest.mark.parametrize("text", ACTING)
@pytest.mark.parametrize("show", [say, remark])
def test_what_would_act_on_a_terminal_is_written_out(capsys, text, show):
    show(f"before{text}after")
    shown = "".join(capsys.readouterr())
    assert shown.endswith("after\n")
    assert shown.count("\n") == 1
    assert not [s for s in shown[:-1] if unicodedata.category(s) in ("Cc", "Cf", "Cs", "Zl", "Zp")]


@pytest.mark.parametrize("text", ["Prüfung ß", "🦷", "👩\u200d⚕️", "−3°", "診療", "a b\u00a0c"])
def test_names_of_every_language_stay_as_they_are(text):
    assert printable(text) == text


@pytest.mark.parametrize("text", [*ACTING, 'quote" and \\ back'])
def test_a_json_document_is_on_one_line_and_reads_back_the_same(capsys, text):
    print_json({text: [text, 1.5, None]})
    shown = capsys.readouterr().out
    assert shown[:-1].isprintable()
    assert json.loads(shown) == {text: [text, 1.5, None]}


@given(st.text())
def test_printable_text_is_one_line_and_can_be_stored(text):
    shown = printable(text)
    shown.encode()
    assert len(shown.splitlines()) <= 1
    assert printable(shown) == shown


def test_only_stray_surrogates_are_no_text():
    assert is_text("a\x1b🦷")
    assert not is_text(os.fsdecode(b"a\xff"))


def test_a_wrong_command_line_is_complained_of_without_acting(capsys):
    with pytest.raises(SystemExit) as left:
        main(["\x1b[31mnonsense"])
    shown = capsys.readouterr().err
    assert left.value.code == click.UsageError.exit_code
    assert "\x1b" not in shown
    assert "nonsense" in shown


def test_a_terminal_without_our_signs_does_not_end_the_program(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "ergo", "analyse", "🦷.mp4", "--out", "o"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "cp1252"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 3
    assert done.stderr == "\\U0001f9b7.mp4: does not exist. Check the spelling.\n"
