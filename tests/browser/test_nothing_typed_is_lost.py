"""What was typed into the day's form outlives the page: reloads, a browser that is killed, two pages, a wrong clock."""

import json
import os
import re
import signal
import socket
import subprocess
import time

import pytest
from form_page import form_page
from jupyter_lab import CHROMIUM, FLAGS
from playwright.sync_api import Error

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]
KEPT = """async () => {
  const got = (asked) => new Promise((ok, no) => {
    asked.onsuccess = () => ok(asked.result);
    asked.onerror = () => no(asked.error); });
  const db = await got(indexedDB.open("qckit", 1)), read = db.transaction(["pages", "taken"]);
  const names = got(read.objectStore("pages").getAllKeys()), pages = got(read.objectStore("pages").getAll());
  const marks = await got(read.objectStore("taken").getAllKeys()), of = await names;
  const left = (await pages).flatMap((one, i) => one.edits.filter((edit) => !marks.includes(`${of[i]}|${edit.uid}`)));
  db.close();
  return left.map((edit) => edit.do); }"""
ALONE = """(() => { // what a page writes nobody else ever sees, as when it asked for its store too early
  const own = new Map(), put = { getItem: (n) => own.get(n) ?? null, setItem: (n, v) => own.set(n, String(v)),
    removeItem: (n) => own.delete(n), key: (i) => [...own.keys()][i] ?? null };
  Object.defineProperty(window, "localStorage", { value: { ...put, get length() { return own.size; } } }); })()"""
NO_KERNEL = "() => { model.send = () => { throw new Error('no kernel'); }; }"


def kept(page, n, *, within_s=15):
    """Wait until the browser keeps so many entries, and return what they do."""
    until = time.monotonic() + within_s
    while len(found := page.evaluate(KEPT)) != n and time.monotonic() < until:
        page.wait_for_timeout(100)
    assert len(found) == n, found
    return found


def button(page, name):
    return page.get_by_role("button", name=name, exact=True)


def lost_entry(page):
    """Send an entry that no kernel takes."""
    page.evaluate(NO_KERNEL)
    button(page, "Meters calibrated").click()
    page.locator(".qcf-status").get_by_text("No answer").wait_for()


def test_a_page_with_a_store_of_its_own_alone_loses_no_entry(shown):
    """localStorage can be such a store for as long as a page lives; the kit's is not."""
    page = shown(script=ALONE)
    lost_entry(page)
    assert "kept in this browser" in page.locator(".qcf-status").inner_text()
    page.reload()
    button(page, "Leave it").click()
    kept(page, 0)
    assert page.errors == []


def test_a_store_that_was_emptied_loses_no_entry_of_an_open_page(shown):
    """Only what another page names as taken is taken."""
    page = shown()
    lost_entry(page)
    page.evaluate(
        "async () => { const db = await new Promise((ok) => { const asked = indexedDB.open('qckit', 1);"
        " asked.onsuccess = () => ok(asked.result); }); const all = db.transaction(['pages', 'taken'], 'readwrite');"
        " all.objectStore('pages').clear(); all.objectStore('taken').clear();"
        " await new Promise((ok) => { all.oncomplete = ok; }); db.close(); }"
    )
    kept(page, 1)  # the form looks after it every two seconds
    page.reload()
    button(page, "Leave it").click()
    kept(page, 0)
    assert page.errors == []


def test_an_entry_that_another_form_took_is_offered_once_only(shown):
    page = shown()
    lost_entry(page)
    page.wait_for_timeout(9000)  # its kernel has been silent for longer than an answer takes
    other = page.context.new_page()
    other.goto(page.url)
    button(other, "Leave it").click()
    kept(other, 0)
    page.wait_for_timeout(2500)
    page.reload()
    page.wait_for_timeout(2500)
    assert page.locator(".qcf-left").inner_text() == "" and other.locator(".qcf-left").inner_text() == ""
    kept(page, 0)


def test_an_entry_that_was_taken_is_not_offered_again_beside_one_that_waits_for_days(shown):
    page = shown()
    lost_entry(page)
    button(page, "Meters calibrated").click()
    kept(page, 2)
    page.reload()
    button(page, "Leave it").first.click()
    kept(page, 1)
    page.evaluate(
        "async () => { const db = await new Promise((ok) => { const asked = indexedDB.open('qckit', 1);"
        " asked.onsuccess = () => ok(asked.result); }); const work = db.transaction(['taken'], 'readwrite');"
        " const taken = work.objectStore('taken'), names = taken.getAllKeys();"
        " names.onsuccess = () => names.result.forEach((name) => taken.put(Date.now() - 3 * 864e5, name));"
        " await new Promise((ok) => { work.oncomplete = ok; }); db.close(); }"
    )
    page.wait_for_timeout(5000)  # it looks twice
    assert button(page, "Leave it").count() == 1
    kept(page, 1)


def test_what_was_to_be_taken_back_is_not_offered_again(shown):
    """Once another entry stands last, it would take that one back."""
    page = shown()
    lost_entry(page)
    button(page, "Take back last").click()
    page.wait_for_timeout(2500)
    kept(page, 1)
    page.reload()
    button(page, "Leave it").wait_for()
    assert "take back" not in page.locator(".qcf-left").inner_text()


def test_an_entry_that_the_store_did_not_let_go_is_let_go_later(shown):
    """It was offered again although the log had it."""
    page = shown()
    button(page, "Meters calibrated").click()
    kept(page, 1)
    page.evaluate(
        "() => { const real = IDBObjectStore.prototype.delete; IDBObjectStore.prototype.delete = function (key) {"
        " IDBObjectStore.prototype.delete = real; const asked = real.call(this, key); this.transaction.abort();"
        " return asked; }; }"
    )
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Kept.', bad: false })")
    kept(page, 0)
    assert page.errors == []


def test_two_forms_that_offer_the_same_entry_write_it_once(shown):
    page = shown()
    lost_entry(page)
    page.goto("about:blank")
    page.go_back()
    other = page.context.new_page()
    other.goto(page.url)
    for one in (page, other):
        button(one, "Write it").wait_for()
    for one in (page, other):  # before either looks again
        one.evaluate(
            "[...document.querySelectorAll('.qcf-left button')].find((b) => b.textContent === 'Write it').click()"
        )
    page.wait_for_timeout(1000)
    assert len(page.evaluate("sent")) + len(other.evaluate("sent")) == 1


def test_an_entry_is_kept_until_the_log_has_it_and_offered_where_the_kernel_died(shown):
    page = shown()
    button(page, "Meters calibrated").click()
    assert page.locator(".qcf-status").inner_text() == "Writing …"
    kept(page, 1)
    page.evaluate("answer({ n: sent.at(-1).n, text: 'The meters were calibrated.', bad: false })")
    kept(page, 0)  # the log has it
    button(page, "Count").click()
    page.locator(".qcf-fields input").first.fill("41")
    button(page, "Write").click()
    button(page, "Write").click()  # at once again: the same entry
    assert page.evaluate("sent.length") == 2
    name = page.evaluate("sent.at(-1).n")
    page.reload()  # no answer came, and the page was closed
    page.locator(".qcf-left span").wait_for()
    words = page.locator(".qcf-left").inner_text()
    assert words.startswith("Typed by op1 at ") and "not known to be in the log: count " in words and "41" in words
    button(page, "Write it").click()
    page.wait_for_function("sent.length === 1")
    (again,) = page.evaluate("sent")
    assert again["do"] == "count" and "41" in again["values"].values()
    assert again["n"] == name and again["age_s"] > 0  # so that it is known again, and its hours are those of its typing
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Counted.', bad: false })")
    kept(page, 0)
    assert page.locator(".qcf-left").inner_text() == ""
    assert page.errors == []


def test_an_entry_whose_answer_came_while_the_page_was_reloaded_is_not_offered(shown, tmp_path):
    page = shown()
    button(page, "Meters calibrated").click()
    kept(page, 1)
    answer = {"n": page.evaluate("sent.at(-1).n"), "text": "Kept.", "bad": False}
    (file,) = tmp_path.glob("*.html")
    text = file.read_text(encoding="utf-8")
    assert text.count('"status": {}') == 1
    file.write_text(text.replace('"status": {}', f'"status": {json.dumps(answer)}'), encoding="utf-8")
    page.reload()
    kept(page, 0)
    assert page.locator(".qcf-left").inner_text() == "" and page.errors == []


def test_an_offered_entry_that_could_not_be_written_is_offered_again(shown):
    page = shown()
    button(page, "Count").click()
    page.locator(".qcf-fields input").first.fill("41")
    button(page, "Write").click()
    kept(page, 1)
    page.reload()
    button(page, "Write it").click()
    page.wait_for_function("sent.length === 1")
    page.evaluate("answer({ n: sent.at(-1).n, text: 'The disk is full.', bad: true })")
    page.locator(".qcf-left").get_by_text("and not written: count").wait_for()
    assert "The disk is full." in page.locator(".qcf-left").inner_text()
    page.reload()
    button(page, "Write it").click()
    page.wait_for_function("sent.length === 1")
    assert "41" in page.evaluate("sent")[0]["values"].values()
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Counted.', bad: false })")
    kept(page, 0)
    assert page.errors == []


def test_what_is_typed_stays_while_other_things_are_written_and_looked_at(shown):
    page = shown()
    button(page, "Count").click()
    cell = page.locator("[name=nauplii-0]")
    cell.fill("77")
    button(page, "Meters calibrated").click()
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Kept.', bad: false })")
    assert cell.input_value() == "77"
    button(page, "Start").click()
    button(page, "Count").click()
    assert cell.input_value() == "77"
    button(page, "Write").click()
    button(page, "Start").click()
    page.evaluate("answer({ n: sent.at(-1).n, text: 'The disk is full.', bad: true })")
    button(page, "Count").click()
    assert cell.input_value() == "77"  # not written, so it stands here again
    button(page, "Write").click()
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Counted.', bad: false })")
    kept(page, 0)
    button(page, "Count").click()
    assert cell.input_value() == ""
    button(page, "Write").click()
    cell.fill("5")  # the next one, while the answer is awaited
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Nothing counted.', bad: true })")
    assert cell.input_value() == "5"
    assert page.errors == []


def test_a_form_and_a_tally_half_done_are_offered_after_a_reload(shown):
    page = shown()
    button(page, "Count").click()
    page.locator("[name=taken]").fill("0845")
    button(page, "Tally by eye").click()
    page.keyboard.type("1112")
    page.keyboard.press("Enter")
    page.keyboard.type("11")
    button(page, "Feed").click()  # a slip
    page.locator("[name=million]").fill("1.7")
    kept(page, 2)
    page.reload()
    words = page.locator(".qcf-left")
    words.get_by_text("and never sent: count").wait_for()
    assert re.search(r" at \d\d:\d\d, and never sent", words.inner_text())  # 3:55:06 PM by the browser's own habit
    page.locator(".qcf-left .qcf-bar", has_text="count").get_by_role("button", name="Go on with it").click()
    now = page.locator(".qcf-now")
    now.wait_for()
    assert now.inner_text().split()[:3] == ["2/3", "N", "2"]
    assert page.locator("[name=taken]").input_value() == "0845"
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    (sent,) = page.evaluate("sent")
    assert [sent["values"][f"{name}-{i}"] for i in (0, 1) for name in ("nauplii", "umbrella")] == ["3", "1", "2", "0"]
    page.evaluate("answer({ n: sent.at(-1).n, text: 'Counted.', bad: false })")
    page.locator(".qcf-left .qcf-bar", has_text="feed").get_by_role("button", name="Go on with it").click()
    assert page.locator("[name=million]").input_value() == "1.7"
    page.locator("[name=million]").fill("")
    assert page.errors == []


def test_a_tally_left_aside_outlives_a_slip(shown):
    page = shown()
    button(page, "Count").click()
    button(page, "Tally by eye").click()
    page.keyboard.type("1112")
    page.keyboard.press("Escape")
    button(page, "Write").click()  # of the empty fields
    page.evaluate("answer({ n: sent.at(-1).n, text: 'subsample 1, N is empty. Type it.', bad: true })")
    button(page, "Go on with the tally").click()
    assert page.locator(".qcf-now").inner_text().split()[:5] == ["1/3", "N", "3", "U", "1"]
    assert page.errors == []


def test_a_form_of_another_day_keeps_its_day(shown):
    page = shown()
    button(page, "Count").click()
    page.locator("[name=taken]").fill("0845")
    page.locator("[name=nauplii-0]").fill("12")
    kept(page, 1)
    today = page.evaluate("new Date().toLocaleDateString('sv')")
    page.context.add_init_script(
        "{ const real = Date.now; Date.now = () => real() + 864e5; const Day = Date;"
        " window.Date = class extends Day { constructor(...a) { a.length ? super(...a) : super(Date.now()); }"
        " static now() { return real() + 864e5; } }; }"
    )
    page.reload()
    button(page, "Go on with it").click()
    page.locator("[name=taken]").wait_for()
    assert page.locator("[name=taken]").input_value() == f"{today} 0845"
    assert page.errors == []


def test_two_views_of_one_form_keep_their_own_entries(shown):
    page = shown()
    page.evaluate(
        "() => { const el = document.createElement('div'); document.body.append(el); widget.render({ model, el }); }"
    )
    first, second = (page.get_by_role("button", name="Meters calibrated").nth(i) for i in (0, 1))
    first.click()
    second.click()
    kept(page, 2)
    page.evaluate("answer({ n: sent[0].n, text: 'Kept.', bad: false })")
    kept(page, 1)
    assert page.locator(".qcf-status").nth(1).inner_text() == "Writing …"


def test_a_full_store_is_told(shown):
    page = shown()
    page.evaluate(
        "() => { IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }; }"
    )
    page.evaluate(NO_KERNEL)
    button(page, "Meters calibrated").click()
    page.locator(".qcf-status").get_by_text("in this page ALONE").wait_for()
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    page.reload()
    assert asked == ["beforeunload"]
    assert page.errors == []


def test_silence_is_told_with_a_clock_that_was_set_back(shown):
    page = shown()
    button(page, "Meters calibrated").click()
    page.evaluate("() => { const real = Date.now; Date.now = () => real() - 36e5; }")
    page.locator(".qcf-status").get_by_text("No answer").wait_for(timeout=20_000)


def _free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


@pytest.mark.parametrize("ahead_h", [0, -1])  # and a clock that is set back meanwhile
def test_a_browser_that_is_killed_loses_no_entry(form, browser, tmp_path, ahead_h):
    """As when the power fails: the disk has what the browser says it keeps."""
    page_file = tmp_path / "form.html"
    page_file.write_text(form_page(form), encoding="utf-8")
    start = browser.browser_type.connect_over_cdp

    def run(act):
        port = _free_port()
        command = [CHROMIUM, "--headless", *FLAGS, f"--user-data-dir={tmp_path / 'profile'}"]
        command += [f"--remote-debugging-port={port}", "about:blank"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        process = subprocess.Popen(command, start_new_session=True, **quiet)
        try:
            for _ in range(120):
                try:
                    mine = start(f"http://127.0.0.1:{port}")
                    break
                except Error:
                    time.sleep(0.5)
            page = mine.contexts[0].new_page()
            if ahead_h:
                page.add_init_script(f"{{ const real = Date.now; Date.now = () => real() + {ahead_h} * 36e5; }}")
            page.goto(page_file.as_uri())
            act(page)
        finally:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(15)

    def enter(page):
        button(page, "Meters calibrated").click()
        kept(page, 1)

    run(enter)
    run(lambda page: button(page, "Write it").wait_for(timeout=20_000))
