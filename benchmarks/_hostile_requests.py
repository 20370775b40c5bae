"""Requests that no browser sends, to every door of the page; what answers them is counted."""

from __future__ import annotations

import json
import logging
import os
import random
import re
import socket
import tempfile
import time
from collections import Counter
from http import HTTPStatus
from importlib import resources
from pathlib import Path
from urllib.parse import quote, urlencode

from calibration.rig import library
from chalkbeam.web.doors import FORM, Right
from chalkbeam.web.orders.folders import About, make_order
from chalkbeam.web.orders.table import OrderTable
from chalkbeam.web.security import COOKIE, token_of
from chalkbeam.web.server import PageServer, doors
from chalkbeam.web.settings import WebSettings
from chalkbeam.web.setup.guide import GuideFile, SetupStep
from chalkbeam.web.workshop import Workshop
from tests.support.crew_order import write_pennant
from tests.support.rigs import demo_rig


class Faults(logging.Handler):
    """Collects whatever is logged as an error."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep what is logged."""
        self.said.append(self.format(record))


def hostile(count: int, seed: int = 7) -> None:
    """Send requests to a shop with an order and a press that is set up; print what became of them.

    Of four in ten the sender is paired, of half of these it knows the page: its doors, the names
    of their fields, its token. Then only the values are wild.
    """
    rng = random.Random(seed)
    faults = Faults()
    logging.getLogger().addHandler(faults)
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        os.environ["XDG_DATA_HOME"] = folder  # nothing of the user's own is touched
        furnished(data)
        server = PageServer(Workshop(data, data / "record.db", data / "orders"), WebSettings(0))
        server.start()
        port = server.settings.port
        secret = server.app.state.devices.add("tester", Right.SET_UP)
        open_paths = {"/pair", "/static/"}
        fields = names_of_fields()
        seen: Counter[str] = Counter()
        leaked: list[str] = []
        begun = time.perf_counter()
        for _ in range(count):
            paired = rng.random() < 0.4
            knows = paired and rng.random() < 0.5
            if knows:
                path, sent = by_one_who_knows(rng, port, secret, fields)
            else:
                path, sent = request(rng, port, secret if paired else "")
            status = answer_to(port, sent, whole=knows)
            who = "knowing" if knows else "paired" if paired else "stranger"
            seen[f"{who} {status}"] += 1
            if status >= 500 and status != HTTPStatus.SERVICE_UNAVAILABLE:
                leaked.append(f"{status} {path!r}")
            public = any(path.partition("?")[0].startswith(each) for each in open_paths)
            if not paired and not public and status not in (0, 400, 401, 403, 405, 413, 421, 431):
                leaked.append(f"{status} {path!r}")
        took = time.perf_counter() - begun
        alive = answer_to(port, b"GET / HTTP/1.1\r\nhost: 127.0.0.1:%d\r\n\r\n" % port)
        server.stop()
    print(f"{count} hostile requests in {took:.0f} s: {len(faults.said)} tracebacks or warnings, "
          f"{len(leaked)} answers to strangers beyond the pairing page, or failures; "
          f"alive after: {alive == 401}")  # fmt: skip
    print("  " + ", ".join(f"{name}: {each}" for name, each in sorted(seen.items())))
    for each in [*faults.said[:3], *leaked[:5]]:
        print("  !", each)


def furnished(data: Path) -> None:
    """Put an order and a press that is set up into a shop."""
    rig = demo_rig()
    library.keep(rig)
    rows = (("Crew tee", "M", "navy", "1", "left chest", "crest.png", "89 mm", *[""] * 4),)
    made = make_order(data / "orders", About(title="Rowing"), OrderTable(rows=rows))
    write_pennant(made.path / "crest.png")
    GuideFile(data / "setup").change(
        lambda now: now.at(
            SetupStep.DONE, platen="16x20in", platen_mm=(406.4, 508.0), display=1,
            size=(1920, 1080), rig=rig.name, throw=1.2,
        )
    )  # fmt: skip


def names_of_fields() -> list[str]:
    """Return the names of every field of the page's forms."""
    templates = resources.files("chalkbeam.web") / "templates"
    with resources.as_file(templates) as folder:
        text = "".join(each.read_text("utf-8") for each in sorted(folder.rglob("*.html")))
    return sorted({*re.findall(r'name="([\w-]+)"', text), "c-0-0", "c-0-6", "usual-1", "low-1"})


def by_one_who_knows(
    rng: random.Random, port: int, secret: str, fields: list[str]
) -> tuple[str, bytes]:
    """Return a request of a paired device that is right in all but its values."""
    door = rng.choice(doors())
    known = ["rowing", "left-chest", "crew_tee", "Tern Harbour press", "photo-1.jpg", "crest",
             "straight", "spoiled", *(each.value for each in SetupStep)]  # fmt: skip
    path = re.sub(
        r"\{.*?\}", lambda _: quote(rng.choice([*known, junk(rng, 8)]), safe=""), door.path
    )
    values = ["", "0", "1", "-1", "1e9", "nan", "16x20in", "left chest", "on", "#12", "off", "\0",
              "9" * 400, "crew tee", "../../x", "straight", "a4"]  # fmt: skip
    given = {
        name: rng.choice([*values, junk(rng, 40)]) for name in rng.sample(fields, rng.randrange(8))
    }
    here = f"127.0.0.1:{port}"
    method = door.methods[0]
    kind, body = "application/x-www-form-urlencoded", urlencode(given, errors="replace").encode()
    if method == "GET":
        path, body = f"{path}?{body.decode()}", b""
    elif door.path == "/press/tap":
        kind = "application/json"
        body = json.dumps({"id": "0123456789ab", "button": rng.choice(["on", "piece", 7]),
                           "seen": "x", "text": junk(rng, 9)}).encode()  # fmt: skip
    elif door.most > FORM:
        kind = "multipart/form-data; boundary=b"
        heads = (
            f'--b\r\nContent-Disposition: form-data; name="{name}"; '
            f'filename="{junk(rng, 5)}.csv"\r\n\r\n'
            for name in ["files", "photos", "chart", *given]
        )
        body = b"".join(
            head.encode("utf-8", "replace") + rng.randbytes(rng.randrange(300)) + b"\r\n"
            for head in heads
        )
        body += b"--b--\r\n"
    lines = [f"{method} {path} HTTP/1.1", f"host: {here}", f"origin: http://{here}",
             f"cookie: {COOKIE}={secret}", f"x-token: {token_of(secret)}",
             f"content-type: {kind}", f"content-length: {len(body)}", "connection: close",
             "accept: text/html"]  # fmt: skip
    return path, ("\r\n".join(lines) + "\r\n\r\n").encode("utf-8", "replace") + body


def request(rng: random.Random, port: int, secret: str) -> tuple[str, bytes]:
    """Return the path and the bytes of a request that no browser sends."""
    known = [re.sub(r"\{.*?\}", lambda _: junk(rng, 6), door.path) for door in doors()]
    path = rng.choice([
        *known, *known, "/" + junk(rng, 30), "/%2e%2e/%2e%2e/etc/passwd", "/static/../server.py",
        "//evil.example/", "/pair?code=" + junk(rng, 10), "/\x00", "/" + "a" * 3000, "*",
        "/press/art/..%2f",
        "http://evil.example/", "/devices/%ff%fe/forget",
    ])  # fmt: skip
    method = rng.choice(["GET", "POST", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "BREW", "get"])
    kind, body = rng.choice([
        ("application/x-www-form-urlencoded", junk(rng, 200).encode("utf-8", "surrogatepass")),
        ("application/x-www-form-urlencoded", b"code=" + bytes(rng.randbytes(40)) + b"&token=x"),
        ("application/json", b'{"id":' + b"[" * rng.randrange(3000)),
        ("application/json", json.dumps({"id": junk(rng, 9), "button": rng.choice(["on", 1, None]),
                                         "seen": junk(rng, 5)}).encode("utf-8", "surrogatepass")),
        ("multipart/form-data; boundary=b", b"--b\r\nContent-Disposition: form-data; name=\"f\"; "
         b"filename=\"../../x\"\r\n\r\n" + rng.randbytes(300) + b"\r\n--b--\r\n"),
        ("multipart/form-data; boundary=b", rng.randbytes(500)),
        ("multipart/form-data", b"--b"),
        ("text/xml", b"<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><x>&e;</x>"),
        ("", b"x" * rng.choice([0, 10, 70_000, 300_000])),
    ])  # fmt: skip
    here = f"127.0.0.1:{port}"
    host = rng.choice([here] * 6 + ["evil.example", "", "127.0.0.1", f"{here}.evil.example"])
    origin = rng.choice([f"http://{here}"] * 4 + ["http://evil.example", "null", "", None])
    cookie = f"{COOKIE}={secret}" if secret else f"{COOKIE}={junk(rng, 43)}"
    length = rng.choice([len(body)] * 6 + [len(body) + 5, 10**12, -1, "x"])
    lines = [f"{method} {path} HTTP/1.1", f"host: {host}", f"cookie: {cookie}",
             f"content-type: {kind}", f"content-length: {length}", "connection: close",
             f"x-token: {token_of(secret) if secret and rng.random() < 0.7 else junk(rng, 20)}",
             f"accept: {rng.choice(['text/html', '*/*', ''])}"]  # fmt: skip
    if origin is not None:
        lines.append(f"origin: {origin}")
    if rng.random() < 0.05:
        lines.append("transfer-encoding: chunked")
    if rng.random() < 0.03:
        lines.append(f"x-long: {'y' * 40_000}")
    head = "\r\n".join(lines) + "\r\n\r\n"
    return path, head.encode("utf-8", "surrogatepass") + body


def junk(rng: random.Random, most: int) -> str:
    letters = "abc019./\\%&=;'\"<>{}$ \t_-~äß…\u202e\U0001f454"
    return "".join(rng.choice(letters) for _ in range(rng.randrange(most + 1)))


def answer_to(port: int, sent: bytes, whole: bool = False) -> int:
    """Return the status of the answer; 0 if the connection was just closed.

    A request that is not `whole` ends in the middle: nothing more comes after it.
    """
    with socket.create_connection(("127.0.0.1", port), timeout=120 if whole else 10) as made:
        try:
            made.sendall(sent)
            if not whole:
                made.shutdown(socket.SHUT_WR)
            got = made.recv(64)
        except OSError:
            return 0
    found = re.match(rb"HTTP/1\.1 (\d+)", got)
    return int(found[1]) if found else 0
