"""The element on somebody else's page: another origin, a policy of its own, attributes, events, looks, no scripts."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from clients.browsing import PageLog, find_accessibility_problems, site
from clients.running import EXAMPLES, free_port
from gramwatt import calculate
from gramwatt.web.pages.web_component import LATEST, integrity

pytestmark = pytest.mark.client("chromium")

ENDURANCE = '<gramwatt-calculator name="endurance" cells="6" capacity="1300" mean_power="200"></gramwatt-calculator>'
PACK = '<gramwatt-calculator name="pack-energy" cells="6" capacity="1300"></gramwatt-calculator>'
REJECTED = "Failed to load resource: the server responded with a status of 422"


def policy(service: str) -> str:
    """Return the policy of a careful club: its own files, and the service's script, responses and frame."""
    return (
        f"default-src 'none'; script-src 'self' {service}; connect-src 'self' {service}; frame-src {service}; "
        "style-src 'self'; img-src data:; base-uri 'none'"
    )


SPY = """
window.events = [];
for (const type of ["result", "change", "problem"])
  document.addEventListener(type, ({ target, detail }) => detail && events.push([type, detail]));
"""


@pytest.fixture
def club(browser: Browser, service: str, tmp_path: Path) -> Iterator[Any]:
    """Open a page of the club with this body; its console must stay empty by default."""
    contexts = []

    def open_(body: str, *, lang: str = "en", style: str = "", **options: Any) -> tuple[Page, PageLog]:
        (tmp_path / "spy.js").write_text(SPY, encoding="utf-8")
        (tmp_path / "club.css").write_text(style, encoding="utf-8")
        guarded = f'integrity="{integrity(LATEST)}" crossorigin="anonymous"'
        script = f'<script src="{service}/gramwatt-{LATEST}.js" {guarded} defer></script>'
        (tmp_path / "index.html").write_text(
            f'<!doctype html><html lang="{lang}"><head><meta charset="utf-8"><title>Club</title>'
            f'<link rel="icon" href="data:,"><link rel="stylesheet" href="club.css">'
            f'<script src="spy.js"></script>{script}'
            f"</head><body><main><h1>Our club</h1>{body}</main></body></html>",
            encoding="utf-8",
        )
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        log = PageLog(page)
        page.goto(at)
        return page, log

    with site(tmp_path, policy(service)) as at:
        yield open_
    for context in contexts:
        context.close()


def events(page: Page, type_: str) -> list[Any]:
    found: list[Any] = page.evaluate(
        "type => events.filter(([each]) => each === type).map(([, detail]) => detail)", type_
    )
    return found


def changed(page: Page, inputs: dict[str, Any]) -> Any:
    """Wait for the change event of these inputs, and return its detail; without eval, which the policy forbids."""
    for _ in range(100):
        found = [detail for detail in events(page, "change") if detail["inputs"] == inputs]
        if found:
            return found[-1]
        page.wait_for_timeout(50)
    raise AssertionError(events(page, "change"))


def test_two_lines_are_a_calculator(club: Any, service: str) -> None:
    """Across origins, under a strict policy, with its digest checked: the result is the library's."""
    page, log = club(ENDURANCE)
    found = calculate("endurance", cells=6, capacity=1300, mean_power=200)
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("Flight time: 7.08")
    (detail,) = events(page, "result")
    assert detail["answer"] == json.loads(json.dumps(found))
    assert events(page, "change") == []
    for caution in found["cautions"]:
        expect(page.locator("gramwatt-calculator")).to_contain_text(caution["text"])
    assert (
        page.evaluate("document.querySelector('gramwatt-calculator').answer.results.endurance")
        == found["results"]["endurance"]
    )
    assert log.errors == []
    assert service in log.hosts()
    assert len(log.hosts()) == 2
    assert find_accessibility_problems(page) == []


def test_a_visitor_changes_it_and_the_page_hears(club: Any) -> None:
    page, log = club(ENDURANCE)
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("7.08")
    page.get_by_label("Average power", exact=True).fill("300")
    page.get_by_label("Average power", exact=True).press("Tab")
    value = calculate("endurance", cells=6, capacity=1300, mean_power=300)["results"]["endurance"]
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text(f"{value:.1f}")
    detail = changed(page, {"cells": 6, "capacity": 1300, "mean_power": 300})
    assert detail["answer"]["results"]["endurance"] == value
    page.get_by_label("Average power", exact=True).fill("0.3")
    page.get_by_label("Unit of average power").select_option("kW")
    detail = changed(page, {"cells": 6, "capacity": 1300, "mean_power": "0.3 kW"})
    assert detail["answer"]["results"]["endurance"] == value
    assert log.errors == []


def test_without_inputs_it_asks_for_them_in_one_sentence(club: Any) -> None:
    """It sends nothing, marks nothing, and gives the result as soon as the last of them is there."""
    page, log = club('<gramwatt-calculator name="pack-energy"></gramwatt-calculator>')
    element = page.locator("gramwatt-calculator")
    expect(element).to_contain_text("Enter cells in series and capacity for a result.")
    expect(element.locator(".fault, [aria-invalid]")).to_have_count(0)
    cells, capacity = (element.get_by_role("textbox").nth(at) for at in (0, 1))
    cells.fill("6")
    expect(element).to_contain_text("Enter capacity for a result.")
    capacity.fill("1300")
    expect(element.locator(".headline")).to_contain_text("23.09")
    assert log.errors == []


def test_attributes_are_the_inputs(club: Any) -> None:
    page, log = club(
        '<gramwatt-calculator name="pack-energy" cells="6" capacity="1.3 Ah" fields="none"></gramwatt-calculator>'
    )
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("23.09")
    assert page.locator("gramwatt-calculator input").count() == 0
    page.evaluate("document.querySelector('gramwatt-calculator').setAttribute('cells', '3')")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("11.54")
    page.evaluate("document.querySelector('gramwatt-calculator').setAttribute('name', 'air-density')")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("Air density: 1.225")
    page.evaluate("document.querySelector('gramwatt-calculator').inputs = {elevation: 1000}")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("1.112")
    assert log.errors == []


def test_fields_and_results_of_ones_own_choice_and_a_picture(club: Any) -> None:
    page, log = club(
        '<gramwatt-calculator name="pack-current" cells="6" capacity="1300" pack_power="400" '
        'fields="pack_power, reserve" results="c_rate loaded_voltage" picture="dark"></gramwatt-calculator>'
    )
    expect(page.locator("gramwatt-calculator svg")).to_be_visible()
    assert "#8cc4dc" in page.locator("gramwatt-calculator svg").inner_html()
    assert page.locator("gramwatt-calculator label").all_inner_texts() == ["Pack power"]
    assert page.locator("gramwatt-calculator dt").all_inner_texts() == ["Loaded pack voltage", "C-rate"]
    assert page.locator("gramwatt-calculator svg title").text_content() == "Current and voltage against power"
    assert log.errors == []


def test_parts_are_rows(club: Any) -> None:
    parts = '[{"name": "frame", "mass": 38.4}, {"name": "it&apos;s", "mass": "0.2 lb"}]'
    page, log = club(
        f"<gramwatt-calculator name='mass-margin' mass_limit='250' parts='{parts}' picture></gramwatt-calculator>"
    )
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("120.88")
    expect(page.locator("gramwatt-calculator svg")).to_contain_text("it's")
    page.get_by_role("button", name="Add a part").click()
    page.get_by_label("Name of part 3").fill("pack")
    page.get_by_label("Mass of part 3", exact=True).fill("100")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("20.88")
    page.get_by_role("button", name="Take out part 1").click()
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("59.28")
    assert all(error.startswith(REJECTED) for error in log.errors), "while the new row had no mass yet"
    assert find_accessibility_problems(page) == []


def test_errors_appear_next_to_their_fields(club: Any) -> None:
    page, log = club(ENDURANCE)
    expect(page.locator("gramwatt-calculator .headline")).to_be_visible()
    power = page.get_by_label("Average power", exact=True)
    power.fill("much")
    expect(power).to_have_attribute("aria-invalid", "true")
    expect(page.locator("gramwatt-calculator .fault").first).to_contain_text("Accepted: above 0")
    assert events(page, "problem")[-1]["problem"]["errors"][0]["pointer"] == "/mean_power"
    assert page.evaluate("document.querySelector('gramwatt-calculator').answer") is None
    power.fill("200")
    expect(page.locator("gramwatt-calculator .fault")).to_have_count(0)
    assert log.errors
    assert all(error.startswith(REJECTED) for error in log.errors), "the browser's own message about the response"


def test_an_error_appears_in_its_own_row(club: Any) -> None:
    """Also below a row that is still blank; a value that is no table is reported."""
    parts = '[{"mass": 5}, {}, {"mass": "heavy"}]'
    page, _ = club(
        f"<gramwatt-calculator id='a' name='mass-margin' mass_limit='250' parts='{parts}'></gramwatt-calculator>"
        "<gramwatt-calculator id='b' name='mass-margin' mass_limit='250' parts='no list'></gramwatt-calculator>"
    )
    expect(page.locator("#a").get_by_label("Mass of part 3", exact=True)).to_have_attribute("aria-invalid", "true")
    assert page.locator("#a [aria-invalid]").count() == 1
    expect(page.locator("#b")).to_contain_text("Enter a list")


def test_inputs_may_be_set_before_anything_has_loaded(club: Any) -> None:
    page, log = club("<div id='place'></div>")
    page.evaluate(
        "() => { const made = document.createElement('gramwatt-calculator'); made.setAttribute('name', 'pack-energy');"
        "made.inputs = {cells: 3, capacity: 1300}; document.getElementById('place').append(made); }"
    )
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("11.54")
    assert log.errors == []


def test_a_point_is_invalid_where_a_comma_is_the_decimal_sign(club: Any) -> None:
    page, log = club(PACK, lang="de")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("23,09")
    page.get_by_label("Capacity", exact=True).fill("1.300")
    expect(page.locator("gramwatt-calculator .fault").first).to_contain_text("a point in a number")
    page.get_by_label("Capacity", exact=True).fill("2600")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("46,18")
    assert log.errors == []


def test_it_speaks_the_page_s_language_in_numbers(club: Any) -> None:
    page, log = club(
        '<gramwatt-calculator name="pack-energy" cells="6" capacity="1.3 Ah"></gramwatt-calculator>', lang="de"
    )
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("23,09")
    expect(page.get_by_label("Capacity", exact=True)).to_have_value("1,3")
    page.get_by_label("Capacity", exact=True).fill("2,6")
    expect(page.locator("gramwatt-calculator .headline")).to_contain_text("46,18")
    assert log.errors == []


def test_it_looks_as_the_page_does(club: Any) -> None:
    style = (
        "body { font-family: monospace; color: rgb(1, 2, 3); --accent: rgb(200, 0, 100); --line: rgb(0, 90, 0); } "
        "gramwatt-calculator { --gramwatt-accent: var(--accent); --gramwatt-line: var(--line); } "
        "gramwatt-calculator::part(headline) { letter-spacing: 3px; }"
    )
    page, _ = club(PACK, style=style)
    headline = page.locator("gramwatt-calculator .headline")
    expect(headline).to_be_visible()
    assert headline.evaluate("node => getComputedStyle(node).fontFamily") == "monospace"
    assert headline.evaluate("node => getComputedStyle(node).color") == "rgb(1, 2, 3)"
    assert headline.evaluate("node => getComputedStyle(node).letterSpacing") == "3px"
    assert headline.locator("strong").evaluate("node => getComputedStyle(node).color") == "rgb(200, 0, 100)"
    border = page.get_by_label("Cells in series", exact=True).evaluate("node => getComputedStyle(node).border")
    assert border == "1px solid rgb(0, 90, 0)"


def test_no_service_and_no_such_calculator_are_reported(club: Any) -> None:
    nowhere = f"http://127.0.0.1:{free_port()}"
    page, _ = club(
        f'<gramwatt-calculator id="a" name="endurance" service="{nowhere}"></gramwatt-calculator>'
        '<gramwatt-calculator id="b" name="endurence"></gramwatt-calculator>'
    )
    expect(page.locator("#a")).to_contain_text("gives no answer. Try again in a while.")
    expect(page.locator("#b")).to_contain_text("Did you mean endurance?")


def test_a_wrong_digest_runs_nothing(browser: Browser, service: str, tmp_path: Path) -> None:
    wrong = "sha384-" + "A" * 64
    (tmp_path / "index.html").write_text(
        f'<script src="{service}/gramwatt-{LATEST}.js" integrity="{wrong}" crossorigin="anonymous"></script>'
        '<gramwatt-calculator name="pack-energy"></gramwatt-calculator>'
    )
    with site(tmp_path) as at:
        page = browser.new_page()
        page.goto(at)
        assert page.evaluate("customElements.get('gramwatt-calculator') === undefined")
        page.close()


def test_without_scripts_a_frame_stands_in(club: Any, service: str) -> None:
    """Filling in, sending and the result stay within the frame, under the club's policy."""
    frame = f"{service}/calculators/pack-energy/frame?cells=6&capacity=1300"
    framed = f'<iframe src="{frame.replace("&", "&amp;")}" title="Pack energy" width="340" height="900"></iframe>'
    page, _ = club(f"{PACK}<noscript>{framed}</noscript>", java_script_enabled=False)
    inside = page.frame_locator("iframe")
    expect(inside.locator("#headline")).to_contain_text("23.09")
    inside.locator("#cells").fill("3")
    inside.locator(".actions button").click()
    expect(inside.locator("#headline")).to_contain_text("11.54")


@pytest.mark.parametrize("width", [320, 1200])
def test_it_fits(club: Any, width: int) -> None:
    page, _ = club(
        '<gramwatt-calculator name="build" kv="2400" diameter="5" pitch="4.3" dry_mass="353.8" '
        """packs='[{"cells": 4, "capacity": 1300, "mass": 155}]' picture></gramwatt-calculator>""",
        viewport={"width": width, "height": 700},
    )
    expect(page.locator("gramwatt-calculator svg")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width


CRAFT = EXAMPLES / "craft" / "craft.json"
FROM_CRAFT = (
    '<gramwatt-calculator name="endurance" craft="craft.json" pack="{pack}" mean_power="160"></gramwatt-calculator>'
)


@pytest.fixture
def craft(tmp_path: Path) -> Any:
    """Put the craft document of the examples on the club's site, and return it."""
    (tmp_path / "craft.json").write_bytes(CRAFT.read_bytes())
    return json.loads(CRAFT.read_bytes())


def test_a_craft_document_gives_the_inputs(club: Any, craft: Any) -> None:
    """Two elements fetch it once; attributes win; a visitor chooses another pack by its name."""
    page, log = club(
        FROM_CRAFT.format(pack="6 cells")
        + FROM_CRAFT.format(pack="4 cells").replace(" mean_power", ' reserve="30" mean_power')
    )
    first, second = page.locator("gramwatt-calculator").all()
    six, four = (
        calculate("endurance", craft=craft, mean_power=160, **own)
        for own in ({"pack": "6 cells"}, {"pack": "4 cells", "reserve": 30})
    )
    expect(first.locator(".headline")).to_contain_text(f"{six['results']['endurance']:.4g}")
    expect(second.locator(".headline")).to_contain_text(f"{four['results']['endurance']:.4g}")
    assert len([url for url in log.requests if url.endswith("/craft.json")]) == 1
    assert first.locator("option").all_inner_texts()[:4] == [pack["name"] for pack in craft["packs"]]
    received = [detail["answer"]["from_craft"] for detail in events(page, "result")]
    assert sorted(received) == sorted([six["from_craft"], four["from_craft"]]), "in whichever order they arrive"
    first.locator("#input-pack").select_option("6 cells large")
    large = calculate("endurance", craft=craft, mean_power=160, pack="6 cells large")["results"]["endurance"]
    expect(first.locator(".headline")).to_contain_text(f"{large:.4g}")
    changed(page, {"pack": "6 cells large", "mean_power": 160})
    assert log.errors == []


def test_rows_of_the_craft_are_shown_until_a_visitor_changes_them(club: Any, craft: Any) -> None:
    """The masses are the craft's, with propellers and the chosen pack; then they are the visitor's."""
    page, log = club(
        '<gramwatt-calculator name="mass-margin" craft="craft.json" fields="pack parts"></gramwatt-calculator>'
    )
    element = page.locator("gramwatt-calculator")
    expect(element.locator(".headline")).to_contain_text("27.30")  # by hand: 550 - 522.7
    expect(element.locator(".row")).to_have_count(len(craft["parts"]) + 2)
    element.locator("#input-pack").select_option("4 cells")
    expect(element.locator(".headline")).to_contain_text("58.90")  # by hand: 550 - 491.1
    expect(element.locator(".row").last.locator("input").first).to_have_value("4 cells")
    element.locator("[id='input-parts.0.mass']").fill("122.5")
    expect(element.locator(".headline")).to_contain_text("48.90")  # 10 g more
    assert log.errors == []


def test_what_neither_craft_nor_attributes_give_is_a_field(club: Any, craft: Any) -> None:
    """The only one, and requested in one sentence."""
    page, log = club('<gramwatt-calculator name="endurance" craft="craft.json"></gramwatt-calculator>')
    element = page.locator("gramwatt-calculator")
    expect(element).to_contain_text("Enter average power for a result.")
    assert element.locator(".fault, [aria-invalid]").count() == 0
    assert element.locator("input").count() == 1
    element.locator("input").fill("160")
    found = calculate("endurance", craft=craft, mean_power=160)["results"]["endurance"]
    expect(element.locator(".headline")).to_contain_text(f"{found:.4g}")
    assert all(error.startswith(REJECTED) for error in log.errors)


def test_a_craft_that_cannot_be_used_is_one_clear_sentence(club: Any, craft: Any, tmp_path: Path) -> None:
    """None at that address, another site that does not allow it, no JSON, a wrong value in it, no such pack."""
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "craft.json").write_bytes(CRAFT.read_bytes())
    (tmp_path / "broken.json").write_text("{", encoding="utf-8")
    (tmp_path / "wrong.json").write_text(json.dumps({**craft, "reserve": "much"}), encoding="utf-8")
    with site(tmp_path / "other") as other:
        texts = {
            "none.json": "The craft at none.json cannot be used: its server answers 404.",
            f"{other}/craft.json": "there is none, or its server does not let this page read it (CORS).",
            "broken.json": "The craft at broken.json cannot be used: it is not JSON.",
            "wrong.json": "craft.reserve: ",
        }
        tags = "".join(
            f'<gramwatt-calculator name="endurance" craft="{at}" mean_power="160"></gramwatt-calculator>'
            for at in texts
        )
        page, _ = club(tags + FROM_CRAFT.format(pack="5 cells"))
        *elements, unknown = page.locator("gramwatt-calculator").all()
        for element, text in zip(elements, texts.values(), strict=True):
            expect(element.locator(".fault")).to_contain_text(text)
        expect(unknown.locator(".fault").first).to_contain_text("6 cells large")


def test_cautions_that_always_hold_are_folded(club: Any) -> None:
    page, _ = club(ENDURANCE)
    found = calculate("endurance", cells=6, capacity=1300, mean_power=200)["cautions"]
    folded = page.locator("gramwatt-calculator details li")
    expect(folded).to_have_count(sum(each["kind"] == "standing" for each in found))
    expect(folded.first).to_be_hidden()
    page.locator("gramwatt-calculator summary").click()
    expect(folded.first).to_be_visible()


def test_the_example_works_as_it_stands(browser: Browser, service: str, examples: Path, tmp_path: Path) -> None:
    """For a service elsewhere: its address changes everywhere, the digest stays."""
    for folder in ("website", "craft"):
        shutil.copytree(examples / folder, tmp_path / folder)
    path = tmp_path / "website" / "before-you-fly.html"
    path.write_text(path.read_text(encoding="utf-8").replace("http://127.0.0.1:8000", service), encoding="utf-8")
    with site(tmp_path, policy(service)) as at:
        page = browser.new_page(viewport={"width": 360, "height": 800}, locale="en-GB")
        log = PageLog(page)
        page.goto(f"{at}/website/before-you-fly.html")
        craft = json.loads(CRAFT.read_bytes())
        value = calculate("endurance", craft=craft, pack="4 cells", mean_power=160)["results"]["endurance"]
        first, second = page.locator("gramwatt-calculator").all()
        expect(first.locator(".headline")).to_contain_text(f"{value:.4g}")
        expect(second.locator(".headline")).to_contain_text("58.90 g")  # by hand: 550 - 491.1
        expect(second.locator("svg")).to_contain_text("motor × 4")
        assert page.evaluate("document.documentElement.scrollWidth") == 360
        assert find_accessibility_problems(page) == []
        assert log.errors == []
        page.close()
