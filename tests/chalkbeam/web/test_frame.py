"""Who gets in at the page's doors, and what is asked of each request."""

from __future__ import annotations

import re

import pytest
from starlette.responses import PlainTextResponse

from calibration.refusal import Refusal
from chalkbeam.web.doors import Door, Right
from chalkbeam.web.pairing import CODE_LASTS, WRONG, Codes, Devices, TooManyTriesError
from chalkbeam.web.server import doors
from tests.support.browser import serious


def fall_over(visit):
    raise ZeroDivisionError


def refuse(visit):
    raise Refusal("The cards lie wrong: lay them again.")


@pytest.fixture
def more_doors():
    return [
        Door("/try/see", lambda visit: PlainTextResponse("seen"), Right.SEE),
        Door("/try/press", lambda visit: PlainTextResponse("done"), Right.PRESS, ("POST",)),
        Door("/try/fault", fall_over, Right.SEE),
        Door("/try/refusal", refuse, Right.SEE),
    ]


OPEN = {"/static/{name}", "/pair"}


def test_every_door_says_what_right_it_asks_and_few_ask_none():
    assert {door.path for door in doors() if door.right is None} == OPEN


def test_every_door_that_changes_something_asks_more_than_to_see():
    changing = [door for door in doors() if door.methods != ("GET",) and door.path not in OPEN]
    assert changing
    assert all(door.right in (Right.PRESS, Right.SET_UP) for door in changing)


def test_every_door_of_the_page_is_shut_to_who_is_not_let_in(ask):
    for door in doors():
        path = re.sub(r"\{.*?\}", "x", door.path)
        if door.right is not None:
            answer = ask(path, method=door.methods[0], right=None)
            assert answer.status == 401, door.path
            assert 'action="/pair"' in answer.text


def test_what_is_not_there_is_not_told_to_strangers(ask):
    assert ask("/no/such/page", right=None).status == 401
    assert ask("/no/such/page").status == 404


# DNS rebinding: RFC 9110, 15.5.20 has 421 for a host that the server does not answer for.
@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "", "127.0.0.1:1"]
)
def test_another_host_name_is_refused(ask, host):
    assert ask("/", host=host).status == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1", "127.0.0.1"]
)
def test_another_origin_is_refused(ask, origin):
    assert ask("/try/see", origin=origin).status == 403
    assert ask("/try/press", form={}, origin=origin).status == 403


def test_who_changes_something_says_where_it_comes_from(ask):
    assert ask("/try/press", form={}, origin=None).status == 403
    assert ask("/try/press", form={}, origin=None, sec_fetch_site="same-origin").status == 200


def test_the_token_of_the_forms_is_asked_for(ask):
    assert ask("/try/press", form={}).status == 200
    assert ask("/try/press", form={}, x_token=None).status == 403
    assert ask("/try/press", form={}, x_token="0" * 64).status == 403
    token = re.search(r'name="token" content="(\w+)"', ask("/").text)[1]
    assert ask("/try/press", form={"token": token}, x_token=None).status == 200


def test_rights_include_the_lesser_ones(ask):
    assert ask("/try/see", right=Right.PRESS).status == 200
    assert ask("/try/press", form={}, right=Right.SEE).status == 403
    assert ask("/try/press", form={}, right=Right.PRESS).status == 200


def test_the_usual_headers_stand_on_every_answer(ask):
    for answer in (ask("/"), ask("/", right=None), ask("/nothing"), ask("/", host="x")):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"


def test_too_much_is_refused_whether_it_says_so_or_not(ask, served):
    assert ask("/try/press", form={"x": "y" * 100_000}).status == 413

    def pieces():
        for _ in range(40):
            yield b"x=" + b"y" * 4000

    kind = "application/x-www-form-urlencoded"
    sent = ask("/try/press", body=pieces(), content_type=kind)
    assert sent.status == 413


@pytest.mark.parametrize(
    ("body", "kind"),
    [(b"[1", "application/json"), (b"[]", "application/json"), (b"x", "text/plain"),
     (b"\xff\xfe--", "multipart/form-data"), (b"x", "multipart/form-data; boundary=y")],
)  # fmt: skip
def test_a_body_that_cannot_be_read_is_refused(ask, body, kind):
    assert 400 <= ask("/try/press", body=body, content_type=kind).status < 500


def test_a_refusal_is_a_sentence_and_a_fault_tells_nothing(ask, caplog):
    refused = ask("/try/refusal")
    assert refused.status == 400
    assert "The cards lie wrong: lay them again." in refused.text
    assert ask("/try/refusal", accept="application/json").json == {
        "said": "The cards lie wrong: lay them again."
    }
    fault = ask("/try/fault")
    assert fault.status == 500
    assert "ZeroDivisionError" not in fault.text
    assert "ZeroDivisionError" in caplog.text


def test_a_code_lets_one_device_in_once(ask, served):
    code = served.app.state.codes.offer(Right.PRESS)
    first = ask("/pair", form={"code": f"{code[:3]} {code[3:]}", "name": "tablet"}, right=None)
    assert first.status == 303
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert ask("/", right=None, cookie=cookie.partition(";")[0]).status == 200
    assert ask("/pair", form={"code": code, "name": "another"}, right=None).status == 403


def test_five_tries_a_minute_are_answered(ask):
    tries = [ask("/pair", form={"code": "x"}, right=None).status for _ in range(6)]
    assert tries == [403] * 5 + [429]


def test_a_device_that_is_forgotten_is_out(ask, served, workshop):
    kept = (workshop.data / "devices.json").read_text()
    secret = served.app.state.devices.add("phone", Right.SEE)
    assert secret not in (workshop.data / "devices.json").read_text() + kept
    device = served.app.state.devices.of(secret)
    assert ask("/", right=None, cookie=f"chalkbeam={secret}").status == 200
    assert ask(f"/devices/{device.id}/forget", form={}).status == 303
    assert ask("/", right=None, cookie=f"chalkbeam={secret}").status == 401
    assert Devices(workshop.data / "devices.json").of(secret) is None


def test_two_servers_share_the_devices(workshop):
    first, second = (Devices(workshop.data / "devices.json") for _ in range(2))
    phone, tablet = first.add("phone", Right.SEE), second.add("tablet", Right.PRESS)
    assert first.of(tablet).name == "tablet"
    second.forget(first.of(phone).id)
    assert first.of(phone) is None
    assert first.of(tablet) is not None


def test_codes_grow_old_and_wrong_guesses_void_them():
    now = [0.0]
    codes = Codes(lambda: now[0])
    code = codes.offer(Right.SEE)
    now[0] = CODE_LASTS
    assert codes.take(code, "a") is None
    code = codes.offer(Right.SEE)
    for guess in range(WRONG):
        assert codes.take("no", f"from {guess}") is None
    assert codes.take(code, "b") is None


def test_an_address_may_try_again_after_a_minute():
    now = [0.0]
    codes = Codes(lambda: now[0])
    code = codes.offer(Right.SEE)
    for _ in range(5):
        codes.take("no", "a")
    with pytest.raises(TooManyTriesError):
        codes.take(code, "a")
    now[0] = 61.0
    assert codes.take(code, "a") == (Right.SEE, "")


def test_files_of_the_pages_alone_are_served(ask):
    assert ask("/static/page.css", right=None).status == 200
    for name in ("..%2fserver.py", "%2e%2e/words.py", "__init__.py", "none"):
        assert ask(f"/static/{name}", right=None).status in (401, 404), name


def test_this_machine_comes_in_by_the_key_in_its_address(let_in, served):
    from playwright.sync_api import expect

    page = let_in(right=None)
    page.goto(served.key_address("This computer"))
    expect(page.get_by_role("link", name="Devices")).to_be_visible()
    assert [each.name for each in served.app.state.devices.listed()] == ["This computer"]


def test_a_phone_comes_in_by_the_code_shown_on_the_page(browser_page, let_in, served):
    from playwright.sync_api import expect

    browser_page.goto("/devices")
    browser_page.get_by_label("Work the press").check()
    browser_page.get_by_role("button", name="A code for another browser here").click()
    digits = browser_page.locator(".digits").inner_text()
    phone = let_in(right=None, size=(390, 844))
    phone.goto("/devices")
    phone.get_by_label("Code").fill(digits)
    phone.get_by_label("Name of this device").fill("Tablet at the press")
    phone.get_by_role("button", name="Let me in").click()
    phone.get_by_role("link", name="Devices").click()
    expect(phone.get_by_text("Tablet at the press")).to_be_visible()
    expect(phone.get_by_role("button")).to_have_count(0)


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_on_the_first_pages(let_in, scheme):
    page = let_in(scheme=scheme)
    for path in ("/", "/devices", "/pair", "/nothing"):
        page.goto(path)
        assert serious(page) == [], path
