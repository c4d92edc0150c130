"""The strip: every mark stands at its measure, issues are joined from run to run, and all of it can be read without a mouse."""

import itertools

import pytest

READY = "document.body.dataset.ready === 'true' && document.querySelector('svg.strip') !== null"
MOST_BACK, GONE_AND_BACK = "L-0006", "L-0056"
MARKS = """() => [...document.querySelectorAll('.strip-box .mark:not(.work)')].map((mark) => {
    const sign = mark.querySelector('.sign path, .open').getBoundingClientRect();
    return { measure: Number(mark.dataset.measure), issue: mark.dataset.issue || null, state: mark.dataset.state || null,
        x: sign.left + sign.width / 2, y: sign.top + sign.height / 2, isGone: mark.classList.contains('gone'),
        name: mark.getAttribute('aria-label'), words: mark.querySelector('.label').textContent }; })"""
TICKS = """() => [...document.querySelectorAll('.strip-box .axis.first line[data-measure]')].map((tick) => {
    const box = tick.getBoundingClientRect();
    return { measure: Number(tick.dataset.measure), x: box.left + box.width / 2 }; })"""
LABELS = """() => [...document.querySelectorAll('.strip-box .label, .strip-box .title')].map((label) => {
    const { left, right, top, bottom } = label.getBoundingClientRect();
    return { left, right, top: top + 3, bottom: bottom - 3, text: label.textContent }; })"""
PIXEL, ROUNDING_M = 1.0, 0.0011


@pytest.fixture
def open_strip(open_page, sample_town):
    """Opens the page of a lateral of the sample town."""
    visits = []

    def opened(name, **options):
        visit = open_page(sample_town.folder, name="property.html", link=f"#lateral={name}", **options)
        visits.append(visit)
        visit.until(READY)
        return visit

    yield opened
    for visit in visits:
        assert (visit.failed, visit.messages) == ([], [])


def on_scale(ticks, measure):
    """The x at which a measure stands by the scale that a person reads: between its first and last tick."""
    first, last = ticks[0], ticks[-1]
    return first["x"] + (measure - first["measure"]) / (last["measure"] - first["measure"]) * (last["x"] - first["x"])


def test_marks_stand_at_their_measure(open_strip, sample_town):
    """Every placed observation of ``history`` has a mark whose x is that of its measure on the scale, to one pixel."""
    page = open_strip(MOST_BACK).page
    marks, ticks = page.evaluate(MARKS), page.evaluate(TICKS)
    told = sample_town.book.history(MOST_BACK)
    placed = sample_town.tables.placed_observations
    placed = placed[(placed["lateral"] == MOST_BACK) & placed["measure_m"].notna()]
    # What runs along the line has its mark at the end nearer to the tie-in.
    wanted = sorted(placed[["measure_m", "to_measure_m"]].astype(float).min(axis=1))
    assert len(wanted) == sum(one["measure_m"] is not None for one in told["observations"])
    now, gone = len(told["issues"]), sum(mark["isGone"] for mark in marks)
    seen = sorted(mark["measure"] for mark in marks)
    assert len(marks) >= len(wanted) + now > 10
    assert len(marks) <= len(wanted) + now + gone
    assert all(min(abs(measure - one) for one in seen) < ROUNDING_M for measure in wanted)
    for mark in marks:
        assert abs(mark["x"] - on_scale(ticks, mark["measure"])) <= PIXEL, mark["name"]


def test_issues_of_points_stand_where_the_history_says(open_strip, sample_town):
    """The last row has each issue at its measure, with its state in words."""
    page = open_strip(GONE_AND_BACK).page
    lowest = {mark["issue"]: mark for mark in page.evaluate(MARKS) if mark["issue"]}
    for issue in sample_town.book.history(GONE_AND_BACK)["issues"]:
        mark = lowest[issue["issue"]]
        assert abs(mark["measure"] - issue["measure_m"]) < ROUNDING_M or issue["kind"] == "deposits"
        assert mark["state"] == issue["state"]
        assert issue["state"] in mark["words"]


def test_issues_are_joined_from_run_to_run(open_strip):
    """Lines go from each mark of an issue to its next one; dashed where one of the two is a look that did not find it."""
    page = open_strip(GONE_AND_BACK).page
    marks = page.evaluate(MARKS)
    joins = page.evaluate(
        "[...document.querySelectorAll('.strip-box .join')].map((join) => [join.dataset.issue, join.classList.contains('lost')])"
    )
    for issue in {mark["issue"] for mark in marks if mark["issue"]}:
        of = sorted((mark for mark in marks if mark["issue"] == issue), key=lambda mark: mark["y"])
        lost = [before["isGone"] or after["isGone"] for before, after in itertools.pairwise(of)]
        assert [is_lost for name, is_lost in joins if name == issue] == lost
    assert any(is_lost for _, is_lost in joins)
    assert not all(is_lost for _, is_lost in joins)


def test_new_gone_and_returned_are_said_in_words(open_strip):
    """What a run changed stands beside its mark: new, not there, returned."""
    words = " ".join(mark["words"] for mark in open_strip(GONE_AND_BACK).page.evaluate(MARKS))
    for one in ("new", "not there", "returned after work", "worse", "mended"):
        assert one in words


def test_runs_and_works_stand_in_order_of_time(open_strip, sample_town):
    """One row a run and one a work, the oldest above, each with its day, and the bar covers what the run covered."""
    page = open_strip(GONE_AND_BACK).page
    told = sample_town.book.history(GONE_AND_BACK)
    titles = page.evaluate("[...document.querySelectorAll('.strip-box .title')].map((one) => one.textContent)")
    assert len(titles) == len(told["runs"]) + len(told["works"]) + 1
    wanted = sorted(
        [*((run["ran_on"], run["run"]) for run in told["runs"]), *((one["done_on"], one["work"]) for one in told["works"])]
    )
    assert [name in title for (_, name), title in zip(wanted, titles, strict=False)] == [True] * len(wanted)
    ticks = page.evaluate(TICKS)
    for run in told["runs"]:
        box = page.evaluate(
            """(run) => { const box = document.querySelector(`[data-run='${run}'] .bar`).getBoundingClientRect();
                return [box.left, box.right]; }""",
            run["run"],
        )
        for side, measure in zip(box, (run["from_measure_m"], run["to_measure_m"]), strict=True):
            assert abs(side - on_scale(ticks, measure)) <= PIXEL + 0.5


@pytest.mark.parametrize("lateral", [MOST_BACK, GONE_AND_BACK, "L-0034", "L-0003"])
def test_labels_do_not_lie_on_each_other(open_strip, lateral):
    """No two texts of the rows overlap."""
    labels = open_strip(lateral).page.evaluate(LABELS)
    assert len(labels) > 5
    for one, other in itertools.combinations(labels, 2):
        apart = one["right"] <= other["left"] or other["right"] <= one["left"]
        assert apart or one["bottom"] <= other["top"] or other["bottom"] <= one["top"], (one["text"], other["text"])


def test_public_and_private_are_written_on_their_sides(open_strip):
    """The words stand left and right of the line where private ends."""
    page = open_strip(MOST_BACK).page
    line = page.evaluate("document.querySelector('.strip-box .ends').getBoundingClientRect().left")
    sides = page.evaluate(
        """[...document.querySelectorAll('.strip-box .sides text')].map((one) => {
            const box = one.getBoundingClientRect(); return [one.textContent, box.left, box.right]; })"""
    )
    assert [words for words, _, _ in sides] == ["public side", "private side"]
    assert sides[0][2] <= line <= sides[1][1]


def test_marks_are_reached_by_arrow_keys(open_strip):
    """One stop of the Tab key; arrows go from mark to mark, and what a mark says, with its reading, stands below."""
    page = open_strip(MOST_BACK).page
    assert page.evaluate("document.querySelectorAll('.strip-box .mark[tabindex=\"0\"]').length") == 1
    page.focus(".strip-box")
    page.keyboard.press("Tab")
    heard = [page.inner_text(".strip-told")]
    for key in ("ArrowRight", "ArrowRight", "ArrowDown", "ArrowLeft"):
        page.keyboard.press(key)
        assert page.evaluate("document.activeElement.getAttribute('aria-label')") == page.inner_text(".strip-told")
        heard.append(page.inner_text(".strip-told"))
    assert len(set(heard)) >= 4
    assert any("reading" in text for text in heard)


def test_every_mark_has_a_name(open_strip):
    """A screen reader hears of each mark its kind, where it is in both units, and its run and day or that it is known now."""
    for mark in open_strip(MOST_BACK).page.evaluate(MARKS):
        assert "\u00a0ft" in mark["name"]
        assert "\u00a0m" in mark["name"]
        assert "20" in mark["name"] or mark["name"].startswith("now")
