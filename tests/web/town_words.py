"""What a person reads off the town map, for its tests."""

import re

ROWS = "() => [...document.querySelectorAll('#list [data-issue]')].map((row) => Number(row.dataset.issue))"


def shown(visit):
    """The four numbers of "Shown 120 of 1,340 issues on 60 of 900 laterals"."""
    return [int(number.replace(",", "")) for number in re.findall(r"[\d,]+", visit.page.inner_text("#shown"))]


def whole_town(visit):
    """Ask for the list of the whole town."""
    visit.page.check("#whole-town")


def listed(visit):
    """The rows of the whole list, part after part."""
    rows = visit.page.evaluate(ROWS)
    later = visit.page.locator("#pager button").last
    while later.is_visible() and later.is_enabled():
        later.click()
        rows += visit.page.evaluate(ROWS)
    return rows


def names_listed(visit, town):
    """The names of the issues in the list of the whole town, sorted."""
    whole_town(visit)
    return sorted(town.index.issues["issue"].iloc[listed(visit)])
