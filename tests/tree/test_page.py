"""The walk as one HTML page, in a real browser: by touch and by keyboard, small and large, and nothing leaves it."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from troubleshoot.car.car import Car
from troubleshoot.circuit.network import wire_up
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.session.state import expects
from troubleshoot.tree.page import page_html
from troubleshoot.tree.tree import Step, Tree
from troubleshoot.tree.tree_file import parse_tree, read_tree, tree_text
from troubleshoot.tree.walk import branch_of, numbered, say_verdict
from troubleshoot.words import say
from troubleshoot.words.answers import OverLimit, Value, read_answer

SMALL = Path(__file__).with_name("small_tree.yaml")
PICTURES = os.environ.get("PAGE_PICTURES", "")
"""A folder for pictures of the screens, to be looked at."""

PHONE, DESK = (360, 640), (1280, 800)
BY_HAND = SMALL.parents[2] / "trees" / "pump-on-ignition-feed" / "by-hand.yaml"
FAULTS = {"relay:coil-open": None, "main_fuse:blown": None, "pump_ground:bad": 1e5}
"""Faults of sampled cars that are walked, with the ohms of the one that has them."""


@pytest.fixture(scope="module")
def small() -> Tree:
    return read_tree(SMALL)


class Reader(HTMLParser):
    """The page's tags and text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_the_page_names_nothing_outside_itself(small: Tree) -> None:
    html = page_html(small)
    assert "default-src 'none'" in html
    assert not re.search(r"(?:https?:)?//[a-z]", html)
    for tag, attributes in Reader(html).tags:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base")
        assert "src" not in attributes
        assert (attributes.get("href") or "#").startswith("#")
        assert not [name for name in attributes if name.startswith("on") or name == "style"]


def test_without_scripts_the_page_is_the_whole_tree_with_links_between_the_steps(small: Tree) -> None:
    read = Reader(page_html(small))
    ids = {attributes["id"] for tag, attributes in read.tags if tag == "section"}
    links = {attributes["href"] for tag, attributes in read.tags if "branch" in (attributes.get("class") or "").split()}
    assert links == {f"#s{n}" for n in range(2, 12)}
    assert {link[1:] for link in links} < ids
    text = " ".join(read.text)
    assert say.say_point(small.network, "relay.30") in text
    assert "One of these" in text


def test_every_step_shows_its_cautions(small: Tree) -> None:
    html = page_html(small)
    sections = re.findall(r'<section id="s\d+" class="screen step".*?</section>', html, re.DOTALL)
    assert len(sections) == len(small.steps)
    for section, step in zip(sections, small.steps.values(), strict=True):
        for caution in say.cautions(small.network, step.check):
            assert caution in section


# ---- in a browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("there is no chromium")
    with sync_playwright() as play:
        launched = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield launched
        launched.close()


class Walker:
    """A page opened as a file, with all that it asked of the network."""

    def __init__(self, browser: Browser, file: Path, size: tuple[int, int], touch: bool, storage: bool = True) -> None:
        width, height = size
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, has_touch=touch, is_mobile=touch
        )
        self.asked: list[str] = []
        self.context.on("request", lambda request: self.asked.append(request.url))
        if not storage:
            self.context.add_init_script(
                "Object.defineProperty(window, 'localStorage', {get() { throw new Error('none here'); }})"
            )
        self.page: Page = self.context.new_page()
        self.errors: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda message: self.errors.append(message.text) if message.type == "error" else None)
        self.page.goto(file.as_uri())

    def shown(self) -> str:
        assert self.page.locator(".screen.now").count() == 1
        return self.page.locator(".screen.now").inner_text()

    def picture(self, name: str) -> None:
        if PICTURES:
            self.page.screenshot(path=str(Path(PICTURES) / f"{name}.png"))

    def close(self, file: Path) -> None:
        """Nothing but the file itself was asked for, and nothing went wrong."""
        self.context.close()
        assert set(self.asked) == {file.as_uri()}
        assert self.errors == []


@pytest.fixture
def file(small: Tree, tmp_path: Path) -> Path:
    target = tmp_path / "walk.html"
    target.write_text(page_html(small), encoding="utf-8")
    return target


def by_touch(walker: Walker, answer: str) -> None:
    """Taps the branch, or the field, types, and taps the button."""
    page = walker.page
    if page.locator(".now input").count():
        page.locator(".now input").tap()
        page.keyboard.type(answer)
        page.locator(".now .go").tap()
    else:
        page.locator(".now .branch", has_text=re.compile(f"^{re.escape(answer)}")).tap()


def by_keys(walker: Walker, answer: str) -> None:
    """From the heading, which has the focus, on with the tab key alone."""
    page = walker.page
    assert page.evaluate("document.activeElement.tagName") == "H2"
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.tagName") == "INPUT":
            page.keyboard.type(answer)
            page.keyboard.press("Enter")
            return
        if page.evaluate("document.activeElement.dataset.words || ''") == answer:
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"the tab key does not come to {answer}")


@pytest.mark.slow
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("touch", [True, False], ids=["touch", "keys"])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_walked_to_its_verdict(
    browser: Browser, tmp_path: Path, size: tuple[int, int], touch: bool, fault: str
) -> None:
    """A sampled car with the fault answers each step that is shown; the tree written by hand must come to it."""
    tree = read_tree(BY_HAND)
    file = tmp_path / "walk.html"
    file.write_text(page_html(tree), encoding="utf-8")
    names = {number: name for name, number in numbered(tree).items()}
    car = Car(tree.network, next(f for f in tree.network.faults if f.name == fault), FAULTS[fault], seed=3)
    walker = Walker(browser, file, size, touch)
    page = walker.page
    assert "Before you begin" in walker.shown()
    assert all(question in walker.shown() for question in say.SAFETY_QUESTIONS)
    if touch:
        page.locator("#clear").tap()
    else:
        while page.evaluate("document.activeElement.id") != "clear":
            page.keyboard.press("Tab")
        page.keyboard.press("Enter")
    answers = list[str]()
    while page.locator(".step.now").count():
        step = tree.steps[names[int(walker.shown().splitlines()[0].removeprefix("Step "))]]
        answers.append(car.answer(step.check))
        walker.picture(f"{fault.replace(':', '-')}-{size[0]}-{'touch' if touch else 'keys'}-{len(answers)}")
        (by_touch if touch else by_keys)(walker, answers[-1])
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    verdict = tree.verdicts[names[int(walker.shown().splitlines()[0].removeprefix("Verdict "))]]
    assert fault in verdict.suspects
    found = say_verdict(tree, verdict)
    assert all(words in walker.shown().replace(".", "").lower() for words in map(str.lower, found.suspects))
    report = page.locator("#text").input_value()
    assert tree.network.circuit.title in report
    assert found.say in report
    assert all(answer in report for answer in answers)
    assert report.count("\n") >= len(answers) + 1
    walker.picture(f"{fault.replace(':', '-')}-{size[0]}-{'touch' if touch else 'keys'}-end")
    walker.close(file)


@pytest.mark.slow
@pytest.mark.parametrize("storage", [True, False], ids=["with storage", "without storage"])
def test_it_stays_where_it_was_when_the_phone_drops_the_page(browser: Browser, file: Path, storage: bool) -> None:
    walker = Walker(browser, file, PHONE, True, storage)
    walker.page.locator("#clear").tap()
    by_touch(walker, "0.2")
    assert "Step 8" in walker.shown()
    walker.page.reload()
    assert "Step 8" in walker.shown()
    assert ("0.2 V" in walker.page.locator(".way").inner_text()) == storage
    walker.page.locator("#back").tap()
    assert "Step 1" in walker.shown()
    walker.page.go_back()  # the browser's own button
    assert "Step 8" in walker.shown()
    if storage:  # opened anew from the file, without the address
        walker.page.goto("about:blank")
        walker.page.goto(file.as_uri())
        assert "Step 8" in walker.shown()
        walker.page.locator("#again").tap()
        assert "Before you begin" in walker.shown()
    walker.context.close()
    assert walker.errors == []


@pytest.mark.slow
def test_from_a_verdict_of_several_one_goes_on_to_which_it_is(browser: Browser, apart_file: Path) -> None:
    tree, file = read_tree(apart_file), apart_file.with_suffix(".html")
    file.write_text(page_html(tree), encoding="utf-8")
    numbers = numbered(tree)
    walker = Walker(browser, file, PHONE, touch=True)
    walker.page.locator("#clear").tap()
    for answer in ("0.1", "no click", "12.4"):
        by_touch(walker, answer)
    assert f"Verdict {numbers['relay']}" in walker.shown()
    walker.picture("which")
    by_touch(walker, "Which of them is it?")
    assert f"Step {numbers['coil_side']}" in walker.shown()
    by_touch(walker, "12.1")
    assert f"Verdict {numbers['coil_ground']}" in walker.shown()
    report = walker.page.locator("#text").input_value()
    assert f"Verdict {numbers['relay']}: Which of them is it?" in report
    assert say_verdict(tree, tree.verdicts["coil_ground"]).say in report
    walker.page.locator("#back").tap()
    walker.page.locator("#back").tap()
    assert f"Verdict {numbers['relay']}" in walker.shown()
    walker.close(file)


@pytest.mark.slow
def test_nonsense_and_doubtful_values_are_asked_back(browser: Browser, file: Path) -> None:
    walker = Walker(browser, file, PHONE, True)
    walker.page.locator("#clear").tap()
    for typed, told in {
        "": "Type one number", "wet": "Type one number", "12.1.2": "Type one number", "124": "More than 20 V",
        "OL": "choose a higher one", "12 ohm": "is no unit for this", "-900": "More than 20 V",
    }.items():  # fmt: skip
        walker.page.locator(".now input").fill(typed)
        walker.page.keyboard.press("Enter")
        assert told in walker.page.locator(".now .wrong").inner_text()
        assert "Step 1" in walker.shown()
    walker.picture("wrong")
    walker.page.locator(".now input").fill("−3,5")
    walker.page.keyboard.press("Enter")
    assert "Step 8" in walker.shown()
    walker.close(file)


@pytest.mark.slow
def test_what_is_pressed_is_as_large_as_a_thumb_and_has_a_name(browser: Browser, file: Path) -> None:
    walker = Walker(browser, file, PHONE, True)
    for step in ("#", "#w", "#w0", "#w0.0"):
        walker.page.goto(file.as_uri() + step)
        for each in walker.page.locator("a:visible, button:visible, input:visible, select:visible").all():
            box = each.bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 48, each.evaluate("e => e.outerHTML")
    names = walker.page.locator("nav").aria_snapshot()
    assert 'navigation "Walk"' in names
    assert "button" in names
    walker.page.goto(file.as_uri() + "#w")
    step = walker.page.locator("#s1").aria_snapshot()
    assert 'heading "Step 1" [level=2]' in step
    assert 'textbox "What does the meter show?"' in step
    assert 'heading "Caution" [level=3]' in step
    assert walker.page.locator("[aria-live]").count() == 2
    walker.context.close()


@pytest.mark.slow
def test_unsafe_and_what_cannot_be_done_are_a_press_away_at_every_step(browser: Browser, file: Path) -> None:
    walker = Walker(browser, file, PHONE, True)
    walker.page.locator("#unsafe").tap()
    assert "Key off, move away" in walker.shown()
    walker.page.locator("#back").tap()
    walker.page.locator("#clear").tap()
    by_touch(walker, "6")
    walker.page.locator("#skip").tap()
    assert "not done" in walker.shown()
    assert "Not done: 87 of the pump relay" in walker.page.locator("#text").input_value()
    walker.page.locator("#danger").tap()
    assert "Key off, move away" in walker.shown()
    walker.picture("stop")
    walker.page.locator("#back").tap()
    assert "Step 5" in walker.shown()
    walker.close(file)


@pytest.mark.slow
def test_names_that_hold_markup_quotes_and_direction_marks_are_shown_as_text(
    browser: Browser, small: Tree, tmp_path: Path
) -> None:
    evil = "<script>document.title='gone'</script> \"a' onclick=x &amp; \u200fאב\u200e"
    text = (SMALL.parents[2] / "trees" / "pump-on-ignition-feed" / "circuit.yaml").read_text()
    quoted = evil.replace("\\", "\\\\").replace('"', '\\"')
    text = re.sub(r"(?m)^title: .*$", lambda _: f'title: "{quoted}"', text)
    network = wire_up(parse_circuit(text))
    assert network.circuit.title == evil
    steps: dict[str, Step] = {name: replace(step, note=evil) for name, step in small.steps.items()}
    verdicts = {name: replace(verdict, repair=evil) for name, verdict in small.verdicts.items()}
    tree = replace(small, network=network, steps=steps, verdicts=verdicts)
    assert "<script>document" in tree_text(tree)
    file = tmp_path / "evil.html"
    file.write_text(page_html(tree), encoding="utf-8")
    walker = Walker(browser, file, PHONE, True)
    assert walker.page.title() == evil
    assert walker.page.locator("h1").inner_text() == evil
    walker.page.locator("#clear").tap()
    assert evil in walker.shown()
    walker.picture("evil")
    by_touch(walker, "0.2")
    by_touch(walker, "clicks")
    assert evil in walker.shown()
    assert evil in walker.page.locator("#text").input_value()
    assert walker.page.locator("script").count() == 1
    walker.close(file)


@pytest.mark.slow
def test_the_report_is_copied(browser: Browser, file: Path) -> None:
    walker = Walker(browser, file, PHONE, True)
    walker.page.locator("#clear").tap()
    by_touch(walker, "0.2")
    walker.page.locator("#copy").tap()
    walker.page.wait_for_function("document.querySelector('.copied').textContent !== ''")
    assert walker.page.locator(".copied").inner_text() in ("Copied.", "Marked: copy it by hand.")
    walker.close(file)


VOLTS = (
    *("11.0", "11", "10.99", "10,99", "0.5", "0,5", ".5", "500 mV", "499.9mV", "450 mV", "0.499", "-0.1", "−12,4", "0"),
    *("12.4 V", "12.4 v", "20", "20.1", "124", "1234", "1,234", "12.1.2", "OL", "about", "12 ohm", "-0", "11000 mV"),
    *("+3", "1e1", "12 6", "½", "१२", "11,000"),
)
OHMS = (
    *("0.8", "1", "1.0", "1.", "OL", "ol", "0L", "200", "199.9", "0.2k", "0.2 kohm", "1.2k", "1.2 M", "1 Mohm", "-1"),
    *("200 Ω", "0,2 kΩ", "12 V", "5 mohm", "200000 mohm", "5 mΩ", "open", "1,234", "250", "0"),
)
OHMS_TREE = """\
first: a
steps:
  a: {check: relay.86.blade to relay.85.blade ohms off -battery -pump -relay, under 200 ohm: v, 200 ohm or more: w, OL: x}
verdicts:
  v: {suspects: [circuit:nothing-wrong]}
  w: {suspects: [relay:weak-coil]}
  x: {suspects: [relay:coil-open]}
"""  # noqa: E501


@pytest.mark.slow
@pytest.mark.parametrize("what", ["volts", "ohms"])
def test_the_page_takes_what_is_typed_as_the_program_does(
    browser: Browser, small: Tree, tmp_path: Path, what: str
) -> None:
    """Each typed text leads to the same branch in both, or is asked back or refused in both."""
    tree = small if what == "volts" else parse_tree(OHMS_TREE, "", small.network)
    step = tree.steps[tree.first]
    file = tmp_path / "walk.html"
    file.write_text(page_html(tree), encoding="utf-8")
    walker = Walker(browser, file, PHONE, True)
    for typed in VOLTS if what == "volts" else OHMS:
        meant = read_answer(typed, expects(step.check))
        taken = branch_of(step, meant) if isinstance(meant, Value | OverLimit) else None
        walker.page.goto(file.as_uri() + "#w")
        walker.page.locator(".now input").fill(typed)
        walker.page.keyboard.press("Enter")
        address = walker.page.evaluate("location.hash")
        assert address == (f"#w{step.branches.index(taken)}" if taken else "#w"), (typed, meant)
        assert taken or walker.page.locator(".now .wrong").inner_text(), typed
    walker.context.close()
    assert walker.errors == []


@pytest.mark.slow
def test_without_scripts_the_links_lead_from_step_to_step(browser: Browser, file: Path) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 360, "height": 640})
    page = context.new_page()
    page.goto(file.as_uri())
    assert page.locator("#s1").is_visible()
    assert page.locator("#s8").is_visible()
    assert not page.locator("nav").is_visible()
    assert not page.locator("#s1 input").is_visible()
    page.locator("#s1 .branch").last.click()
    assert page.url.endswith("#s8")
    context.close()
