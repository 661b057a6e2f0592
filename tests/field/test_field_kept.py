"""Nothing that was told as saved is lost: tab or browser killed, storage refused, storage full."""

from __future__ import annotations

import base64
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from field_blocks import enter, field_block, log_told, tap, wait_saved
from phone import Phone, weigh_while_killed, weight_of

from geoprune.deliver.field import render_field_page

pytestmark = pytest.mark.browser
PHONE = {"width": 360, "height": 640, "has_touch": True, "is_mobile": True}

#: What a full disk does: local storage refuses, and the database takes the entry and then abandons the transaction.
FULL = """() => {
  const put = IDBObjectStore.prototype.put;
  const set = Storage.prototype.setItem;
  window.__full = (full) => {
    IDBObjectStore.prototype.put = full ? function (...given) {
      const request = put.apply(this, given);
      this.transaction.abort();
      return request;
    } : put;
    Storage.prototype.setItem = full ? () => { throw new DOMException('full', 'QuotaExceededError'); } : set;
  };
}"""


@pytest.fixture(scope="module")
def html() -> str:
    return render_field_page(field_block())


def test_sixty_vines_are_there_after_kills_at_random_moments(browser: Any, html: str, tmp_path: Path) -> None:
    # Five kills here; fifty in benchmarks/field_kills.py.
    file = tmp_path / "page.html"
    file.write_text(html, encoding="utf-8")
    phone = Phone(browser.browser_type, file, tmp_path / "profile")
    counted = weigh_while_killed(phone, vines=60, kills=5, seed=7)
    phone.close()
    assert counted.pop("kills") == 5
    assert 0 < counted.pop("whole") < 5
    # A kill between the disk and the word "saved" leaves an entry that nobody was told of.
    assert 55 <= counted.pop("confirmed") <= 60
    assert set(counted.values()) == {0}, counted


def test_half_a_record_at_the_end_of_the_databases_log_costs_nothing(browser: Any, html: str, tmp_path: Path) -> None:
    """What a kill in the middle of a write leaves: a record's head (checksum, 300 bytes long, whole) and nothing behind it.

    The form of the head is that of LevelDB's log (doc/log_format.md of google/leveldb).
    """
    file = tmp_path / "page.html"
    file.write_text(html, encoding="utf-8")
    phone = Phone(browser.browser_type, file, tmp_path / "profile")
    phone.start()
    for vines in (2, 2):
        for _ in range(vines):
            assert phone.weigh_next(weight_of)
        phone.kill(whole=True)
        phone.after()
        logs = sorted((phone.profile / "Default" / "IndexedDB").rglob("*.log"))
        if not logs:
            pytest.skip("this Chromium keeps its database in another form")
        with logs[-1].open("ab") as log:
            log.write(b"\x12\x34\x56\x78" + (300).to_bytes(2, "little") + b"\x01")
        phone.start()
    there = {entry["id"] for entry in log_told(phone.page)}
    phone.close()
    assert len(phone.confirmed) == 4
    assert set(phone.confirmed) <= there


def test_whichever_place_breaks_nothing_is_lost_and_all_rests_on_two_again(browser: Any, html: str, tmp_path: Path) -> None:
    """Kills in quick succession at their worst: one database and local storage are gone; at the next start the other one."""
    file = tmp_path / "page.html"
    file.write_text(html, encoding="utf-8")
    phone = Phone(browser.browser_type, file, tmp_path / "profile")
    storage = phone.profile / "Default"
    phone.start()
    for _ in range(2):
        assert phone.weigh_next(weight_of)
    for broken in ("IndexedDB", "WebStorage"):
        phone.kill(whole=True)
        phone.after()
        logs = [log for log in (storage / broken).rglob("*.log") if "leveldb" in log.parent.name]
        if not logs:
            pytest.skip("this Chromium keeps its databases in another form")
        shutil.rmtree(logs[-1].parent)
        shutil.rmtree(storage / "Local Storage", ignore_errors=True)
        phone.start()
        assert set(phone.confirmed) <= {entry["id"] for entry in log_told(phone.page)}, broken
        assert phone.page.locator("#banner").is_hidden()
    phone.close()
    assert len(phone.confirmed) == 2


def test_where_only_one_place_holds_an_entry_the_page_says_so(open_page: Callable, html: str) -> None:
    """No local storage and no second database: what is on the disk is saved, and that there is no second copy is said."""
    page = open_page(html, **PHONE).page
    page.evaluate(
        """() => { Object.defineProperty(navigator, 'storageBuckets', { value: undefined });
        Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); };
        const put = IDBObjectStore.prototype.put;
        IDBObjectStore.prototype.put = function (value) {
          if (this.name === 'entries' && window.__seen && this.transaction.db !== window.__seen) throw Error();
          if (this.name === 'entries') window.__seen = this.transaction.db;
          return put.call(this, value); }; }"""
    )
    tap(page, "job-weigh")
    enter(page, "2.4")
    tap(page, "save")
    assert wait_saved(page) == "Saved ✓ Row 1, vine 2: 2.4 lb"
    assert page.locator("#banner").inner_text().startswith("Saved in one place of this phone only, with no second copy: 1.")
    assert page.locator("#banner").get_attribute("class") == "kept"


def test_a_form_that_was_saved_just_before_the_page_died_is_not_there_again(open_page: Callable, html: str) -> None:
    """The entry reached the disk, the note that the form is done with did not: the next vine stands there all the same."""
    page = open_page(html, **PHONE).page
    tap(page, "job-weigh")
    enter(page, "2.4")
    page.wait_for_timeout(100)
    page.evaluate(
        """() => { const put = IDBObjectStore.prototype.put; const set = Storage.prototype.setItem;
        IDBObjectStore.prototype.put = function (value) {
          return this.name === 'drafts' ? this.count() : put.call(this, value); };
        Storage.prototype.setItem = function (key, value) { if (!key.includes('-draft')) set.call(this, key, value); }; }"""
    )
    tap(page, "save")
    wait_saved(page)
    page.reload()
    page.wait_for_selector("html[data-ready=yes]")
    assert page.locator(".place b").all_inner_texts() == ["1", "5"]
    assert page.locator('[data-key="field-weight"] b').inner_text() == "–"


def test_where_storage_is_refused_it_is_said_and_the_list_can_be_exported(browser: Any, html: str, tmp_path: Path) -> None:
    # A page at a data: address has an origin of its own, to which the browser refuses both kinds of storage.
    context = browser.new_context(viewport={"width": 360, "height": 640}, offline=True, accept_downloads=True)
    page = context.new_page()
    page.goto("data:text/html;base64," + base64.b64encode(html.encode("utf-8")).decode("ascii"))
    page.wait_for_selector("html[data-ready=yes]")
    assert page.locator("#banner").is_visible()
    assert "refuses" in page.locator("#banner").inner_text()
    tap(page, "job-weigh")
    enter(page, "2.4")
    tap(page, "save")
    page.wait_for_selector('#status[data-state="lost"]')
    assert page.locator("#status").inner_text() == "NOT SAVED: Row 1, vine 2: 2.4 lb"
    assert page.locator("#banner").inner_text().startswith("NOT SAVED on this phone: 1. Export now")
    with page.expect_download() as download:
        tap(page, "banner-export")
    download.value.save_as(tmp_path / "list.json")
    context.close()
    (entry,) = json.loads((tmp_path / "list.json").read_text("utf-8"))["entries"]
    assert entry["values"] == {"weight": 2.4, "unit": "lb"}


def test_where_storage_is_full_nothing_confirmed_is_lost_and_the_rest_is_said(open_page: Callable, html: str) -> None:
    page = open_page(html, **PHONE).page
    page.evaluate(FULL)
    tap(page, "job-weigh")
    enter(page, "2.4")
    tap(page, "save")
    wait_saved(page)
    page.evaluate("window.__full(true)")
    for text, count in (("2.5", 1), ("2.6", 2)):
        enter(page, text)
        tap(page, "save")
        page.wait_for_selector('#status[data-state="lost"]')
        assert f"{text} lb" in page.locator("#status").inner_text()
        assert page.locator("#banner").inner_text().startswith(f"NOT SAVED on this phone: {count}.")
    again = page.context.new_page()
    again.goto(page.url)
    again.wait_for_selector("html[data-ready=yes]")
    assert [entry["values"]["weight"] for entry in log_told(again)] == [2.4]
    page.evaluate("window.__full(false)")
    enter(page, "2.7")
    tap(page, "save")
    wait_saved(page)
    page.wait_for_selector("#banner", state="hidden")
    again.reload()
    again.wait_for_selector("html[data-ready=yes]")
    assert [entry["values"]["weight"] for entry in log_told(again)] == [2.4, 2.5, 2.6, 2.7]


def test_a_second_copy_alone_is_reported_as_kept_and_not_as_saved(open_page: Callable, html: str) -> None:
    """Local storage reaches the disk when the browser finds time: it is not called saved."""
    page = open_page(html, **PHONE).page
    page.evaluate(
        """() => { window.__put = IDBObjectStore.prototype.put;
        IDBObjectStore.prototype.put = () => { throw new DOMException('no', 'QuotaExceededError'); }; }"""
    )
    tap(page, "job-weigh")
    enter(page, "2.4")
    tap(page, "save")
    page.wait_for_selector('#status[data-state="kept"]')
    assert page.locator("#status").inner_text() == "Kept ✓ Row 1, vine 2: 2.4 lb"
    assert "may lose the last entries" in page.locator("#banner").inner_text()
    enter(page, "2.5")
    page.evaluate("() => { IDBObjectStore.prototype.put = window.__put; }")
    tap(page, "save")
    assert wait_saved(page) == "Saved ✓ Row 1, vine 5: 2.5 lb"
    page.wait_for_selector("#banner", state="hidden")
    page.evaluate("localStorage.clear()")
    page.reload()
    page.wait_for_selector("html[data-ready=yes]")
    assert [entry["values"]["weight"] for entry in log_told(page)] == [2.4, 2.5]


def test_a_database_that_never_answers_is_not_told_as_saved(open_page: Callable, html: str) -> None:
    page = open_page(html, **PHONE).page
    page.evaluate("() => { const set = setTimeout; window.setTimeout = (run, ms) => set(run, ms === 4000 ? 200 : ms); }")
    page.evaluate(
        """() => { IDBDatabase.prototype.transaction = () => ({ objectStore: () => ({ put: () => ({}) }) });
        Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }; }"""
    )
    tap(page, "job-weigh")
    enter(page, "2.4")
    tap(page, "save")
    assert page.locator("#status").get_attribute("data-state") == "saving"
    page.wait_for_selector('#status[data-state="lost"]')


def test_two_tabs_of_one_phone_lose_nothing(open_page: Callable, html: str) -> None:
    page = open_page(html, **PHONE).page
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector("html[data-ready=yes]")
    tap(page, "job-weigh")
    tap(other, "job-weigh")
    for tab, text in ((page, "2.4"), (other, "2.6"), (page, "2.5")):
        enter(tab, text)
        tap(tab, "save")
        wait_saved(tab)
    page.reload()
    page.wait_for_selector("html[data-ready=yes]")
    assert sorted(entry["values"]["weight"] for entry in log_told(page)) == [2.4, 2.5, 2.6]
