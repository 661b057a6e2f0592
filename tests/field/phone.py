"""A browser of our own with a profile on disk, that can be killed: the tab's process alone, or all of it at once."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import threading
import time
from pathlib import Path
from typing import Any

from conftest import CHROMIUM, FLAGS
from field_blocks import log_told

#: Row and vine that the page stands at (nothing at the list's end), and what is typed.
HERE = "() => [...document.querySelectorAll('.place > b, [data-key=field-weight] b')].map((node) => node.textContent)"


class Killed(Exception):
    """The tab or the browser went away while it was being used."""


class Phone:
    """The page on a phone of 360 x 640 that weighs a list of vines, and keeps what it was told is saved.

    Parameters
    ----------
    chromium : playwright's browser type
    html : Path
        The field page.
    profile : Path
        Where the browser keeps its storage; a folder of this phone alone, so that only its processes are killed.
    """

    def __init__(self, chromium: Any, html: Path, profile: Path) -> None:
        self.chromium, self.html, self.profile = chromium, html, profile
        self.context: Any = None
        self.page: Any = None
        self.dead = False
        self.rescue: threading.Timer | None = None
        self.boxes: dict[str, tuple[float, float]] = {}
        self.confirmed: dict[str, tuple[str, int, float]] = {}

    def start(self) -> None:
        """Start anew; where a browser whose tab was killed does not come to itself, it is killed and started too."""
        from playwright.sync_api import Error

        try:
            self._open()
        except Error:
            self.kill(whole=True)
            self.after()
            self._open()
        if self.rescue is not None:
            self.rescue.cancel()

    def _open(self) -> None:
        """Start the browser if it is not there, and open the page in a new tab."""
        if self.context is None:
            self.context = self.chromium.launch_persistent_context(
                str(self.profile),
                executable_path=CHROMIUM,
                args=[*FLAGS, "--hide-crash-restore-bubble"],
                viewport={"width": 360, "height": 640},
                has_touch=True,
                is_mobile=True,
                offline=True,
            )
        self.page = self.context.new_page()
        self.page.set_default_timeout(10_000)
        self.page.goto(self.html.as_uri())
        self.page.wait_for_selector("html[data-ready=yes]")
        if self.page.locator("#page").get_attribute("data-screen") == "home":
            self.page.locator('[data-key="job-weigh"]').tap()
        self.boxes = {}

    def touch(self, key: str) -> None:
        """Touch the glass where a key lies; keys do not move."""
        if key not in self.boxes:
            box = self.page.locator(f'[data-key="{key}"]').bounding_box()
            if box is None:  # what a tab that has just died says of everything
                raise Killed(key)
            self.boxes[key] = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        self.page.touchscreen.tap(*self.boxes[key])

    def weigh_next(self, weight_of: Any) -> bool:
        """Enter the weight of the vine that stands there, and wait until it is told as saved; False at the list's end."""
        from playwright.sync_api import Error

        try:
            *here, typed = self.page.evaluate(HERE)
            if len(here) < 2:
                return False
            row, vine = here[0], int(here[1])
            for _ in typed.strip("–"):
                self.touch("pad-←")
            weight = weight_of(row, vine)
            for digit in f"{weight:g}":
                self.touch(f"pad-{digit}")
            self.touch("save")
            said = f'#status[data-state="saved"]:has-text("Row {row}, vine {vine}: {weight:g} lb")'
            shown = self.page.wait_for_selector(said).get_attribute("data-entry")
            self.confirmed[shown] = (row, vine, weight)
        except Error as error:
            raise Killed(f"{error}; the page said: {self._said()}") from error
        return True

    def _said(self) -> str:
        """What stands on the page; "" where the tab is gone."""
        from playwright.sync_api import Error

        try:
            return self.page.locator("body").inner_text(timeout=1000)
        except Error:
            return ""

    def kill(self, *, whole: bool) -> None:
        """Kill the browser at once, or the processes that draw its tabs, with no chance to write anything.

        The driver may wait for ever on a tab that died under a touch: then the browser is killed a little later.
        """
        if whole:
            self.dead = True
        else:
            self.rescue = threading.Timer(5.0, self.kill, kwargs={"whole": True})
            self.rescue.start()
        for process in self._processes(whole=whole):
            try:
                os.kill(process, signal.SIGKILL)
            except ProcessLookupError:
                continue

    def after(self) -> None:
        """Clear away what is left after a kill; the next `start` begins anew."""
        from playwright.sync_api import Error

        try:
            if self.context is not None:
                (self.context if self.dead else self.page).close()
        except Error:
            self.dead = True
        if self.dead:
            self.context, self.dead = None, False

    def close(self) -> None:
        if self.context is not None:
            self.context.close()

    def _processes(self, *, whole: bool) -> list[int]:
        """The browser that was started with this profile, or the renderers below it."""
        table = {}
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    words = (entry / "cmdline").read_bytes().decode("utf-8", "replace").split("\0")
                    parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
                except (OSError, ValueError):
                    continue
                table[int(entry.name)] = (words, parent)
        mine = {p for p, (words, _) in table.items() if f"--user-data-dir={self.profile}" in words}
        family = set(mine)
        for _ in range(4):
            family |= {p for p, (_, parent) in table.items() if parent in family}
        drawing = {p for p in family if "--type=renderer" in " ".join(table[p][0])}
        return sorted(family if whole else drawing)


def weight_of(row: str, vine: int) -> float:
    """The invented weight of a vine, lb: always the same for one vine, so that a lost or swapped entry shows."""
    return round(1 + (37 * int(row) + 11 * vine) % 90 / 30, 1)


def start_under_kills(phone: Phone, rng: random.Random) -> int:
    """Start the page anew and kill the whole browser while it starts, up to three times; return how often it was killed."""
    from playwright.sync_api import Error

    hit = 0
    for _ in range(rng.randint(1, 3)):
        timer = threading.Timer(rng.uniform(0.2, 2.0), phone.kill, kwargs={"whole": True})
        timer.start()
        with contextlib.suppress(Error):
            phone._open()
        timer.join()
        hit += 1
        phone.after()
    return hit


def weigh_while_killed(phone: Phone, *, vines: int, kills: int, seed: int, again: bool = False) -> dict[str, int]:
    """Weigh a list of vines while tab or browser is killed at random moments; return what was counted.

    With `again`, the browser is killed up to three more times while it starts after each kill of the whole of it.

    Returns
    -------
    dict
        kills (of them `whole` the browser), with `again` those `at_start`, confirmed, lost (confirmed entries that are not
        there at the end), wrong
        (another weight or vine), twice (vines that stand twice), missing (vines of the list that never came).
    """
    rng = random.Random(seed)
    done = {"kills": 0, "whole": 0}
    phone.start()
    while True:
        whole = rng.random() < 0.6
        timer = None
        if done["kills"] < kills:
            timer = threading.Timer(rng.uniform(0.02, 0.6), phone.kill, kwargs={"whole": whole})
            timer.start()
        try:
            while phone.weigh_next(weight_of):
                pass
            if timer is not None:
                timer.cancel()
            break
        except Killed:
            if timer is None:
                raise
            timer.join()
            done["kills"] += 1
            done["whole"] += whole
            time.sleep(0.05)
            phone.after()
            if again and whole:
                done["at_start"] = done.get("at_start", 0) + start_under_kills(phone, rng)
            phone.start()
    phone.page.reload()
    phone.page.wait_for_selector("html[data-ready=yes]")
    said = log_told(phone.page)
    entries = {entry["id"]: entry for entry in said}
    there = [(entry["row"], entry["vine"], entry["values"]["weight"]) for entry in said if entry["values"]]
    places = [place[:2] for place in there]
    kept = {name: (entries[name]["row"], entries[name]["vine"], entries[name]["values"]["weight"]) for name in entries}
    return {
        **done,
        "confirmed": len(phone.confirmed),
        "lost": sum(name not in entries for name in phone.confirmed),
        "wrong": sum(kept.get(name, said) != said for name, said in phone.confirmed.items())
        + sum(weight != weight_of(row, vine) for row, vine, weight in there),
        "twice": len(places) - len(set(places)),
        "missing": vines - len(set(places)),
    }
