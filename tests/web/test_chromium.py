import pytest

from tests.web.chromium import chromium


def test_a_missing_browser_fails_the_tests_that_need_it(monkeypatch, tmp_path):
    monkeypatch.setenv("ERGO_CHROMIUM", str(tmp_path / "no browser"))
    with pytest.raises(pytest.fail.Exception, match="Chromium is missing"):
        chromium()
