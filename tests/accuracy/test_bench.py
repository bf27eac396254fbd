from tests.accuracy.__main__ import main
from tests.accuracy.goals import goal
from tests.accuracy.truth import POOLED


def test_without_the_scenes_the_bench_says_so_in_one_line(tmp_path, capsys):
    assert main(["--scenes", str(tmp_path / "nowhere")]) == 3
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert "scenes not found" in told.err


def test_goals_are_found_by_the_rows_of_the_tables():
    with_goal = [angle for angle in POOLED if goal(angle, "known") > 0]
    assert len(with_goal) == 11
    assert goal("trunk_flexion_deg", "nothing") == 4.0
