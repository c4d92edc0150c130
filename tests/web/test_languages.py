import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from sewermap.errors import SewermapError
from sewermap.history.kinds import vocabulary
from sewermap.history.life import STATES
from sewermap.web import words as words_module
from sewermap.web.build_site import build_site
from sewermap.web.words import LANGUAGES, Words, keys

WEB = Path(words_module.__file__).parent
KEY = re.compile(r"""\b(?:t|tn|sewermap\.t|sewermap\.tn)\(\s*["']([\w.-]+)["']""")
PLACES = re.compile(r"\{\w+\}")
ALIKE = 4
"""Words of up to so many letters may be the same by chance in two languages."""


@pytest.fixture(scope="module")
def french(sample_town, tmp_path_factory):
    """The sample town's site in French."""
    folder = tmp_path_factory.mktemp("french")
    build_site(replace(sample_town.tables, language="fr"), folder)
    return folder


def seen_texts(page):
    """All texts that a person reads or hears on a page, but not those of the data, which stand in <bdi>."""
    script = """() => {
        const texts = [document.title], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
        for (let node = walker.nextNode(); node; node = walker.nextNode()) {
            if (!node.parentElement.closest("bdi, script")) texts.push(node.textContent.trim());
        }
        for (const element of document.querySelectorAll("[aria-label], [data-title], [placeholder], [title]")) {
            for (const name of ["aria-label", "data-title", "placeholder", "title"]) texts.push(element.getAttribute(name) || "");
        }
        return texts.filter(Boolean);
    }"""
    return page.evaluate(script)


def test_every_language_has_every_key():
    """No key is missing in French, and none is there that English lacks; a "one" has its "many"."""
    assert set(keys("fr")) == set(keys("en"))
    counted = {key.rpartition(".")[0] for key in keys("en") if key.endswith((".one", ".many"))}
    assert {f"{key}.{number}" for key in counted for number in ("one", "many")} <= set(keys("en"))


def test_a_translation_fills_in_the_same():
    """Each text has the placeholders of the English one: nothing that a page tells is lost in another language."""
    told = {key: set(PLACES.findall(text)) for key, text in keys("en").items()}
    assert {key: set(PLACES.findall(text)) for key, text in keys("fr").items()} == told


def test_every_key_that_a_page_asks_for_is_there():
    """Keys named in templates and scripts are in the language files; a count has one and many."""
    files = [*(WEB / "templates").glob("*.html"), *(WEB / "static").glob("*.js")]
    asked = {(key, file.name) for file in files for key in KEY.findall(file.read_text(encoding="utf-8"))}
    known = set(keys("en"))
    lost = {(key, name) for key, name in asked if key not in known and f"{key}.one" not in known and not key.endswith((".", "_"))}
    assert len(asked) > 60
    assert lost == set()


def test_our_own_kinds_and_states_have_words():
    """Each kind of the packaged vocabulary and each state of an issue is told in the language."""
    for name in vocabulary().names:
        assert f"kind.{name}" in keys("fr")
    for name in STATES:
        assert f"state.{name}" in keys("fr")


def test_a_towns_own_kind_is_told_as_it_is():
    """A word that no language has stays as the town wrote it."""
    assert Words("fr").kind("gravel bed") == "gravel bed"
    assert Words("fr").kind("roots") == "racines"


def test_an_unknown_language_is_refused():
    """The error names the language and those that there are."""
    with pytest.raises(SewermapError, match=r"no language 'tlh'; they know en, fr"):
        Words("tlh")


@pytest.mark.parametrize("name", ["due", "repeats", "changes", "quality"])
def test_no_english_is_left_on_a_french_page(french, open_page, name):
    """All but the data is French, for the eye and for the ear, and the page says its language."""
    visit = open_page(french, name=f"{name}.html")
    visit.until("document.querySelector('table.rows, .none') !== null")
    english = {text for key, text in keys("en").items() if text != keys("fr")[key] and len(text) > ALIKE}
    french_words = set(keys("fr").values())
    texts = seen_texts(visit.page)
    assert visit.page.evaluate("document.documentElement.lang") == "fr"
    assert "Défaut" in texts or "Branchement" in texts
    assert [text for text in texts if text in english - french_words] == []
    assert (visit.failed, visit.messages) == ([], [])


@pytest.mark.parametrize("language", LANGUAGES)
def test_days_and_numbers_are_those_of_the_browser(sample_town, open_page, language):
    """What Python writes into a page is what Intl (Unicode CLDR, in Chromium) writes: months, thousands, and one or many."""
    page = open_page(sample_town.folder, name="due.html").page
    ours, locale = Words(language), {"en": "en-GB"}.get(language, language)
    for month in range(1, 13):
        day = date(2026, month, 15)
        spelt = "new Date(d).toLocaleDateString(l, {day: 'numeric', month: 'long', year: 'numeric', timeZone: 'UTC'})"
        assert ours.day(day) == page.evaluate(f"([d, l]) => {spelt}", [day.isoformat(), locale])
    for number in (0, 1, 2, 999, 1000, 123456):
        assert ours.number(number) == page.evaluate("([n, l]) => n.toLocaleString(l)", [number, locale])
        one = page.evaluate("([n, l]) => new Intl.PluralRules(l).select(n)", [number, locale]) == "one"
        assert ours.tn("list.rows", number) == ours.t(f"list.rows.{'one' if one else 'many'}", count=ours.number(number))


def test_lengths_are_told_in_the_users_unit_first(sample_town, open_page, tmp_path):
    """Feet or metres first, the other beside; 0.3048 m are one foot by definition."""
    build_site(replace(sample_town.tables, units="m", language="fr"), tmp_path)
    told = "[sewermap.words.length(3.048), sewermap.words.length(3.048, 0.3048), sewermap.words.length(null)]"
    feet = open_page(sample_town.folder, name="due.html").page.evaluate(told)
    metres = open_page(tmp_path, name="due.html").page.evaluate(told)
    assert feet == [
        "10.0\u00a0ft (3.05\u00a0m)",
        "10.0\u00a0ft\u00a0±\u00a01.0\u00a0ft (3.05\u00a0m\u00a0±\u00a00.30\u00a0m)",
        "",
    ]
    assert metres[0] == "3,05\u00a0m (10,0\u00a0ft)"


def test_a_reading_stays_as_it_was_written(sample_town, open_page):
    """Only a bare number gets the run's unit; nothing of the text is altered."""
    page = open_page(sample_town.folder, name="due.html").page
    told = (
        """[sewermap.words.reading("44.6", "ft"), sewermap.words.reading("44' 6\\"", "ft"), sewermap.words.reading(null, "ft")]"""
    )
    assert page.evaluate(told) == ["44.6 ft", "44' 6\" (run counts in ft)", ""]
