import pytest

PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}

PAIRS = (("--ink", "--paper"), ("--ink", "--panel"), ("--soft", "--paper"), ("--soft", "--panel"), ("--accent", "--paper"))
MORE_PAIRS = (("--accent", "--panel"), ("--soft", "--marked"), ("--ink", "--marked"), ("--stop-ink", "--stop"))


def luminance(colour):
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Contrast ratio, WCAG 2.2: (L1 + 0.05) / (L2 + 0.05)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_a_phone_needs_no_sideways_scrolling(site, open_page):
    """360 pixels wide: closed, with everything unfolded, and with a popup open."""
    visit = open_page(site, **PHONE)
    width = "document.documentElement.scrollWidth"
    assert visit.page.evaluate(width) <= 360
    for fold in ("#legend-fold", "#kinds-fold"):
        visit.page.locator(f"{fold} summary").tap()
    assert visit.page.evaluate(width) <= 360
    visit.page.locator("#list button").first.tap()
    assert visit.page.evaluate(width) <= 360
    assert visit.page.evaluate("visualViewport.scale") == 1


def test_a_popup_on_a_phone_lies_inside_the_map(site, open_page):
    """The popup of a cross-bore, with its caution, fits the map and does not lie under the zoom buttons."""
    visit = open_page(site, **PHONE)
    visit.page.locator("#list button", has_text="Cross-bore").tap()
    # Leaflet moves the map under the popup for a quarter of a second.
    top = "getBoundingClientRect().top"
    visit.until(f"document.querySelector('.leaflet-popup').{top} >= map_town.getContainer().{top}")
    popup, frame = (
        visit.page.locator(".leaflet-popup-content-wrapper").bounding_box(),
        visit.page.locator("#map_town").bounding_box(),
    )
    zoom = visit.page.locator(".leaflet-control-zoom").bounding_box()
    assert frame["x"] <= popup["x"]
    assert popup["x"] + popup["width"] <= frame["x"] + frame["width"]
    assert frame["y"] <= popup["y"]
    assert popup["y"] + popup["height"] <= zoom["y"]
    assert visit.page.locator(".popup .stop").is_visible()


def test_buttons_are_large_enough_for_a_thumb(site, open_page):
    """Every button and box row on a phone is at least 24 pixels high (WCAG 2.2, 2.5.8); our own aim is 40."""
    visit = open_page(site, **PHONE)
    visit.page.locator("#kinds-fold summary").tap()
    shown = "[...document.querySelectorAll('button, .check')].filter((e) => e.offsetParent)"
    heights = visit.page.evaluate(f"{shown}.map((e) => e.getBoundingClientRect().height)")
    assert len(heights) > 15
    assert min(heights) >= 40


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_can_be_read_in_the_light_and_in_the_dark(site, open_page, scheme):
    """Every pair of text and ground that the style uses has a contrast of 4.5 or more (WCAG 2.2, 1.4.3)."""
    visit = open_page(site, color_scheme=scheme)
    names = sorted({name for pair in PAIRS + MORE_PAIRS for name in pair})
    read = "(names) => names.map((name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim())"
    colours = dict(zip(names, visit.page.evaluate(read, names), strict=True))
    assert [pair for pair in PAIRS + MORE_PAIRS if contrast(colours[pair[0]], colours[pair[1]]) < 4.5] == []


def test_grades_run_from_pale_to_dark_and_their_numbers_can_be_read(site, open_page):
    """One ramp: each grade's fill is darker than the one before it; the number inside has a contrast of 4.5 with it."""
    signs = open_page(site).page.evaluate("sewermap.symbols.CLASSES.slice(3).map((sign) => [sign.fill, sign.ink])")
    fills = [luminance(fill) for fill, _ in signs]
    assert len(fills) == 5
    assert fills == sorted(fills, reverse=True)
    assert min(contrast(fill, ink) for fill, ink in signs) >= 4.5


def test_each_grade_has_a_shape_of_its_own(site, open_page):
    """Without any colour the five grades still look different: their outlines cover different pixels."""
    script = """() => [3, 4, 5, 6, 7].map((i) => {
        const sign = sewermap.symbols.picture(i), { data } = sign.getContext("2d").getImageData(0, 0, sign.width, sign.height);
        return [...data].filter((_, k) => k % 4 === 3).map((alpha) => (alpha > 127 ? 1 : 0)).join("");
    })"""
    assert len(set(open_page(site).page.evaluate(script))) == 5


def test_every_input_has_a_name(site, open_page):
    """Nothing that can be switched or typed into is without a label."""
    missing = "[...document.querySelectorAll('input')].filter((e) => !e.labels.length).length"
    assert open_page(site).page.evaluate(missing) == 0
