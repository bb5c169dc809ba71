"""Who gets in, and what gets past the door."""

import os
import re
import stat
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner
from visiting import Visitor, app_of

from pipeline import cli
from pipeline.errors import LibraryError, SettingsError
from pipeline.library.games import Library
from pipeline.review.access import Door, Transport, access_for, host_of, is_loopback, password_file
from pipeline.review.app import ROUTERS, create_app
from pipeline.review.limits import Limit
from pipeline.review.sessions import COOKIE, Sessions
from pipeline.review.settings import ReviewSettings
from pipeline.settings import Settings

WORD = "four unrelated words here"
HERE = "http://127.0.0.1:8765"


@pytest.fixture(scope="module")
def settings() -> Settings:
    return Settings()


@pytest.fixture
def bare(tmp_path) -> Library:
    """A library without games."""
    place = Library(tmp_path / "bare")
    place.tag_store().close()
    return place


def with_password(library: Library, *names: str) -> Library:
    for name in names or ("Robin",):
        password_file(library).set(name, WORD)
    return library


def asked(library: Library, settings: Settings, host: str = "127.0.0.1", **more) -> Visitor:
    access = access_for(library, host, settings.review, visitor="Robin", **more)
    base = f"{access.transport.value}://{'127.0.0.1' if host == '0.0.0.0' else host}:8765"
    return Visitor(create_app(library, settings, access=access), base_url=base, follow_redirects=False)


def log_in(client: Visitor, name: str = "Robin", password: str = WORD, back: str = "/"):
    token = re.search(r'name="csrf" value="([0-9a-f]+)"', client.get("/login").text)[1]
    return client.post("/login", data={"csrf": token, "name": name, "password": password, "back": back})


# ---- which address, which name ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("host", "local"),
    [
        ("127.0.0.1", True), ("localhost", True), ("::1", True), ("[::1]", True), ("127.8.8.8", True),
        ("0.0.0.0", False), ("::", False), ("192.168.1.5", False), ("localhost.example", False), ("", False),
    ],
)  # fmt: skip
def test_only_this_machines_own_addresses_are_loopback(host, local):
    assert is_loopback(host) is local


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::", "court.example"])
def test_other_addresses_want_a_password_file(bare, settings, host):
    with pytest.raises(SettingsError, match="nobody has a password"):
        access_for(bare, host, settings.review, visitor="Robin")
    assert access_for(with_password(bare), host, settings.review, visitor="Robin").door is Door.LOGIN


def test_a_public_name_wants_a_password_file_even_on_loopback(bare, settings):
    with pytest.raises(SettingsError, match=r"court\.example can be reached"):
        access_for(bare, "127.0.0.1", settings.review, visitor="Robin", host_names=("court.example",))


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost@evil.example", "", "a b"])
def test_a_foreign_name_that_points_here_is_refused(bare, settings, host):
    with asked(bare, settings) as client:
        answer = client.get("/", headers={"Host": host})
        assert answer.status_code == 421
        assert "Robin" not in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "[::1]:9000", "LOCALHOST"])
def test_this_machines_own_names_are_taken(bare, settings, host):
    with asked(bare, settings) as client:
        assert client.get("/", headers={"Host": host}).status_code == 200


def test_names_behind_a_proxy_are_taken_when_told(bare, settings):
    access = {"host_names": ("Court.example",)}
    with asked(with_password(bare), settings, **access) as client:
        assert client.get("/login", headers={"Host": "court.example"}).status_code == 200
        assert client.get("/login", headers={"Host": "other.example"}).status_code == 421


def test_hosts_are_read_strictly():
    assert host_of("[::1]:80") == "::1"
    assert host_of("A.b-c:1") == "a.b-c"
    assert host_of("a/b") == host_of("a:b:c") == host_of("a:123456") == host_of("a@b") == ""


# ---- changes come from our own pages ------------------------------------------------------------


def writing_routes() -> list[tuple[str, str]]:
    found = []
    for route in (route for router in ROUTERS for route in router.routes):
        for method in sorted((getattr(route, "methods", None) or set()) - {"GET", "HEAD", "OPTIONS"}):
            found.append((method, re.sub(r"\{[^}]*\}", "1", route.path)))
    return found


def test_every_change_wants_the_sessions_token(library, settings):
    assert len(writing_routes()) >= 10
    assert ("POST", "/api/tags/1/decide") in writing_routes()
    with Visitor(app_of(library, settings), base_url=HERE, follow_redirects=False) as client:
        client.get("/")
        for method, path in writing_routes():
            for kind in ({"json": {}}, {"data": {"csrf": ""}}, {"data": {"csrf": "0" * 64}}):
                answer = client.request(method, path, **kind)
                assert answer.status_code == 403, (method, path, kind, answer.text)


def test_a_token_is_good_for_its_own_session_alone(library, settings):
    app = app_of(library, settings)
    with Visitor(app, base_url=HERE) as one, Visitor(app, base_url=HERE) as two:
        token = one.token
        told = {"verdict": "confirmed"}
        assert two.post("/api/tags/1/decide", json=told, headers={"X-CSRF-Token": token}).status_code == 403
        assert one.post("/api/tags/1/decide", json=told, headers={"X-CSRF-Token": token}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": "http://127.0.0.1:1"},
        {"Origin": "http://127.0.0.1:8765.evil.example"}, {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)  # fmt: skip
def test_another_sites_page_changes_nothing(visitor, library, headers):
    answer = visitor.post(
        "/api/tags/1/decide", json={"verdict": "confirmed"}, headers={"X-CSRF-Token": visitor.token, **headers}
    )
    assert answer.status_code == 403
    with library.tag_store() as store:
        assert store.tag(1).decided_by is None


def test_our_own_page_changes_something(visitor):
    headers = {"X-CSRF-Token": visitor.token, "Origin": HERE, "Sec-Fetch-Site": "same-origin"}
    assert visitor.post("/api/tags/1/decide", json={"verdict": "confirmed"}, headers=headers).status_code == 200


# ---- passwords and sessions ---------------------------------------------------------------------


def test_passwords_are_kept_as_hashes_for_their_owner_alone(bare):
    place = password_file(with_password(bare, "Robin", "Kim"))
    Sessions(place.path.parent, longest_s=1, idle_s=1)
    text = place.path.read_text()
    assert WORD not in text
    assert text.count("$argon2id$") == 2
    assert stat.S_IMODE(place.path.stat().st_mode) == 0o600
    assert stat.S_IMODE((place.path.parent / "secret").stat().st_mode) == 0o600
    assert stat.S_IMODE(place.path.parent.stat().st_mode) == 0o700
    assert place.check("Robin", WORD)
    assert place.check("Robin", WORD + ".") is None
    assert place.check("Sam", WORD) is None
    place.path.chmod(0o644)
    with pytest.raises(LibraryError, match="chmod 600"):
        place.hashes()


@pytest.mark.parametrize(
    ("name", "password"), [("", WORD), ("a:b", WORD), ("x" * 61, WORD), ("#a", WORD), ("R", "short")]
)
def test_names_and_passwords_that_will_not_do(bare, name, password):
    with pytest.raises(SettingsError):
        password_file(bare).set(name, password)
    assert not password_file(bare).exists()


def test_a_damaged_password_file_opens_no_door(bare):
    place = password_file(with_password(bare))
    place.path.write_text("Robin\n")
    with pytest.raises(LibraryError, match="line 1"):
        place.hashes()


def test_the_command_writes_a_password(bare):
    done = CliRunner().invoke(cli.app, ["review-user", "Kim", "--library", str(bare.root)], input=WORD + "\n")
    assert done.exit_code == 0, done.output
    assert password_file(bare).check("Kim", WORD)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--host", "0.0.0.0"], "nobody has a password"),
        (["--name", "court.example"], "nobody has a password"),
        (["--certificate", "/nowhere.pem"], "belong together"),
        (["--certificate", "/nowhere.pem", "--key", "/nowhere.key"], "/nowhere.pem does not exist"),
        (["--host", "203.0.113.7", "--with-a-password"], "cannot be listened on"),
        (["--library", "/nowhere/at/all"], "There is no library"),
    ],
)
def test_the_command_refuses_in_one_sentence(bare, more, said, capsys, monkeypatch):
    if "--with-a-password" in more:
        with_password(bare)
        more = [word for word in more if word != "--with-a-password"]
    monkeypatch.setattr("sys.argv", ["elbowroom", "review", "--library", str(bare.root), "--port", "8799", *more])
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert stopped.value.code == 2
    told = [line for line in capsys.readouterr().err.splitlines() if line.startswith("elbowroom: ")]
    assert len(told) == 1
    assert said in told[0]


def test_nothing_is_seen_without_a_login(library, settings):
    with_password(library)
    with asked(library, settings) as client:
        for path in ("/", "/queue?game=a&kind=b", "/tags/1", "/film/tags/1", "/film/games/crowded-drive"):
            answer = client.get(path)
            assert (answer.status_code, answer.headers["location"][:12]) == (303, "/login?back="), path
        assert client.get("/api/tags/1").status_code == 401
        assert client.get("/api/tags/1").json()["error"].startswith("Your login has ended")
        assert client.get("/static/site.css").status_code == 200
        assert client.get("/about").status_code == 200
        assert client.post("/api/tags/1/decide", json={"verdict": "confirmed"}).status_code == 401
        assert client.get("/queue?game=a&kind=b").headers["location"] == "/login?back=/queue%3Fgame%3Da%26kind%3Db"


def test_login_and_logout(library, settings):
    with_password(library)
    with asked(library, settings) as client:
        assert log_in(client, password="not the password").status_code == 401
        before = client.cookies[COOKIE]
        answer = log_in(client, back="/queue")
        assert (answer.status_code, answer.headers["location"]) == (303, "/queue")
        assert client.cookies[COOKIE] != before, "a new session with the login"
        assert client.get("/").status_code == 200
        assert client.change("/api/tags/1/decide", {"verdict": "confirmed"}).json()["decided_by"] == "Robin"
        old = client.cookies[COOKIE]
        assert client.change_form("/logout").status_code == 303
        assert client.get("/").status_code == 303
        client.cookies.clear()
        client.cookies.set(COOKIE, old)
        assert client.get("/").status_code == 303, "a session that was ended stays ended"
    with asked(library, settings) as client:
        client.cookies.set(COOKIE, old)
        assert client.get("/").status_code == 303, "after a restart too"


@pytest.mark.parametrize("back", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:1", "/a\nb"])
def test_a_login_leads_nowhere_else(bare, settings, back):
    with_password(bare)
    with asked(bare, settings) as client:
        assert log_in(client, back=back).headers["location"] == "/"


def test_a_new_password_ends_the_sessions_of_the_old_one(bare, settings):
    with_password(bare)
    with asked(bare, settings) as client:
        log_in(client)
        assert client.get("/").status_code == 200
        password_file(bare).set("Robin", WORD + " new")
        assert client.get("/").status_code == 303


def test_sessions_survive_a_restart_and_end_in_time(bare, monkeypatch):
    folder = bare.root / ".review"
    now = [1_000_000.0]
    monkeypatch.setattr(time, "time", lambda: now[0])
    first = Sessions(folder, longest_s=3600, idle_s=600)
    session = first.begin("Robin")
    cookie = first.cookie(session)
    again = Sessions(folder, longest_s=3600, idle_s=600)
    assert again.read(cookie) == session
    assert again.read(cookie[:-2] + "xx") is None
    assert again.read("") is None
    now[0] += 601
    assert again.read(cookie) is None, "idle"
    for _ in range(8):
        now[0] += 0 if session is None else 500
        used = again.used(session)
        session = used or session
    assert again.read(again.cookie(session)) is None, "too old, though used"


def test_cookies_are_closed(bare, settings):
    with asked(bare, settings) as client:
        cookie = client.get("/").headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Lax" in cookie
        assert "Secure" not in cookie
    with_password(bare)
    with asked(bare, settings, transport=Transport.TLS) as client:
        answer = client.get("/login")
        assert "; Secure" in answer.headers["set-cookie"]
        assert "max-age" in answer.headers["strict-transport-security"]


def test_a_cookie_of_another_library_opens_nothing(bare, library, settings):
    with_password(bare)
    with_password(library)
    with asked(bare, settings) as one, asked(library, settings) as two:
        log_in(one)
        two.cookies.set(COOKIE, one.cookies[COOKIE])
        assert two.get("/").status_code == 303


# ---- not too often, not too much ----------------------------------------------------------------


def test_a_bucket_fills_at_an_even_rate():
    now = [0.0]
    limit = Limit(6, lambda: now[0])
    assert [limit.wait_s("a") for _ in range(6)] == [0.0] * 6
    assert limit.wait_s("a") == pytest.approx(10)
    assert limit.wait_s("b") == 0
    now[0] = 9.9
    assert limit.wait_s("a") > 0
    now[0] = 10.1
    assert limit.wait_s("a") == 0


def test_guessing_passwords_is_slow(bare):
    few = Settings().model_copy(update={"review": ReviewSettings(logins_per_minute=3)})
    with_password(bare)
    with asked(bare, few) as client:
        assert [log_in(client, password="guess number n").status_code for _ in range(5)] == [401, 401, 401, 429, 429]
        answer = log_in(client)
        assert answer.status_code == 429
        assert int(answer.headers["retry-after"]) > 0


def test_changes_are_limited(library):
    few = Settings().model_copy(update={"review": ReviewSettings(writes_per_minute=4)})
    with Visitor(app_of(library, few), base_url=HERE) as client:
        answers = [client.change("/api/tags/1/note", {"text": str(n)}).status_code for n in range(6)]
        assert answers == [200, 200, 200, 200, 429, 429]
        assert client.get("/api/tags/1").status_code == 200


def test_large_requests_are_not_read(visitor):
    big = "x" * 3_000_000
    headers = {"X-CSRF-Token": visitor.token, "Content-Type": "application/json"}
    assert visitor.post("/api/tags/1/note", content=big, headers=headers).status_code == 413

    def pieces():
        for _ in range(50):
            yield b"x" * 65536

    assert visitor.post("/api/tags/1/note", content=pieces(), headers=headers).status_code == 413
    assert visitor.change("/api/tags/1/note", {"text": "y" * 2001}).status_code == 422


# ---- what leaves ---------------------------------------------------------------------------------


def test_every_answer_carries_a_strict_policy(visitor):
    for path in (
        "/",
        "/nowhere",
        "/static/site.css",
        "/api/tags/1",
        "/api/tags/77",
        "/film/games/crowded-drive",
        "/me",
    ):
        headers = visitor.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "*" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert "server" not in headers


def test_pages_hold_no_script_and_no_style_of_their_own():
    templates = sorted((Path(cli.__file__).parents[1] / "review" / "templates").glob("*.html"))
    assert len(templates) > 8
    for path in templates:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"<script(?![^>]*(\bsrc=|type=\"application/json\"))[^>]*>", text), path
        assert not re.search(r"<style\b|<[a-z][^>]*\s(style|on\w+)=|javascript:", text), path
        assert not re.search(r"(src|href)=\"(https?:)?//", text), path


ELSEWHERE = (
    "/static/../site.py", "/static/%2e%2e/site.py", "/static/..%2fsite.py", "/static/%2e%2e%2f%2e%2e%2fcli.py",
    "/static//etc/passwd", "/static/%2fetc%2fpasswd", "/static/..%5c..%5cetc", "/film/games/..", "/film/games/%2e%2e",
    "/film/games/..%2f..%2fetc%2fpasswd", "/film/games/%00", "/film/games/crowded-drive%2f..%2fweak-side-motion",
    "/film/tags/1%2f..%2f2", "/film/tags/-1", "/film/tags/1e3", "/film/tags/99999999999999999999",
    "/film/games/.review", "/.review/secret", "/library.db", "/static/.review",
)  # fmt: skip


@pytest.mark.parametrize("path", ELSEWHERE)
def test_no_path_leads_out_of_the_library(visitor, path):
    answer = visitor.get(path)
    assert answer.status_code in (404, 422, 400), answer.status_code
    assert "root:" not in answer.text


def test_a_game_that_is_a_link_out_of_the_library_is_not_served(library, filled_library, visitor):
    elsewhere = filled_library / "games" / "crowded-drive"
    (library.root / "games" / "linked").symlink_to(elsewhere)
    answer = visitor.get("/film/games/linked")
    assert answer.status_code == 404
    assert "outside the library" in answer.text


def test_another_file_in_the_films_place_is_not_served(library, visitor, tmp_path):
    secret = tmp_path / "secret.mp4"
    secret.write_text("not a film of this library")
    path = library.root / "games" / "crowded-drive" / "game.toml"
    path.write_text(re.sub(r'path = ".*"', f'path = "{secret}"', path.read_text()))
    answer = visitor.get("/film/games/crowded-drive")
    assert answer.status_code == 404
    assert "not the film" in answer.text
    assert "not a film of this library" not in answer.text
    link = tmp_path / "link.mp4"
    os.symlink("/etc/passwd", link)
    path.write_text(re.sub(r'path = ".*"', f'path = "{link}"', path.read_text()))
    assert "not the film" in visitor.get("/film/games/crowded-drive").text
    play = visitor.get("/api/tags/1/play.json").json()
    assert play["film"] is None
    assert "not the film" in play["no_film"]


def test_errors_are_one_sentence_for_people_and_programs(visitor):
    page = visitor.get("/tags/99")
    assert page.status_code == 404
    assert "There is no tag 99" in page.text
    assert visitor.get("/api/tags/99").json()["error"].startswith("There is no tag 99")
    assert visitor.get("/nowhere").status_code == 404
    assert visitor.get("/queue?state=funny").status_code == 422
    assert "not understood" in visitor.get("/queue?state=funny").text


def test_what_breaks_is_told_without_inner_parts(library, settings, monkeypatch, caplog):
    app = app_of(library, settings)
    monkeypatch.setattr("pipeline.review.night_page.summary_of", lambda _site: 1 / 0)
    with Visitor(app, base_url=HERE, raise_server_exceptions=False) as client:
        answer = client.get("/")
    assert answer.status_code == 500
    assert answer.text == "Something broke in the program; the terminal in which it runs says what.\n"
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "ZeroDivisionError" in caplog.text


def test_a_visitor_of_an_open_door_says_a_name(visitor):
    assert "Robin" in visitor.get("/").text
    assert visitor.change_form("/me", {"name": "Kim Ödegård <b>"}).status_code == 200
    assert "Kim Ödegård &lt;b&gt;" in visitor.get("/").text
    assert visitor.change("/api/tags/1/decide", {"verdict": "unsure"}).json()["decided_by"] == "Kim Ödegård <b>"
    assert visitor.change_form("/me", {"name": "a:b"}).status_code == 400


def test_the_pages_say_what_tags_are_for(visitor):
    assert "not for medical, betting or disciplinary" in visitor.get("/").text
    about = visitor.get("/about").text
    assert "minors" in about
    assert "consent" in about
