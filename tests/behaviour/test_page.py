"""The local page without a browser: who is let in, what the forms answer, what is printed when it starts and stops."""

from __future__ import annotations

import asyncio
import html
import re
import signal
import socket
import string
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from lasersafe.data import load_toml, templates_path
from lasersafe.page.app import HEADERS, LARGEST, Site
from lasersafe.page.forms import EXAMPLE, LANGUAGES, THINGS
from lasersafe.page.worker import Worker
from lasersafe.wording import read_texts
from tests.behaviour.command import run
from tests.project import ROOT

PORT, TOKEN = 8642, "a-token-of-the-tests"
HOME = f"http://127.0.0.1:{PORT}"
BEAM = {"wavelength": "450 nm", "emission": "steady", "power": "5 W", "beam_diameter": "4 mm", "criterion": "1/e2"}


@pytest.fixture(scope="module")
def site() -> Iterator[TestClient]:
    with TestClient(Site(PORT, TOKEN).guarded, base_url=HOME, raise_server_exceptions=False) as client:
        assert client.get(f"/?token={TOKEN}").status_code == 200
        yield client


def stranger() -> TestClient:
    return TestClient(Site(PORT, TOKEN).guarded, base_url=HOME)


def text_of(page: str) -> str:
    """Return what a page says, without its elements."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


# ---------------------------------------------------------------------------------------------------------------------
# Who is let in


def test_the_token_of_the_address_goes_into_a_cookie_that_scripts_and_other_sites_do_not_see() -> None:
    answer = stranger().get(f"/?token={TOKEN}", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert answer.headers["set-cookie"] == f"lasersafe-{PORT}={TOKEN}; HttpOnly; SameSite=Strict; Path=/"


@pytest.mark.parametrize("path", ["/", "/glasses", "/static/page.css", "/nothing", "/?token=another"])
def test_nobody_is_let_in_without_the_token(path: str) -> None:
    answer = stranger().get(path)
    assert answer.status_code == 403
    assert "the address that the terminal shows" in answer.text


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", f"127.0.0.1:{PORT + 1}", f"evil.example:{PORT}", ""])
def test_another_host_is_refused(site: TestClient, host: str) -> None:
    assert site.get("/glasses", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["https://evil.example", "null", f"http://127.0.0.1:{PORT + 1}", f"https://127.0.0.1:{PORT}"]
)
def test_a_form_of_another_page_is_refused(site: TestClient, origin: str) -> None:
    assert site.post("/glasses", data=BEAM, headers={"origin": origin}).status_code == 403


def test_a_form_that_the_browser_calls_foreign_is_refused(site: TestClient) -> None:
    assert site.post("/glasses", data=BEAM, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    headers = {"sec-fetch-site": "same-origin", "origin": HOME}
    assert site.post("/glasses", data=BEAM, headers=headers).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_other_methods_are_refused(site: TestClient, method: str) -> None:
    assert site.request(method, "/glasses").status_code == 405


def test_more_than_is_taken_is_refused_whatever_its_length_was_said_to_be(site: TestClient) -> None:
    large = b"pairs=" + b"x" * (LARGEST + 50_000)
    assert site.post("/glasses", content=large).status_code == 413

    def parts() -> Iterator[bytes]:  # sent in pieces: without a length
        for start in range(0, len(large), 65_536):
            yield large[start : start + 65_536]

    assert site.post("/glasses", content=parts()).status_code == 413
    assert site.post("/glasses", content=b"pairs=", headers={"content-length": "9" * 30}).status_code == 413


@pytest.mark.parametrize(
    "path", ["/", "/glasses", "/static/page.css", "/nothing", "/static/../app.py", "/static/%2e%2e/app.py"]
)
def test_every_answer_carries_the_policy_and_no_file_beside_the_own_ones_is_sent(site: TestClient, path: str) -> None:
    answer = site.get(path)
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    assert "script-src 'self'" in HEADERS["content-security-policy"]
    assert answer.status_code == (404 if ".." in path or "%2e" in path or path == "/nothing" else 200)


def test_the_templates_load_nothing_from_elsewhere_and_have_no_script_or_style_inside() -> None:
    for path in (ROOT / "lasersafe/page/html").glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"https?:|//[a-z]|\sstyle=|\son[a-z]+=|<style|<script(?! src=\"/static/)", text), path


# ---------------------------------------------------------------------------------------------------------------------
# What the wording says


@pytest.mark.parametrize("language", LANGUAGES)
def test_all_that_the_page_says_stands_in_every_language(language: str) -> None:
    every = {
        name: read_texts(name, "page.toml", load_toml(templates_path("wording", name, "page.toml")))
        for name in ("en", language)
    }
    assert list(every[language]) == list(every["en"])
    for key, english in every["en"].items():
        assert {n for _, n, _, _ in string.Formatter().parse(every[language][key]) if n} == {
            n for _, n, _, _ in string.Formatter().parse(english) if n
        }, key


def test_every_text_of_the_page_is_used_and_every_key_that_is_used_is_there() -> None:
    keys = set(read_texts("en", "page.toml", load_toml(templates_path("wording", "en", "page.toml"))))
    files = [*(ROOT / "lasersafe/page").glob("*.py"), *(ROOT / "lasersafe/page/html").glob("*.html")]
    files += (ROOT / "lasersafe/page/static").glob("*.js")
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    used = set(re.findall(r"""["']([a-z_]+\.[a-z0-9_]+)["']""", text)) & {k for k in keys} | set(
        re.findall(r"""say\(["']([a-z_]+\.[a-zA-Z0-9_]+)["'][,)]""", text)
    )
    assert used - keys == set()
    built = [re.escape(start) + r".+" for start in re.findall(r"""["'f]"?([a-z_]+\.[a-z_]*)(?:["'] ~|\{)""", text)]
    built += [rf"{group}\..+" for group in re.findall(r"""options\("([a-z_]+)"\)""", text)]
    labels = {f"{kind}.{key}" for kind, (fields, _) in THINGS.items() for key in (*fields, "title", "hint", "add")}
    assert labels - keys == set(), "each field of a thing has a label"
    labels |= {f"{key}_hint" for key in labels} | {f"refused.{one}" for one in re.findall(r'"([a-z_]+)"', text)}
    left = {key for key in keys - used - labels if not any(re.fullmatch(one, key) for one in built)}
    assert left == set()


# ---------------------------------------------------------------------------------------------------------------------
# Glasses


def test_the_glasses_page_gives_the_numbers_of_the_command_line(site: TestClient) -> None:
    told = run(
        "eyewear", "--wavelength", "450 nm", "--power", "5 W", "--continuous", "--beam-diameter", "4 mm",
        "--criterion", "1/e2", "--wearing", "OD 4 @ 450", "--json",
    ).data  # fmt: skip
    page = text_of(site.post("/glasses", data={**BEAM, "pairs": "OD 4 @ 450\n450 D LB7"}).text)
    assert f"Order: {told['marking']}" in page
    assert f"Optical density, at least {told['optical_density']:.1f}" in page
    assert f"Scale numbers of EN 207 D LB{told['scale_numbers']['D']}" in page
    assert f"OD 4 @ 450 : {told['wearing'][0]['verdict']} – do not rely on it" in page
    assert "450 D LB7 : enough" in page
    assert told["caution"] in page
    assert "Not signed" in page


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"wavelength": ""}, "Nothing is written here; write it as '450 nm'."),
        ({"emission": "pulsed", "power": ""}, "Write the mean power here, or the energy of one pulse below."),
        ({"emission": "single"}, "Nothing is written here; write it as '1 mJ'."),
        ({"wavelength": "blue"}, "'blue' is not understood"),
        ({"wavelength": "450"}, "'450' has no unit"),
        ({"wavelength": "450 W"}, "'450 W' is not understood"),
        ({"power": "-5 W"}, "'-5 W' is too small"),
        ({"power": "0 W"}, "'0 W' is too small"),
        ({"power": "2 MW"}, "'2 MW' is too large"),
        ({"power": "5"}, "'5' has no unit"),
        ({"power": "1,000.5 W"}, "'1,000.5 W' is not understood"),
        ({"emission": ""}, "Say whether the light is steady or pulsed"),
        ({"emission": "sideways"}, "Choose one of the answers."),
        ({"beam_diameter": "wide"}, "'wide' is not understood"),
        ({"criterion": "1/e9"}, "Choose one of the answers."),
        ({"emission": "pulsed"}, "Nothing is written here; write it as '10 ns'."),
        ({"pairs": "CE\n" * 13}, "At most 12 pairs at once."),
    ],
)
def test_wrong_input_is_named_at_its_field(site: TestClient, change: dict[str, str], said: str) -> None:
    answer = site.post("/glasses", data={**BEAM, **change})
    assert answer.status_code == 200
    assert said in text_of(answer.text)
    assert 'aria-invalid="true"' in answer.text or "emission" in change or "pairs" in change
    assert "Order:" not in answer.text


def test_a_decimal_comma_is_one(site: TestClient) -> None:
    pages = [text_of(site.post("/glasses", data={**BEAM, "power": typed}).text) for typed in ("4.5 W", "4,5 W")]
    assert "Order:" in pages[0]
    assert pages[0].replace("4.5 W", "") == pages[1].replace("4,5 W", "")


@pytest.mark.parametrize(("language", "typed"), [("en", "1,500 W"), ("de", "1,500 W"), ("de", "1.500 W")])
def test_what_could_be_a_thousand_is_a_fault(site: TestClient, language: str, typed: str) -> None:
    page = text_of(site.post("/glasses", data={**BEAM, "power": typed}, params={"language": language}).text)
    if language == "de":
        page = text_of(site.post("/glasses", data={**BEAM, "power": typed}, headers={"accept-language": "de"}).text)
    assert "Order:" not in page
    assert "thousand" in page or "Tausender" in page


def test_a_width_that_is_not_known_never_asks_for_less_and_is_said(site: TestClient) -> None:
    known = text_of(site.post("/glasses", data=BEAM).text)
    unknown = text_of(site.post("/glasses", data={**BEAM, "width_unknown": "yes"}).text)
    density = re.compile(r"Optical density, at least ([0-9.]+)")
    found = [float(density.search(page)[1]) for page in (known, unknown)]  # type: ignore[index]
    assert found[1] >= found[0]
    assert "Assumed, because it was not stated" in unknown
    assert "Assumed" not in known


def test_a_colour_alone_asks_for_all_its_wavelengths(site: TestClient) -> None:
    form = {
        **BEAM,
        "wavelength": "",
        "colour": "blue",
        "pairs": "430-500 D LB7\n450 D LB8\n430-464 D LB8; 466-500 D LB8",
    }
    page = text_of(site.post("/glasses", data=form).text)
    order = re.search(r"Order: 430-500 D LB(\d+)", page)
    assert order is not None
    assert "430-500 D LB7 : enough" in page
    assert "450 D LB8 : wrong wavelength" in page
    assert "430-464 D LB8; 466-500 D LB8 : wrong wavelength" in page  # the gap lies between two whole tens
    assert "anything from 430 nm to 500 nm" in page
    for nm in range(430, 501, 5):  # never less than what one of them asks for, also between those that are tried
        told = run(
            "eyewear", "--wavelength", f"{nm} nm", "--power", "5 W", "--continuous", "--beam-diameter", "4 mm",
            "--criterion", "1/e2", "--wearing", f"430-500 D LB{order[1]}", "--json",
        ).data  # fmt: skip
        assert told["wearing"][0]["enough"], nm
        assert told["optical_density"] <= float(re.search(r"density, at least ([0-9.]+)", page)[1])  # type: ignore[index]
    assert "Choose one of the answers." in text_of(site.post("/glasses", data={**BEAM, "colour": "pink"}).text)


def test_of_a_range_of_pulses_the_worst_point_counts(site: TestClient) -> None:
    # 1 mJ in 2 ns to 350 ns at 20 kHz to 100 kHz: letters I and R do not both occur, but R and D do, and the shortest
    # pulse and the lowest rate alone never ask for more than the range.
    form = {
        "wavelength": "1064 nm", "emission": "pulsed", "pulse_energy": "1 mJ", "pulse_duration_from": "2 ns",
        "pulse_duration_to": "350 ns", "repetition_rate_from": "20 kHz", "repetition_rate_to": "100 kHz",
        "beam_diameter": "7 mm", "criterion": "1/e2",
    }  # fmt: skip
    wide = text_of(site.post("/glasses", data=form).text)
    for length in ("2 ns", "350 ns"):
        for rate in ("20 kHz", "100 kHz"):
            one = {**form, "pulse_duration_from": length, "repetition_rate_from": rate}
            one |= {"pulse_duration_to": "", "repetition_rate_to": ""}
            page = text_of(site.post("/glasses", data=one).text)
            density = re.compile(r"Optical density, at least ([0-9.]+)")
            assert float(density.search(wide)[1]) >= float(density.search(page)[1])  # type: ignore[index]
            numbers = [
                dict(re.findall(r"\b([DIRM]) LB(\d+)", text.partition("Scale numbers")[2][:60]))
                for text in (wide, page)
            ]
            assert all(int(numbers[0][letter]) >= int(number) for letter, number in numbers[1].items())


def test_kilowatts_say_that_no_glasses_can_be_relied_on(site: TestClient) -> None:
    page = text_of(site.post("/glasses", data={**BEAM, "wavelength": "1070 nm", "power": "1.5 kW"}).text)
    assert "No glasses can be relied on." in page
    assert "Order:" not in page


def test_names_are_escaped(site: TestClient) -> None:
    bad = '<script>alert("x")</script>'
    answer = site.post("/glasses", data={**BEAM, "pairs": bad, "power": bad})
    assert "<script>alert" not in answer.text
    answer = site.post("/glasses", data={**BEAM, "pairs": bad})
    assert "<script>alert" not in answer.text
    assert "no protection" in answer.text


def test_german_is_complete(site: TestClient) -> None:
    chosen = site.get("/glasses?language=de", follow_redirects=False)
    case = text_of(site.post("/case", data={"text": starter("visible-diode")}, files={"file": ("", b"")}).text)
    assert "Urteil" in case
    assert {"verdict", "wear", "guests", "below", "limit"} & set(
        re.findall(r"[A-Za-z]+", case.partition("Falldatei")[0])
    ) == set()
    assert (chosen.status_code, chosen.headers["location"]) == (303, "/glasses")
    page = text_of(site.get("/glasses").text)
    site.cookies.delete("lasersafe-language")
    assert "Wellenlänge" in page
    words = set(re.findall(r"[A-Za-z]+", page))
    assert words & {"the", "and", "which", "of", "beam", "wavelength", "glasses", "power", "not"} == set()


# ---------------------------------------------------------------------------------------------------------------------
# Case


def stands_in(page: str, told: str) -> None:
    """A page says each line of a short answer; what is cut there, or left out for want of lines, is whole here."""
    for line in told.splitlines()[1:]:
        words = " ".join(line.split())
        for part in [] if words.endswith(": see --all") else words.split("..."):
            assert part.strip(" ,;") in page, line


def starter(name: str) -> str:
    return templates_path("cases", f"{name}.toml").read_text(encoding="utf-8")


def test_a_case_is_opened_with_the_answer_of_the_command_line(site: TestClient, tmp_path: Path) -> None:
    path = tmp_path / "diode.toml"
    path.write_text(starter("visible-diode"), encoding="utf-8")
    told = run("assess", path)
    page = text_of(site.post("/case", files={"file": ("diode.toml", path.read_bytes())}).text)
    assert "the worst way that is not struck out" not in page, "all are: a table stood there without a row"
    stands_in(page, told.out)
    data = run("assess", path, "--json").data
    assert data["fingerprint"] in page
    assert "Signing is done on the command line" in page
    assert "<svg" in site.post("/case", data={"text": starter("visible-diode")}, files={"file": ("", b"")}).text


def test_the_sheet_of_a_case_is_the_one_of_the_command_line(site: TestClient, tmp_path: Path) -> None:
    path = tmp_path / "diode.toml"
    path.write_text(starter("visible-diode"), encoding="utf-8")
    form = {"text": starter("visible-diode"), "name": "diode.toml"}
    assert run("sheet", path, "-o", tmp_path / "own.pdf").code == 0
    sent = site.post("/case/sheet", data=form, files={"file": ("", b"")})
    assert sent.headers["content-disposition"] == 'attachment; filename="sheet.pdf"'
    assert sent.content == (tmp_path / "own.pdf").read_bytes()
    annex = site.post("/case/annex", data=form, files={"file": ("", b"")})
    assert annex.headers["content-disposition"] == 'attachment; filename="sheet-annex.pdf"'
    assert annex.content == (tmp_path / "own-annex.pdf").read_bytes()
    (tmp_path / "sheet.pdf").write_bytes(sent.content)
    (tmp_path / "sheet-annex.pdf").write_bytes(annex.content)
    assert run("verify", tmp_path / "sheet.pdf").code == 10  # both are there and intact, and nobody has signed
    assert run("plan", path, "-o", tmp_path / "own.svg").code == 0
    plan = site.post("/case/plan", data=form, files={"file": ("", b"")})
    drawn = re.compile(r"<path.*")
    assert drawn.findall(plan.text) == drawn.findall((tmp_path / "own.svg").read_text(encoding="utf-8"))
    assert site.post("/case/register", data=form, files={"file": ("", b"")}).status_code == 404


def test_the_faults_of_a_case_stand_with_their_lines(site: TestClient) -> None:
    text = starter("visible-diode").replace('wavelength = "', 'wavelength = "much ')
    page = site.post("/case", files={"file": ("bad.toml", text.encode())}).text
    number = next(n for n, line in enumerate(text.splitlines(), 1) if "much" in line)
    assert re.search(rf"<td>{number}</td><td><code>laser\[1\]\.wavelength</code></td>", page)
    assert "bad.toml: faults:" in page
    assert "much" in text_of(page)


@pytest.mark.parametrize(
    "content",
    [b"\xff\xfe\x00", b"[", b"", b"\x00" * 50, b"title = '<script>alert(1)</script>'", b"a = " + b"[" * 5000],
)
def test_what_is_no_case_is_refused_in_words(site: TestClient, content: bytes) -> None:
    answer = site.post("/case", files={"file": ("<b>.toml", content)})
    assert answer.status_code == 200
    assert "<script>alert" not in answer.text
    assert "<b>.toml" not in answer.text
    assert "faults" in answer.text


def test_an_upload_of_more_than_a_megabyte_is_refused(site: TestClient) -> None:
    for size in (LARGEST + 1, LARGEST + 500_000):
        assert site.post("/case", files={"file": ("a.toml", b"#" * size)}).status_code == 413


@pytest.mark.parametrize("name", ["../../../etc/passwd", "C:\\autoexec.bat", "a\nb.toml", "x" * 500 + ".toml"])
def test_the_name_of_an_upload_is_no_path(site: TestClient, name: str) -> None:
    page = site.post("/case", files={"file": (name, b"[")}).text
    shown = re.search(r'name="name" value="([^"]*)"', page)[1]  # type: ignore[index]
    assert len(shown) <= 80
    assert not set(shown) & {"/", "\\", "\n"}


@pytest.mark.parametrize("content", [b"", b"--x", b"--x\r\nContent-Disposition: form-data\r\n\r\n", b"\x00" * 100])
def test_a_form_that_cannot_be_read_is_refused(site: TestClient, content: bytes) -> None:
    answer = site.post("/case", content=content, headers={"content-type": "multipart/form-data; boundary=x"})
    assert answer.status_code in (200, 400)
    assert site.post("/case", content=content, headers={"content-type": "multipart/form-data"}).status_code == 400


# ---------------------------------------------------------------------------------------------------------------------
# The worker process


def test_a_job_that_takes_too_long_is_ended_and_the_next_one_works() -> None:
    with TestClient(Site(PORT, TOKEN, 0.01).guarded, base_url=HOME) as client:
        client.get(f"/?token={TOKEN}")
        assert "took longer than 0.01 s" in client.post("/glasses", data=BEAM).text
        assert "took longer than 0.01 s" in client.post("/glasses", data=BEAM).text


def test_a_worker_that_was_killed_is_started_again() -> None:
    site = Site(PORT, TOKEN)
    with TestClient(site.guarded, base_url=HOME) as client:
        client.get(f"/?token={TOKEN}")
        first = text_of(client.post("/glasses", data=BEAM).text)
        (worker, *_) = site.workers
        assert worker.process is not None
        worker.process.kill()
        assert text_of(client.post("/glasses", data=BEAM).text) == first


def test_work_that_nobody_waits_for_is_left_and_its_process_stays_warm() -> None:
    """Two lasers of unknown optics take seconds; the tones of a room without a laser are its faults, at once."""
    long = EXAMPLE | {f"laser2.{key}": EXAMPLE[f"laser1.{key}"] for key in ("power", "x", "y", "height")}
    long |= {"laser2.like": "hand-held welder", "laser2.aim_x": "1", "laser2.aim_y": "1"}

    async def ask() -> None:
        worker = Worker()
        assert (await worker.ask({"do": "tones", "form": {}, "language": "en"})).keys() == {"faults"}
        process = worker.process
        asked = asyncio.create_task(worker.ask({"do": "room", "form": long, "language": "en"}))
        await asyncio.sleep(0.3)
        asked.cancel()
        assert (await worker.ask({"do": "tones", "form": {}, "language": "en"})).keys() == {"faults"}
        with pytest.raises(asyncio.CancelledError):
            await asked
        if hasattr(signal, "SIGUSR1"):
            assert worker.process is process
        await worker.end()

    asyncio.run(ask())


def test_a_program_that_was_updated_while_its_page_is_open_asks_to_be_started_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with TestClient(Site(PORT, TOKEN).guarded, base_url=HOME) as client:
        client.get(f"/?token={TOKEN}")
        monkeypatch.setattr("lasersafe.page.app.newest_file", lambda: time.time_ns() + 10**12)
        answer = client.post("/glasses", data=BEAM)
        assert answer.status_code == 503
        assert "was updated while this page was open" in answer.text
        assert client.get("/glasses").status_code == 200


def test_a_long_answer_does_not_hold_up_a_drag() -> None:
    site = Site(PORT, TOKEN)

    async def ask() -> None:
        await site.workers[0].one_at_a_time.acquire()  # busy for as long as it takes
        await site.workers[1].one_at_a_time.acquire()
        assert (await site.live.ask({"do": "tones", "form": {}, "language": "en"})).keys() == {"faults"}
        await site.live.end()

    asyncio.run(ask())


# ---------------------------------------------------------------------------------------------------------------------
# Start and stop


def started(*words: str) -> tuple[subprocess.Popen[str], str, list[str]]:
    """Return the running command, the address that it printed, and the lines before it."""
    code = "import signal; signal.signal(2, signal.default_int_handler); from lasersafe.cli import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", code, "page", "--no-browser", *words],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    lines: list[str] = []
    assert process.stdout is not None
    for line in process.stdout:
        if "http://" in line:
            return process, line.split()[-1], lines
        lines.append(line.strip())
    raise AssertionError(lines)


def test_it_starts_on_this_computer_alone_takes_the_next_free_port_and_stops_cleanly() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        process, address, lines = started("--port", str(port))
        try:
            assert lines == [f"port {port} is in use; the page takes {re.search(r':([0-9]+)/', address)[1]}"]  # type: ignore[index]
            assert re.fullmatch(r"http://127\.0\.0\.1:[0-9]+/\?token=[A-Za-z0-9_-]{32}", address)
            for _ in range(100):
                try:
                    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
                    page = opener.open(address, timeout=5).read().decode()
                    break
                except OSError:
                    time.sleep(0.05)
            assert "What do you want to know?" in page
        finally:
            process.send_signal(signal.SIGINT)
            rest, _ = process.communicate(timeout=20)
    assert process.returncode == 0
    assert rest.splitlines()[-1] == "the page is closed"
    assert "Traceback" not in rest


def test_a_port_or_a_language_that_there_is_not_is_refused_in_one_line() -> None:
    assert run("page", "--port", "80").err == "error: port = 80: allowed is 1024 to 65535\n"
    assert run("page", "--language", "fr").err == "error: language = 'fr': there is en and de\n"


def test_the_server_itself_loads_nothing_that_computes() -> None:
    code = "import sys; from lasersafe.page.app import Site; Site(8642, 'x'); print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    heavy = {"numpy", "pydantic", "shapely", "reportlab", "PIL", "lasersafe.results", "pint"}
    assert set(result.stdout.split()) & heavy == set()
