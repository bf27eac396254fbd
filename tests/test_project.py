"""The project as people expect it: layout, licence, sources, and nothing of our own machines."""

import ast
import hashlib
import re
import subprocess
import tomllib
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder
from hypothesis import HealthCheck, settings

import ergo

ROOT = Path(__file__).parents[1]
TOP_LEVEL = {
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
    "ergo",
    "tests",
    "sample_frames",
    "reports",
    "LICENSE",
    "NOTICE",
    ".ci",
    ".gitignore",
    ".gitattributes",
}
LONGEST_MODULE, LONGEST_FUNCTION = 400, 40

# Written in pieces, so that this file does not hold what it looks for.
PLACES = [
    rb"/(?:ho" rb"me|Us" rb"ers|ro" rb"ot|wo" rb"rk)/\w",
    rb"[A-Z]:\\+Us" rb"ers\\",
    rb"py" rb"pi\.(?:org|python)",
    rb"python" rb"hosted\.",
    rb"npm" rb"js\.(?:org|com)",
    rb"index" rb"-url",
]


def _tracked() -> list[Path]:
    listed = subprocess.run(
        ["git", "-c", f"safe.directory={ROOT}", "-C", str(ROOT), "ls-files", "-z"],
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    paths = [ROOT / name for name in listed.split("\0") if name]
    return [path for path in paths if path.is_file()]


TRACKED = _tracked()
MODULES = [path for path in TRACKED if path.suffix == ".py" and path.is_relative_to(ROOT / "ergo")]


def test_nothing_lies_at_the_top_but_what_people_expect():
    assert {path.relative_to(ROOT).parts[0] for path in TRACKED} <= TOP_LEVEL


@pytest.mark.parametrize("pattern", PLACES, ids=[f"place_{n}" for n in range(len(PLACES))])
def test_no_file_names_a_place_on_a_machine_or_a_package_host(pattern):
    found = [path.name for path in TRACKED if re.search(pattern, path.read_bytes())]
    assert found == []


def test_the_licence_and_the_notice_are_there():
    assert "Apache License" in (ROOT / "LICENSE").read_text(encoding="utf-8")
    notice = (ROOT / "NOTICE").read_text(encoding="utf-8")
    assert "MediaPipe" in notice


@pytest.mark.parametrize(
    "table",
    [path for path in TRACKED if path.suffix == ".csv" and path.is_relative_to(ROOT / "ergo")],
    ids=lambda path: path.stem,
)
def test_every_table_names_its_source_in_the_first_line(table):
    first = table.read_text(encoding="utf-8").splitlines()[0]
    assert re.fullmatch(r"# source: \S.*", first)


def test_the_version_is_the_same_everywhere():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert ergo.__version__ == project["version"] == version("ergo")


def test_an_installed_copy_carries_every_file_of_the_package():
    packed = {file.distribution_path for file in WheelBuilder(str(ROOT)).recurse_included_files()}
    ours = {
        path.relative_to(ROOT).as_posix() for path in TRACKED if path.is_relative_to(ROOT / "ergo")
    }
    assert ours - packed == set()
    assert any(name.endswith(".task") for name in packed)


def test_the_networks_are_the_ones_that_their_page_describes():
    models = ROOT / "ergo/landmarks/models"
    page = (models / "README.md").read_text(encoding="utf-8")
    bundles = sorted(models.glob("*.task"))
    assert bundles
    for bundle in bundles:
        assert hashlib.sha256(bundle.read_bytes()).hexdigest() in page


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_modules_and_functions_are_short(module):
    text = module.read_text(encoding="utf-8")
    assert text.count("\n") <= LONGEST_MODULE
    assert [name for name, lines in _functions(text) if lines > LONGEST_FUNCTION] == []


def _functions(text: str) -> Iterator[tuple[str, int]]:
    """Yield each function's name and its length without its docstring."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0]
            has_docstring = ast.get_docstring(node) is not None
            docstring = first.end_lineno - first.lineno + 1 if has_docstring else 0
            yield node.name, node.end_lineno - node.lineno + 1 - docstring


def test_no_property_test_depends_on_the_machines_pace() -> None:
    assert settings().deadline is None
    assert HealthCheck.too_slow in settings().suppress_health_check
    own = [
        path.relative_to(ROOT)
        for path in TRACKED
        if path.is_relative_to(ROOT / "tests") and path.suffix == ".py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.keyword) and node.arg == "deadline"
    ]
    assert own == [Path("tests/conftest.py")], "the profile there holds for all"


def _places_of_the_map() -> list[str]:
    """Return every path that answers "Where would I change ...?" in DEVELOPERS.md."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = page[page.index("### Where would I change") :].split("\n\n")[1]
    return re.findall(r"`([^`]+)`", table)


def test_the_map_answers_twenty_questions():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = page[page.index("### Where would I change") :].split("\n\n")[1].splitlines()
    assert len(rows) - 2 >= 20


@pytest.mark.parametrize("place", _places_of_the_map())
def test_every_place_of_the_map_is_there(place):
    assert list((ROOT / "ergo").glob(place.rstrip("/")))


def test_every_room_stands_on_the_map():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    inside = [path.relative_to(ROOT / "ergo").parts for path in MODULES]
    rooms = {parts[0] for parts in inside if len(parts) > 1}
    assert rooms
    assert {room for room in rooms if f" {room}/" not in page} == set()
