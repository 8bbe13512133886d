"""Signing in to the page at the kit, and its first press of play."""

from __future__ import annotations

from playwright.sync_api import Page


def play(page: Page, key: str = "t") -> None:
    page.keyboard.press(key)
    note = page.get_by_role("button", name="I have turned down")
    if note.count():
        note.click()
    page.locator("[data-playing=true]").wait_for()
