import logging

import pytest

from ergo.web.guard import CHUNK_TYPE, LARGEST_CHUNK_BYTES, LARGEST_FORM_BYTES, Keys


@pytest.mark.parametrize("path", ["/", "/api/sessions", "/static/page.css", "/sessions/x"])
def test_nothing_is_shown_without_the_opening_address(stranger, path):
    assert stranger.get(path).status_code == 403


def test_the_opening_address_leads_to_the_page_and_gives_a_strict_cookie(stranger, keys):
    answer = stranger.get(f"/open?key={keys.secret}", follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert keys.secret not in answer.headers["set-cookie"]
    assert stranger.get("/").status_code == 200


def test_the_secret_of_an_earlier_start_opens_nothing(stranger):
    assert stranger.get(f"/open?key={Keys().secret}").status_code == 403
    assert stranger.get("/").status_code == 403


@pytest.mark.parametrize(
    "beside",
    [
        "bad[name]=1; {ours}",
        "{ours}; bad{{}}=1",
        "=; ;; {ours}",
        'quoted="a; {ours}; b"; c',
        "ergo-8001=theirs; {ours}",
        "ergo-8000=stale; {ours}",
        "caf\xe9=1; {ours}",
    ],
)
def test_cookies_of_other_programs_lock_nobody_out(stranger, keys, beside):
    cookie = beside.format(ours=f"ergo-8000={keys.cookie}").encode("latin-1")
    assert stranger.get("/", headers={"cookie": cookie}).status_code == 200


@pytest.mark.parametrize(
    "cookie", ["ergo-8000={wrong}", "ergo-8001={ours}", "xergo-8000={ours}", "{ours}", "ergo-8000="]
)
def test_no_other_cookie_opens_the_page(stranger, keys, cookie):
    cookie = cookie.format(ours=keys.cookie, wrong=Keys().cookie)
    assert stranger.get("/", headers={"cookie": cookie}).status_code == 403


@pytest.mark.parametrize("host", ["evil.example:8000", "127.0.0.1", "127.0.0.1:8001", ""])
def test_a_foreign_name_for_this_machine_is_refused(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:9", ""])
def test_another_site_may_neither_read_nor_post(client, origin):
    headers = {"origin": origin}
    assert client.get("/api/sessions", headers=headers).status_code == 403
    assert client.post("/api/sessions", json={}, headers=headers).status_code == 403


def test_a_post_that_does_not_say_where_it_comes_from_is_refused(client):
    del client.headers["origin"]
    assert client.post("/api/sessions", json={}).status_code == 403


def test_a_picture_embedded_by_another_site_is_refused(client):
    del client.headers["origin"]
    answer = client.get("/api/sessions", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


@pytest.mark.parametrize(
    ("content_type", "limit"),
    [("application/json", LARGEST_FORM_BYTES), (CHUNK_TYPE, LARGEST_CHUNK_BYTES)],
)
def test_a_request_larger_than_its_kind_may_be_is_refused(client, content_type, limit):
    headers = {"content-type": content_type}
    answer = client.post("/api/sessions", content=b" " * (limit + 1), headers=headers)
    assert answer.status_code == 413


def test_a_request_with_a_senseless_length_is_refused(client):
    answer = client.get("/", headers={"content-length": "-1"})
    assert answer.status_code == 413


def test_every_answer_forbids_what_comes_from_elsewhere(client):
    for path in ("/", "/api/sessions", "/static/page.css", "/nothing"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


def test_the_secret_is_in_no_log_and_in_no_picture_of_the_keys(stranger, keys, caplog):
    caplog.set_level(logging.DEBUG, logger="ergo")
    stranger.get(f"/open?key={keys.secret}")
    stranger.get(f"/api/{keys.secret}")
    assert keys.secret not in repr(keys)
    ours = [record.getMessage() for record in caplog.records if record.name != "httpx"]
    assert not any(keys.secret in line or keys.cookie in line for line in ours)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/sessions/..%2f..%2fetc",
        "/api/sessions/..%2f../timeline",
        "/api/sessions/%00/timeline",
    ],
)
def test_path_tricks_lead_nowhere(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    ("method", "path", "content_type", "limit"),
    [
        ("POST", "/api/uploads", "application/json", LARGEST_FORM_BYTES),
        ("PATCH", f"/api/uploads/{'0' * 32}/0", CHUNK_TYPE, LARGEST_CHUNK_BYTES),
    ],
)
def test_a_body_that_grows_too_large_unsaid_gets_one_line(
    client, method, path, content_type, limit
):
    def pieces():
        for _ in range(limit // 65536 + 2):
            yield b" " * 65536

    headers = {"content-type": content_type, "upload-offset": "0"}
    answer = client.request(method, path, content=pieces(), headers=headers)
    assert answer.status_code == 413
    assert answer.json() == {"error": "The request is too large."}


@pytest.mark.parametrize("length", ["9" * 5000, "²", "-1", "1e3", " "])
def test_a_length_that_is_no_number_of_bytes_is_refused(client, length):
    headers = {"content-type": "application/json", "content-length": length.encode()}
    assert client.post("/api/uploads", content=b"{}", headers=headers).status_code == 413
