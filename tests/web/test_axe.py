"""Every page type against axe-core: no serious fault, in light and in dark, on a desk and on a phone.

axe-core (MPL 2.0) comes inside the wheel of axe-playwright-python; its rules are those of WCAG 2.0 to 2.2, A and AA, and its
best practices. What axe leaves undecided of contrast is judged by the picture (``contrast.py``).
"""

from importlib import resources

import pytest

from tests.web.contrast import contrast, too_pale
from tests.web.every_page import LINKS, stood

SIZES = {"desk": {"width": 1280, "height": 800}, "phone": {"width": 360, "height": 740, "is_mobile": True, "has_touch": True}}
SCHEMES = {"desk": ("light", "dark"), "phone": ("light",)}
NONE: dict[str, dict[str, list[str]]] = {size: {scheme: [] for scheme in schemes} for size, schemes in SCHEMES.items()}
AXE = (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
# Without preload: axe would fetch the style sheets, which nothing may do from the disk.
RUN = """async (colours) => {
    const rules = { "color-contrast": { enabled: colours } };
    const found = await axe.run(document, { preload: false, rules, resultTypes: ["violations", "incomplete"] });
    const told = (rules) => rules.flatMap((rule) => rule.nodes.map((node) => ({ rule: rule.id, impact: rule.impact || "none",
        target: node.target.join(" "), html: node.html.slice(0, 160),
        why: [...node.any, ...node.all, ...node.none].map((check) => check.message).join("; ") })));
    return { violations: told(found.violations), incomplete: told(found.incomplete) }; }"""
GRAVE = ("serious", "critical")
ONE_OF_EACH = """() => { const seen = new Set();
    for (const row of document.querySelectorAll("#list > li")) {
        const parts = [...row.querySelectorAll("*")].map((part) => `${part.tagName} ${part.className}`);
        const look = [row.querySelector("img").src, ...parts].join();
        if (seen.has(look)) row.remove();
        seen.add(look);
    } }"""
PLANTED = """(how) => { const one = document.createElement("p");
    one.id = "planted"; one.textContent = "Nobody can read this";
    one.style.setProperty("color", how.color);
    one.style.setProperty(how.property, how.value);
    one.style.setProperty("background-color", how.ground || "");
    document.querySelector("main").prepend(one); }"""


def faults(page, *, colours=True):
    """What axe finds grave on a page, and (``colours``) the texts it could not judge that cannot be read."""
    page.evaluate(AXE)
    found = page.evaluate(RUN, colours)
    grave = [f"{one['rule']} at {one['target']}: {one['why']}" for one in found["violations"] if one["impact"] in GRAVE]
    undecided = [one for one in found["incomplete"] if one["impact"] in GRAVE]
    unread = [one["target"] for one in undecided if one["rule"] == "color-contrast"]
    others = [
        f"undecided: {one['rule']} at {one['target']}: {one['why']}" for one in undecided if one["rule"] != "color-contrast"
    ]
    return [*grave, *others, *too_pale(page, unread)]


def faults_by_scheme(page, size):
    """The grave faults of a page in each scheme that is looked at in this size."""
    found = {}
    for scheme in SCHEMES[size]:
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(200)
        found[scheme] = faults(page, colours=size == "desk")
    return found


def opened(open_page, folder, kind, link, width=1280, height=800, **options):
    """A page as high as all it holds, so that nothing of it is out of sight; the town map keeps its window, or it would grow."""
    visit = open_page(
        folder, name="index.html" if kind == "public" else f"{kind}.html", link=link, width=width, height=height, **options
    )
    page = stood(visit, kind)
    if kind == "index":
        # One row of each look stands for its like: each that is out of sight would be scrolled to and judged alone.
        page.evaluate(ONE_OF_EACH)
        return page
    whole = min(page.evaluate("document.documentElement.scrollHeight"), 15_000)
    page.set_viewport_size({"width": width, "height": max(whole, height)})
    page.wait_for_timeout(200)
    stood(visit, kind)
    return page


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("what", LINKS)
def test_no_page_has_a_grave_fault(sample_town, open_page, town_names, what, size):
    """Neither a serious or critical finding nor a text too pale on what is drawn below it, in light and in dark.

    Colours are judged on the desk, in both schemes: those of a phone are the same.
    """
    kind, link = LINKS[what]
    page = opened(open_page, sample_town.folder, kind, link.format(**town_names), **SIZES[size])
    assert faults_by_scheme(page, size) == NONE[size]


@pytest.mark.parametrize("size", SIZES)
def test_the_public_page_has_no_grave_fault(public_folder, open_page, size):
    """The same for the page that tells of streets alone."""
    page = opened(open_page, public_folder, "public", "", **SIZES[size])
    assert faults_by_scheme(page, size) == NONE[size]


@pytest.mark.parametrize(
    "how",
    [
        {"color": "#bbbbbb", "property": "background-color", "value": "#ffffff", "ground": "#ffffff"},
        {"color": "#bbbbbb", "property": "background-image", "value": "linear-gradient(#ffffff, #eeeeee)"},
        {"color": "#ffffff", "property": "text-shadow", "value": "0 0 1px #ffffff, 1px 1px 2px #fffffe", "ground": "#ffffff"},
    ],
    ids=["plain", "gradient", "shadow"],
)
def test_a_planted_pale_text_is_found(sample_town, open_page, how):
    """A grey text on white is found, also where axe alone leaves it undecided: these tests can fail."""
    page = opened(open_page, sample_town.folder, "due", "")
    assert not [fault for fault in faults(page) if "#planted" in fault]
    page.evaluate(PLANTED, how)
    assert [fault for fault in faults(page) if "#planted" in fault]


def test_a_planted_picture_without_a_name_is_found(sample_town, open_page):
    """An image without an alternative is found: these tests can fail."""
    page = opened(open_page, sample_town.folder, "due", "")
    page.evaluate("document.querySelector('main').append(document.createElement('img'))")
    assert any(fault.startswith("image-alt") for fault in faults(page))


def test_contrast_is_that_of_the_standard():
    """Black on white 21, equal colours 1 (WCAG 2.2); #767676 on white 4.54, the usual example of the least grey."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((9, 9, 9), (9, 9, 9)) == pytest.approx(1.0)
    assert contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.005)
