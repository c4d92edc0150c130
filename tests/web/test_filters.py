def count(visit):
    """Read what the page says it shows."""
    return visit.page.inner_text("#count")


def test_a_kind_switched_off_leaves_map_list_and_count(site, open_page):
    """Without roots there are two fewer of ten, fewer pixels, and no roots in the list."""
    visit = open_page(site)
    before = visit.drawn(".leaflet-signs-pane")
    visit.page.get_by_label("roots").uncheck()
    assert count(visit) == "Shown 8 of 10 observations on the map."
    assert visit.drawn(".leaflet-signs-pane") < before
    assert "Roots" not in visit.page.inner_text("#list")
    visit.page.get_by_label("roots").check()
    assert count(visit) == "Shown 10 of 10 observations on the map."
    assert visit.drawn(".leaflet-signs-pane") == before


def test_each_box_tells_how_many_it_stands_for(site, open_page):
    """Kinds and roles carry their counts of what is on the map: two roots, seven defects."""
    boxes = open_page(site).page.locator("#kinds label").all_inner_texts()
    said = {" ".join(text.split()) for text in boxes}
    assert {"roots 2", "crack 1", "Defects 7", "Features of the line 2"} <= said


def test_a_role_switched_off_takes_its_kinds_along(site, open_page):
    """Without features seven defects and one look are left, and the features' own boxes are at rest."""
    visit = open_page(site)
    visit.page.get_by_label("Features of the line").uncheck()
    assert count(visit) == "Shown 8 of 10 observations on the map."
    assert visit.page.get_by_label("clean-out").is_disabled()


def test_none_then_one_kind_shows_that_kind_alone(site, open_page):
    """'None' leaves only the laterals; one kind is then a single click away; 'All' brings everything back."""
    visit = open_page(site)
    visit.page.get_by_role("button", name="None").click()
    assert count(visit) == "Shown 0 of 10 observations on the map."
    assert visit.drawn(".leaflet-signs-pane") > 0
    assert "Nothing passes the filters" in visit.page.inner_text("#list")
    visit.page.get_by_label("crack").check()
    assert count(visit) == "Shown 1 of 10 observations on the map."
    visit.page.get_by_role("button", name="All").click()
    assert count(visit) == "Shown 10 of 10 observations on the map."


def test_what_could_not_be_placed_is_never_hidden_by_a_filter(site, open_page):
    """The unplaced stay listed whatever is switched off."""
    visit = open_page(site)
    visit.page.get_by_role("button", name="None").click()
    visit.page.fill("#find", "nowhere at all")
    assert visit.page.locator("#unplaced li").count() == 2


def test_circles_can_be_switched_off(site, open_page):
    """Without circles less is drawn, and every observation is still counted."""
    visit = open_page(site)
    visit.page.evaluate("map_town.setZoom(21, {animate: false})")
    before = visit.drawn(".leaflet-signs-pane")
    visit.page.get_by_label("95 % circles").uncheck()
    assert visit.drawn(".leaflet-signs-pane") < before
    assert count(visit) == "Shown 10 of 10 observations on the map."


def test_an_address_is_found_as_it_is_typed(site, open_page):
    """'2 alder' is house 2, not house 12; the map goes there."""
    visit = open_page(site)
    visit.page.fill("#find", "2 alder")
    assert count(visit) == "Shown 3 of 10 observations on the map."
    assert visit.page.locator("#list h3").all_inner_texts() == ["2 Alder Lane · lateral L-0"]
    assert (
        abs(visit.page.evaluate("map_town.getCenter().lng") - visit.page.evaluate("sewermap.town.observations.lon[0] / 1e7"))
        < 1e-5
    )
