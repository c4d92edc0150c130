def focused(visit):
    """Name what has the focus."""
    return visit.page.evaluate("document.activeElement.className || document.activeElement.id || document.activeElement.tagName")


def test_the_list_opens_and_closes_a_popup_without_a_mouse(site, open_page):
    """Enter on a row opens its popup and goes there; Escape closes it and comes back to the row."""
    visit = open_page(site)
    visit.page.locator("#list button").first.focus()
    visit.page.keyboard.press("Enter")
    assert focused(visit) == "popup"
    visit.page.keyboard.press("Escape")
    assert visit.page.locator(".popup").count() == 0
    assert visit.page.evaluate("document.activeElement === document.querySelector('#list button')")


def test_the_map_moves_and_zooms_by_keys(site, open_page):
    """Arrow keys move the focused map, plus zooms in."""
    visit = open_page(site)
    visit.page.locator("#map_town").focus()
    before, zoom = visit.page.evaluate("[map_town.getCenter().lng, map_town.getZoom()]")
    visit.page.keyboard.press("ArrowRight")
    visit.until(f"map_town.getCenter().lng > {before}")
    visit.page.keyboard.press("+")
    visit.until(f"map_town.getZoom() > {zoom}")


def test_tab_reaches_skip_link_filters_map_and_list(site, open_page):
    """The first Tab offers to skip the map; tabbing on meets the search box, a filter, the map and the list."""
    visit = open_page(site)
    visit.page.keyboard.press("Tab")
    assert focused(visit) == "skip"
    met = set()
    for _ in range(40):
        visit.page.keyboard.press("Tab")
        met.add(visit.page.evaluate("(document.activeElement.closest('#find, #kinds, #map_town, #list') || {}).id"))
    assert {"find", "kinds", "map_town", "list"} <= met


def test_a_filter_is_switched_by_the_space_bar(site, open_page):
    """Checkboxes are real ones."""
    visit = open_page(site)
    visit.page.get_by_label("grease").focus()
    visit.page.keyboard.press(" ")
    assert visit.page.inner_text("#count") == "Shown 9 of 10 observations on the map."
