"""Signing in to the page at the kit, and its first press of play."""

from __future__ import annotations

from django.test import Client
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from portal.people.models import User


def sign_in(page: Page, live_server: LiveServer, client: Client, drummer: User) -> None:
    client.force_login(drummer)
    cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}
    page.context.add_cookies([cookie])  # type: ignore[list-item]


def play(page: Page, key: str = "t") -> None:
    page.keyboard.press(key)
    note = page.get_by_role("button", name="I have turned down")
    if note.count():
        note.click()
    page.locator("[data-playing=true]").wait_for()
