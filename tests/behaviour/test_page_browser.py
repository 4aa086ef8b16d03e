"""The page in a real Chromium: dragging, prints, both languages, without scripts, two tabs, a restart, accessibility.

Left out, and said to be, where Chromium, Playwright or axe-core is missing: ``make browser`` installs them.
"""

from __future__ import annotations

import contextlib
import re
import shutil
import signal
import subprocess
import time
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.behaviour.test_page import BEAM, started, starter
from tests.behaviour.test_page_rooms import BOOTH
from tests.project import ROOT

playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed; 'make browser' does it")
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
AXE = ROOT / "out/npm/node_modules/axe-core/axe.min.js"
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed; 'make browser' does it")
DESKTOP, PHONE = {"width": 1280, "height": 900}, {"width": 360, "height": 740}


class Served:
    """A running page."""

    def __init__(self, *words: str) -> None:
        self.process, self.address, _ = started(*words)
        self.home = self.address.rpartition("/")[0]

    def stop(self) -> str:
        self.process.send_signal(signal.SIGINT)
        return self.process.communicate(timeout=20)[0]


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    found = Served()
    yield found
    assert found.stop().strip().endswith("the page is closed"), "and nothing was complained of"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started_playwright:
        found = started_playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def tab(browser: Any, served: Served) -> Iterator[Any]:
    """A tab that was let in; anything that it complains of fails the test."""
    context = browser.new_context(viewport=DESKTOP)
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(served.address)
    yield page
    context.close()
    assert complaints == []


def named(id: str) -> str:
    return "#" + id.replace(".", "\\.")


def state(page: Any) -> dict[str, str]:
    found: dict[str, str] = page.evaluate("() => ({...document.getElementById('plan').dataset})")
    return found


def settled(page: Any) -> None:
    """Wait until the answer to what the form says now is there."""
    end = time.monotonic() + 60
    while state(page).get("asked") != state(page).get("full") or state(page)["state"] == "asked":
        assert time.monotonic() < end, state(page)
        time.sleep(0.03)


def sent(page: Any, button: str = "button[type=submit]") -> None:
    """Press a button that sends the form, and wait until the answer is there with its style sheet."""
    with page.expect_navigation(wait_until="load", timeout=120_000):
        page.click(button)


def fill(page: Any, form: dict[str, str]) -> None:
    for name, text in form.items():
        one = page.locator(f'[name="{name}"]').first
        if one.get_attribute("type") == "radio":
            page.check(f'[name="{name}"][value="{text}"]')
        elif one.get_attribute("type") == "checkbox":
            one.check()
        elif one.evaluate("one => one.tagName") == "SELECT":
            one.select_option(text)
        else:
            one.fill(text)


def room(page: Any, served: Served) -> None:
    page.goto(f"{served.home}/room")
    settled(page)


def middle(page: Any, id: str) -> tuple[float, float]:
    box = page.locator(f"{named(id)} .symbol > :is(rect, circle, path):not(.mark)").first.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def released(page: Any, held: list[Any]) -> None:
    """Let requests go on that a route held."""
    for one in held:
        with contextlib.suppress(playwright.Error):  # the page gave it up
            one.continue_()
    page.unroute_all()


def place(page: Any, thing: str) -> tuple[float, float]:
    return float(page.input_value(named(f"{thing}.x"))), float(page.input_value(named(f"{thing}.y")))


# ---------------------------------------------------------------------------------------------------------------------
# Dragging


def test_a_laser_is_dragged_by_mouse_and_the_room_is_dark_until_the_answer_is_there(tab: Any, served: Served) -> None:
    room(tab, served)
    x, y = middle(tab, "laser1.at")
    before = place(tab, "laser1")
    scale = tab.evaluate("() => document.getElementById('plan').getScreenCTM().a * 100")
    held: list[Any] = []
    tab.route("**/room/live", lambda route: held.append(route))  # the full answer waits
    tab.mouse.move(x, y)
    tab.mouse.down()
    tab.mouse.move(x - 2 * scale, y + scale, steps=8)
    tab.mouse.up()
    end = time.monotonic() + 20
    while state(tab).get("coarse") != state(tab)["asked"]:
        assert time.monotonic() < end
        tab.wait_for_timeout(30)
    fills = tab.evaluate("() => [...document.querySelectorAll('#tones path')].map(one => one.getAttribute('fill'))")
    assert fills == ["url(#open)"]
    assert state(tab)["state"] == "open"
    released(tab, held)
    after = place(tab, "laser1")
    assert after == pytest.approx((before[0] - 2.0, before[1] - 1.0), abs=0.06)
    settled(tab)
    assert state(tab)["state"] == "proven"
    assert tab.locator("#laser1\\.beam").get_attribute("x1") == pytest.approx(f"{after[0] * 100:g}")


def test_no_thing_is_drawn_where_its_light_is_not_known(tab: Any, served: Served) -> None:
    room(tab, served)
    before = tab.get_attribute(named("laser1.at"), "transform")
    held: list[Any] = []
    tab.route(re.compile("/room/(coarse|live)"), lambda route: held.append(route))
    tab.focus(named("laser1.at"))
    for _ in range(6):
        tab.keyboard.press("ArrowRight")
        at = tab.get_attribute(named("laser1.at"), "transform")
        shown = tab.evaluate("() => document.querySelector('#tones').innerHTML")
        assert at == before or (shown.count("<path") == 1 and "url(#open)" in shown)
        tab.wait_for_timeout(100)
    released(tab, held)
    settled(tab)
    assert tab.get_attribute(named("laser1.at"), "transform") == "translate(960 250)"
    assert tab.locator(".ghost").count() == 0


def test_people_are_dragged_by_keyboard_and_the_tones_stay(tab: Any, served: Served) -> None:
    room(tab, served)
    tones = tab.locator("#tones").inner_html()
    tab.focus(named("person2.at"))
    for key in ("ArrowUp", "ArrowRight", "Shift+ArrowLeft", "ArrowDown"):
        tab.keyboard.press(key)
    assert place(tab, "person2") == pytest.approx((4.0 + 0.1 - 0.5, 2.0))
    settled(tab)
    assert tab.locator("#tones").inner_html() == tones
    for _ in range(20):  # never out of the room
        tab.keyboard.press("Shift+ArrowRight")
    assert place(tab, "person2")[0] == 12.0
    settled(tab)


def test_a_camera_is_dragged_by_touch(browser: Any, served: Served) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(served.address)
    room(page, served)
    page.locator(named("camera1.at")).scroll_into_view_if_needed()
    x, y = middle(page, "camera1.at")
    before = place(page, "camera1")
    touch = context.new_cdp_session(page)
    for kind, dx in (("touchStart", 0), ("touchMove", 10), ("touchMove", 30), ("touchEnd", None)):
        points = [] if dx is None else [{"x": x + dx, "y": y}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert place(page, "camera1")[0] > before[0] + 0.3
    assert place(page, "camera1")[1] == pytest.approx(before[1], abs=0.06)
    context.close()


def test_typed_places_move_things_on_the_plan(tab: Any, served: Served) -> None:
    room(tab, served)
    tab.fill(named("person2.x"), "6,5")
    assert tab.locator(named("person2.at")).get_attribute("transform") == "translate(650 700)"
    settled(tab)
    tab.fill(named("laser1.power"), "much")
    settled(tab)
    assert state(tab)["state"] == "open"
    assert "nothing here is known to be free of light" in tab.inner_text("#answer")


def test_each_assumed_value_is_one_click_from_being_stated(tab: Any, served: Served) -> None:
    room(tab, served)
    tab.click('a[href="#laser1.divergence"]')
    tab.keyboard.press("Tab")
    assert tab.url.endswith("#laser1.divergence")
    assert tab.evaluate("() => document.activeElement.id") in ("laser1.divergence", "laser1.work_distance")


# ---------------------------------------------------------------------------------------------------------------------
# Prints


def printed(page: Any, path: Path) -> tuple[int, str]:
    page.pdf(path=path, format="A4")
    reader = PdfReader(path)
    text = unicodedata.normalize("NFKC", " ".join(one.extract_text() for one in reader.pages))
    return len(reader.pages), " ".join(text.split())


def test_glasses_and_room_print_on_one_page_with_the_unsigned_mark(tab: Any, served: Served, tmp_path: Path) -> None:
    tab.goto(f"{served.home}/glasses")
    fill(tab, {**BEAM, "pairs": "OD 4 @ 450\n450 D LB7\n1064 D LB6\nCE"})
    sent(tab)
    pages, said = printed(tab, tmp_path / "glasses.pdf")
    assert pages == 1
    for text in ("Not signed", "Order:", "450 nm", "5 W", "1064 D LB6", "A computed aid for a qualified laser safety"):
        assert text in said
    room(tab, served)
    sent(tab, "button[formaction^='/room/help']")
    pages, said = printed(tab, tmp_path / "room.pdf")
    assert pages == 1
    said_of_all = ("Not signed", "This hall is too small", "No limit exists for sensors", "Assumed", "with at most")
    for text in (*said_of_all, "A computed aid for a qualified laser safety"):
        assert text in said
    assert "Work it out" not in said
    assert "Drag by mouse" not in said


def in_sight(page: Any, selector: str) -> bool:
    """Whether the upper end of something lies in what is seen, of the page and of the part that scrolls by itself."""
    where = """one => { const at = one.getBoundingClientRect();
        const box = (one.closest(".seen") || one).getBoundingClientRect();
        return at.top >= Math.max(-2, box.top - 2) && at.top < window.innerHeight - 20; }"""
    found: bool = page.locator(selector).first.evaluate(where)
    return found


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_the_page_goes_to_the_answer_and_to_what_was_added(browser: Any, served: Served, size: dict[str, int]) -> None:
    context = browser.new_context(viewport=size)
    page = context.new_page()
    page.goto(served.address)
    room(page, served)
    sent(page, "form > .seen button[type=submit]:not([formaction])")
    assert in_sight(page, "#answer .verdict")
    assert page.evaluate("() => document.activeElement.id") == "answer"
    sent(page, "button[name=add][value=screen]")
    assert in_sight(page, "#added-name")
    sent(page, "button[name=remove][value=screen1]")
    assert in_sight(page, "#add-screen")
    page.goto(f"{served.home}/glasses")
    fill(page, {**BEAM, "pairs": "CE"})
    sent(page, "button[type=submit]")
    assert in_sight(page, "#answer")
    context.close()


# ---------------------------------------------------------------------------------------------------------------------
# Languages, scripts, tabs, restart

ENGLISH = {
    "the",
    "and",
    "which",
    "of",
    "beam",
    "wavelength",
    "glasses",
    "power",
    "not",
    "with",
    "from",
    "limit",
    "room",
}


def test_german_has_no_english_words(tab: Any, served: Served) -> None:
    for path in ("/", "/glasses", "/room", "/case"):
        tab.goto(f"{served.home}{path}?language=de")
        if path == "/room":
            settled(tab)
        if path == "/glasses":
            fill(tab, {**BEAM, "pairs": "OD 4 @ 450\n450 D LB7"})
            sent(tab)
        if path == "/case":
            tab.fill("#text", re.sub(r"\bthe\b", "die", starter("visible-diode")))  # names are as typed
            sent(tab)
            tab.evaluate("() => document.querySelector('form.ask').remove()")  # the case itself is in English
        words = set(re.findall(r"\b[A-Za-z]+\b", tab.inner_text("body")))
        assert words & ENGLISH == set(), path
        assert tab.get_attribute("html", "lang") == "de"
    tab.goto(f"{served.home}/?language=en")


def test_everything_works_without_scripts(browser: Any, served: Served) -> None:
    context = browser.new_context(viewport=DESKTOP, java_script_enabled=False)
    page = context.new_page()
    page.goto(served.address)
    page.goto(f"{served.home}/room")
    page.fill(named("laser1.x"), "5")
    page.click("button[name=add][value=screen]")
    page.fill(named("screen1.rating"), "10 W/cm2")
    page.fill(named("screen1.rated_time"), "100 s")
    sent(page, "form > .seen button[type=submit]:not([formaction])")
    assert "DO NOT RUN AS PLANNED" in page.inner_text("#answer")
    assert page.locator("#tones path").count() == 4
    assert page.input_value(named("laser1.x")) == "5"
    page.goto(f"{served.home}/glasses")
    page.fill("#wavelength", "450 nm")
    page.keyboard.press("Enter")
    assert "Say whether the light is steady or pulsed" in page.inner_text(".faults")
    context.close()


def test_two_tabs_do_not_disturb_each_other(tab: Any, served: Served) -> None:
    other = tab.context.new_page()
    room(tab, served)
    room(other, served)
    for page, power in ((tab, "5 W"), (other, "1.5 kW")):
        page.fill(named("laser1.power"), power)
    settled(tab)
    settled(other)
    assert "optical density" in tab.inner_text("#answer")
    assert "no eyewear can be relied on" in other.inner_text("#answer")
    assert "no eyewear can be relied on" not in tab.inner_text("#answer")
    other.close()


def test_a_page_that_is_open_while_it_is_started_anew_asks_for_the_new_address(browser: Any) -> None:
    first = Served()
    port = first.home.rpartition(":")[2]
    context = browser.new_context()
    page = context.new_page()
    page.goto(first.address)
    page.goto(f"{first.home}/glasses")
    fill(page, BEAM)
    first.stop()
    second = Served("--port", port)
    try:
        assert second.home == first.home
        sent(page)
        assert "the page was started anew" in page.inner_text("main")
        page.goto(second.address)
        page.goto(f"{second.home}/glasses")
        fill(page, BEAM)
        sent(page)
        assert "Order:" in page.inner_text(".answer")
    finally:
        second.stop()
        context.close()


def test_no_page_sends_anything_elsewhere(browser: Any, served: Served) -> None:
    context = browser.new_context()
    page = context.new_page()
    asked: set[str] = set()
    page.on("request", lambda request: asked.add(re.match(r"[a-z]+:(//[^/]+)?", request.url)[0]))  # type: ignore[index]
    page.goto(served.address)
    room(page, served)
    for path in ("/glasses", "/case"):
        page.goto(f"{served.home}{path}")
    context.close()
    assert asked - {"data:"} == {served.home}


# ---------------------------------------------------------------------------------------------------------------------
# Accessibility


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed; 'make browser' does it from npm")
@pytest.mark.parametrize(
    ("size", "language"),
    [
        pytest.param(PHONE, "de", id="phone"),
        pytest.param(DESKTOP, "en", id="desktop", marks=pytest.mark.soak),
        pytest.param({"width": 640, "height": 450}, "de", id="zoom 200 %", marks=pytest.mark.soak),
        pytest.param(PHONE, "en", id="phone, English", marks=pytest.mark.soak),
        pytest.param(DESKTOP, "de", id="desktop, German", marks=pytest.mark.soak),
    ],
)
def test_axe_finds_nothing_against_wcag_2_2_aa(
    browser: Any, served: Served, language: str, size: dict[str, int]
) -> None:
    context = browser.new_context(viewport=size, bypass_csp=True)
    page = context.new_page()
    page.goto(served.address)
    page.goto(f"{served.home}/?language={language}")
    steps: list[tuple[str, dict[str, str]]] = [
        ("/", {}), ("/glasses", BEAM | {"pairs": "CE\n450 D LB7"}), ("/glasses", {"wavelength": "450"}), ("/room", {}),
        ("/case", {"text": starter("visible-diode")}), ("/case", {"text": "title = 3"}),
    ]  # fmt: skip
    for path, form in steps:
        page.goto(f"{served.home}{path}")
        if form:
            fill(page, form)
            sent(page)
        if path == "/room":
            settled(page)
        page.add_script_tag(path=AXE)
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
        found = page.evaluate("tags => axe.run({runOnly: {type: 'tag', values: tags}})", tags)
        bad = [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found["violations"]]
        assert bad == [], path
        wide = page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{path}: nothing runs out of a narrow page"
    context.close()


def test_keyboard_reaches_every_thing_of_the_plan_and_every_field(tab: Any, served: Served) -> None:
    room(tab, served)
    reached: list[str] = []
    for _ in range(120):
        tab.keyboard.press("Tab")
        reached.append(tab.evaluate("() => document.activeElement.id"))
    for id in (
        "laser1.at",
        "laser1.aim",
        "person1.at",
        "person2.at",
        "camera1.at",
        "width",
        "laser1.power",
        "camera1.pixel",
    ):
        assert id in reached


def test_the_room_of_rated_screens_is_the_same_by_hand(tab: Any, served: Served) -> None:
    room(tab, served)
    held: list[Any] = []
    tab.route("**/room/*", lambda route: held.append(route))  # nothing is worked out while one types
    for _ in range(4):
        tab.click("button[name=add][value=screen]")
    fill(tab, BOOTH)
    released(tab, held)
    settled(tab)
    assert re.search(r"On \d\d % of the floor no protection is needed", tab.inner_text("#answer"))
    assert tab.locator("#tones path").count() == 4
    tab.fill("#width", "13")  # the plan still has 12 m: its tones would lie elsewhere
    settled(tab)
    assert tab.locator("#tones path").count() == 1
    tab.fill("#width", "12,0")
    settled(tab)
    assert tab.locator("#tones path").count() == 4


def test_the_server_is_small_while_it_waits(served: Served) -> None:
    status = Path(f"/proc/{served.process.pid}/status")
    if not status.is_file():
        pytest.skip("only Linux tells the memory of a process here")
    subprocess.run(["true"], check=True)
    size = re.search(r"VmRSS:\s+(\d+) kB", status.read_text())
    assert size is not None
    assert int(size[1]) < 120_000
