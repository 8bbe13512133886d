"""A page with nothing on it but the house's scripts: files come from the tree, nothing is served by a house."""

import json
import mimetypes
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.template.loader import render_to_string
from django.test import RequestFactory
from playwright.sync_api import Page, Route

STATIC = Path(settings.BASE_DIR) / "portal" / "static"
ADDRESS = "http://page.test"

Show = Callable[..., None]


def fulfil_part(route: Route, given: Any) -> None:
    """Answer as the house does, Range and all: a browser seeks only in a sound that can be had in parts."""
    body = given if isinstance(given, bytes) else json.dumps(given).encode()
    wanted = route.request.headers.get("range")
    if wanted is None:
        route.fulfill(body=body)
        return
    start = int(wanted.removeprefix("bytes=").split("-")[0])
    part = {"Content-Range": f"bytes {start}-{len(body) - 1}/{len(body)}", "Accept-Ranges": "bytes"}
    route.fulfill(status=206, body=body[start:], headers=part)


def open_page(page: Page, body: str, **answers: Any) -> None:
    """Show a page made of the base template, `body` inside it, and `answers`: bytes or JSON by path."""
    request = RequestFactory().get("/")
    html = render_to_string("base.html", {"request": request})
    whole = html.replace('<main id="content" tabindex="-1">', f'<main id="content" tabindex="-1">{body}')

    def answer(route: Route) -> None:
        path = route.request.url.removeprefix(ADDRESS).lstrip("/")
        file = STATIC / path.removeprefix("static/")
        if not path:
            route.fulfill(body=whole, content_type="text/html; charset=utf-8")
        elif path in answers:
            fulfil_part(route, answers[path])
        elif path.startswith("static/") and file.is_file():
            route.fulfill(body=file.read_bytes(), content_type=mimetypes.guess_type(file.name)[0])
        else:
            route.fulfill(status=404)

    page.route("**/*", answer)
    page.goto(ADDRESS)


@pytest.fixture
def show(page: Page) -> Show:
    return partial(open_page, page)
