"""The whole job in a real browser: real pages, a real server, real sound through it."""

from __future__ import annotations

import contextlib
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import soundfile
from playwright.sync_api import Browser, BrowserType, Page, expect, sync_playwright
from tests.sound_server import SoundServer, sound_server

from runstrue.cli.main import main
from runstrue.logbook import Logbook

OUTPUT = Path(__file__).parents[1] / "output"
SCREENS = OUTPUT / "screens"
AXE = OUTPUT / "node" / "node_modules" / "axe-core" / "axe.min.js"
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
SHEET = "Wow and flutter 0.2 % DIN; speed ±1.5 %"
PAGES = (
    "", "/decks/new", "/decks/C-14", "/decks/C-14/facts", "/decks/C-14/intake",
    "/decks/C-14/sheet", "/decks/C-14/faults", "/decks/C-14/parts", "/decks/C-14/measure",
    "/decks/C-14/captures/1", "/decks/C-14/compare", "/decks/C-14/files", "/decks/C-14/report",
    "/live", "/live/number", "/belts?what=belt&string=312+mm&section=square+1.2+mm", "/settings",
)  # fmt: skip


@dataclass(slots=True)
class Open:
    """`runstrue open`, running."""

    address: str
    process: subprocess.Popen[str]
    bench: Path


@pytest.fixture(scope="module")
def sound() -> Iterator[SoundServer]:
    with sound_server() as running:
        yield running


@contextlib.contextmanager
def opening(bench: Path, sound: SoundServer) -> Iterator[Open]:
    """Run `runstrue open` until the block ends."""
    environment = {**os.environ, **sound.environment, "RUNSTRUE_BENCH": str(bench)}
    process = subprocess.Popen(
        [sys.executable, "-c", "from runstrue.cli.main import run; run()", "open", "--no-browser",
         "--port", "0"],
        env=environment, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    line = process.stdout.readline()
    address = re.search(r"http://127\.0\.0\.1:\d+", line)
    assert address, line
    try:
        yield Open(address[0], process, bench)
    finally:
        process.terminate()
        process.communicate(timeout=20)


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory, sound: SoundServer) -> Iterator[Open]:
    """A bench on which nothing is yet."""
    with opening(tmp_path_factory.mktemp("walk") / "bench", sound) as running:
        yield running


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory, sound: SoundServer) -> Iterator[Open]:
    """A bench with a deck that went through the job."""
    folder = tmp_path_factory.mktemp("filled")
    at = ["--bench", str(folder / "bench")]
    assert main(["deck", "add", "C-14", "--maker", "Wrenholm", *at]) == 0
    assert main(["sheet", SHEET, "--deck", "C-14", *at]) == 0
    assert main(["intake", "C-14", "--running", *at]) == 0
    for preset, stage in (("perished-belt", "found"), ("new-belt", "left")):
        path = folder / f"{stage}.flac"
        assert main(["practice", preset, "-o", str(path), "--length", "30"]) == 0
        measured = ["measure", str(path), "--tone", "3150", "--deck", "C-14", "--stage", stage]
        assert main([*measured, *at]) == 0
    assert main(["transport", "keep", str(folder / "c-14.toml"), "--deck", "C-14", *at]) == 0
    assert main(["fault", "say", "C-14", "wow_slow", *at]) == 0
    with opening(folder / "bench", sound) as running:
        yield running


@pytest.fixture(scope="module")
def chromium() -> Iterator[BrowserType]:
    with sync_playwright() as playwright:
        yield playwright.chromium


@pytest.fixture(scope="module")
def browser(chromium: BrowserType) -> Iterator[Browser]:
    started = chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
    yield started
    started.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that tells every error of its scripts."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    made = context.new_page()
    wrong: list[str] = []
    made.on("pageerror", lambda error: wrong.append(str(error)))
    made.on(
        "console",
        lambda said: wrong.append(said.text)
        if said.type == "error" and "400 (Bad Request)" not in said.text else None,
    )  # fmt: skip
    yield made
    context.close()
    assert wrong == []


@pytest.fixture(scope="module")
def tape(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A minute of a deck as found, for the sound server."""
    folder = tmp_path_factory.mktemp("tape")
    path = folder / "before.wav"
    assert main(["practice", "perished-belt", "-o", str(path), "--length", "60"]) == 0
    return path


def test_the_whole_job(opened: Open, page: Page, sound: SoundServer, tape: Path) -> None:
    at = opened.address
    page.goto(at)
    expect(page.locator("main")).to_contain_text("No deck is on the bench yet")
    page.get_by_role("link", name="Add a deck").click()
    page.get_by_label("Short name").fill("C-14")
    page.get_by_label("Maker").fill("Wrenholm")
    page.get_by_label("Why it came").fill("plays flat and sways")
    page.get_by_role("button", name="Add it").click()

    # the looks before power: it was running here
    page.get_by_role("link", name="Look it over before it gets power").first.click()
    page.get_by_role("button", name="It was already running here").click()
    page.get_by_role("link", name="Paste the lines of its sheet").click()

    # the sheet is read while it is typed
    page.get_by_label("Lines, as they are printed").fill(SHEET)
    expect(page.locator('[data-part="read"]')).to_contain_text("±0.2 %")
    page.get_by_role("button", name="Enter them").click()
    expect(page.locator("main")).to_contain_text("Entered; it is in force from now on.")

    # live from the sound server
    page.goto(f"{at}/live?deck=C-14")
    card = page.locator("form", has=page.get_by_role("heading", name="The sound card"))
    card.get_by_label("Tone on the tape").fill("3150")
    player = sound.play(tape)
    try:
        card.get_by_role("button", name="Listen").click()
        expect(page.locator("[data-live]")).to_have_attribute("data-state", "reading",
                                                              timeout=40_000)  # fmt: skip
        expect(page.locator('[data-text="verdict.flutter"]')).to_contain_text(
            "Outside", timeout=40_000
        )
        _shot(page, "live")
        page.get_by_role("button", name=re.compile("Keep the last")).click()
        told = page.locator('[data-part="kept"]')
        expect(told).to_contain_text("Kept as found", timeout=40_000)
    finally:
        player.terminate()
        player.wait(10)
    with Logbook.open(opened.bench) as book:
        (kept,) = book.captures(book.find_deck("C-14"))
    shown = kept.find("flutter.weighted_peak")
    assert shown is not None
    assert shown.quantity is not None
    from runstrue.report.words import figure_of

    expect(told).to_contain_text(figure_of(shown.quantity, shown.id))
    page.get_by_role("button", name="Stop listening").click()

    # what is wrong with it, and what it was
    page.goto(f"{at}/decks/C-14/faults")
    page.get_by_label("In your own words").fill("slow waver")
    page.get_by_role("button", name="Say it").click()
    page.get_by_label("Very slow waver").check()  # it may mean several things: which is asked
    page.get_by_role("button", name="So it is").click()
    expect(page.locator("#causes-title")).to_be_visible()
    cause = page.locator(".causes li", has_text="Main drive belt stretched").first
    cause.locator("summary").click()
    cause.get_by_label("Minutes").fill("35")
    cause.get_by_role("button", name="It was this, and it is mended").click()
    expect(page.locator("main")).to_contain_text("This bench has met it once")

    # the belt
    page.goto(f"{at}/belts")
    page.get_by_label("String laid in the grooves").fill("312 mm")
    page.get_by_label("Section and thickness").fill("square 1.2 mm")
    page.locator("form", has_text="Which size to order").get_by_role("button").click()
    expect(page.locator("pre")).to_contain_text("inner")

    # the virtual deck's speed is trimmed by its slider until the page says that it is inside
    page.goto(f"{at}/live?deck=C-14")
    virtual = page.locator("form", has=page.get_by_role("heading", name="The virtual deck"))
    virtual.get_by_role("button", name="Play it").click()
    slider = page.get_by_label("Speed, by its trimmer")
    verdict = page.locator('[data-text="verdict.speed"]')
    expect(verdict).to_contain_text(re.compile("Outside|Near the edge"), timeout=40_000)
    for value in ("-1.2", "-0.5", "0.1"):
        slider.evaluate(
            "(one, value) => { one.value = value; one.dispatchEvent(new Event('input', "
            "{bubbles: true})); }", value,
        )  # fmt: skip
        time.sleep(1.5)
    expect(verdict).to_contain_text("Inside", timeout=40_000)
    page.locator('input[name="seconds"][value="10"]').check(force=True)
    page.wait_for_timeout(13_000)
    page.locator('input[name="stage"][value="left"]').check(force=True)
    page.get_by_role("button", name=re.compile("Keep the last")).click()
    expect(told).to_contain_text("Kept as left", timeout=40_000)
    page.get_by_role("button", name="Stop listening").click()

    # found against left, and the record
    page.goto(f"{at}/decks/C-14/compare")
    expect(page.locator("main")).to_contain_text("clearly better")
    page.goto(f"{at}/decks/C-14/report")
    with page.expect_download() as download:
        page.get_by_role("button", name="Make the PDF").click()
    content = Path(download.value.path()).read_bytes()
    assert content.startswith(b"%PDF-")
    assert download.value.suggested_filename == "C-14.pdf"
    text = subprocess.run(
        ["pdftotext", "-", "-"], input=content, capture_output=True, check=True
    ).stdout.decode()
    assert "Wrenholm" in text
    assert "Wow and flutter 0.2 % DIN" in text


def test_a_phone_shows_the_same_number(opened: Open, browser: Browser, page: Page) -> None:
    _silence(page, opened)
    virtual = page.locator("form", has=page.get_by_role("heading", name="The virtual deck"))
    virtual.get_by_role("button", name="Play it").click()
    phone = browser.new_context(viewport={"width": 390, "height": 800}).new_page()
    phone.goto(f"{opened.address}/live/number")
    expect(page.locator("[data-live]")).to_have_attribute("data-state", "reading", timeout=40_000)
    field = '[data-figure="flutter10.value"], [data-figure="flutter.value"]'
    expect(phone.locator(field).first).not_to_have_text("–", timeout=20_000)
    same = 0
    for _ in range(40):  # twenty updates a second: look at both until they are of one update
        both = [one.locator('[data-figure="speed.value"]').first.inner_text()
                for one in (page, phone)]  # fmt: skip
        same += both[0] == both[1] != "–"
        time.sleep(0.05)
    assert same >= 10
    page.get_by_role("button", name="Stop listening").click()
    phone.context.close()


def test_the_browsers_microphone_is_heard(
    opened: Open, chromium: BrowserType, tmp_path: Path
) -> None:
    """Chromium's own stand-in for a microphone plays a file; it goes over the line as sound."""
    fake, played = tmp_path / "tone.wav", tmp_path / "played.wav"
    assert main(["practice", "healthy", "-o", str(played), "--length", "20"]) == 0
    samples, rate_hz = soundfile.read(played)
    soundfile.write(fake, samples, rate_hz, "PCM_16")  # the only depth that it reads
    started = chromium.launch(
        executable_path="/usr/bin/chromium",
        args=[*FLAGS, "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
              f"--use-file-for-fake-audio-capture={fake}"],
    )  # fmt: skip
    page = started.new_page()
    _silence(page, opened)
    ear = page.locator("form", has=page.get_by_role("heading", name="This browser's microphone"))
    ear.get_by_label("Tone on the tape").fill("3150")
    ear.get_by_role("button", name="Go to it").click()
    expect(page.locator("[data-live]")).to_have_attribute("data-connected", "true")
    page.get_by_role("button", name="Begin to listen").click()
    told = page.locator('[data-part="ear-told"]')
    expect(told).to_contain_text("Microphone open", timeout=20_000)
    speed = page.locator('[data-figure="speed.value"]').first
    expect(speed).not_to_have_text("–", timeout=40_000)
    page.get_by_role("button", name="Stop the microphone").click()
    started.close()


@pytest.mark.parametrize("path", PAGES)
def test_pages_are_for_everybody(filled: Open, browser: Browser, path: str) -> None:
    """No serious finding of axe-core (WCAG 2.1 A and AA), at any width, in either theme."""
    for width, theme in ((1280, "light"), (390, "dark"), (1280, "dark"), (390, "light")):
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=theme,  # type: ignore[arg-type]
            bypass_csp=True,
        )  # fmt: skip
        page = context.new_page()
        answer = page.goto(filled.address + path)
        assert answer is not None
        assert answer.status == 200
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
        name = re.sub(r"\W+", "-", path.split("?")[0]).strip("-") or "decks"
        _shot(page, f"{name}-{width}-{theme}")
        page.add_script_tag(path=str(AXE))
        found: list[dict[str, Any]] = page.evaluate(
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']})"
            ".then((told) => told.violations)"
        )
        serious = [
            (one["id"], [node["html"][:120] for node in one["nodes"][:3]])
            for one in found if one["impact"] in ("serious", "critical")
        ]  # fmt: skip
        assert serious == [], json.dumps(serious, indent=1)
        context.close()


def test_the_keyboard_goes_all_the_way(filled: Open, page: Page) -> None:
    page.goto(filled.address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    page.keyboard.press("Enter")
    seen = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.textContent.trim().slice(0, 40)"))
    assert any("C-14" in one for one in seen)
    assert any("Add a deck" in one for one in seen)


def test_all_but_live_works_without_scripts(opened: Open, browser: Browser) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{opened.address}/decks/new")
    page.get_by_label("Short name").fill("R-8")
    page.get_by_role("button", name="Add it").click()
    expect(page.locator("main")).to_contain_text("'R-8' is on the bench.")
    page.goto(f"{opened.address}/decks/R-8/sheet")
    page.get_by_label("Lines, as they are printed").fill("Speed ±2 %")
    page.get_by_role("button", name="See how they are read").click()
    expect(page.locator("main")).to_contain_text("±2 %")
    page.goto(f"{opened.address}/live")
    expect(page.locator("main")).to_contain_text("The virtual deck")
    context.close()


def _silence(page: Page, opened: Open) -> None:
    """Go to the page of sources, whatever was being heard."""
    page.goto(f"{opened.address}/live")
    stop = page.get_by_role("button", name="Stop listening")
    if stop.count():
        stop.click()
    expect(page.get_by_role("heading", name="Listen live")).to_be_visible()


def _shot(page: Page, name: str) -> None:
    SCREENS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(SCREENS / f"{name}.png"), full_page=True)
