"""The click's sounds as pages are given them: the engine's own samples, at any rate, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from analysis.maps.click_sound import click_sounds
from analysis.maps.click_style import ClickStyle
from portal.lanes.clicks import click_address
from portal.people.models import User

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def signed_in(client: Client, drummer: User) -> None:
    client.force_login(drummer)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_all_three_are_the_engine_s_samples(client: Client, rate_hz: int) -> None:
    style = ClickStyle(sound="wood", peak_dbfs=-18.0)
    answer = client.get(f"{click_address(style)}&rate={rate_hz}")
    samples = np.frombuffer(answer.content, "<f4").reshape(3, -1)
    assert np.array_equal(samples, np.stack(click_sounds(style, rate_hz)).astype("<f4"))
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(-18.0, abs=1e-4)


def test_it_is_sent_once(client: Client) -> None:
    address = f"{click_address(ClickStyle())}&rate=48000"
    tag = client.get(address)["ETag"]
    assert client.get(address, headers={"If-None-Match": tag}).status_code == 304
    assert client.get(address.replace("48000", "44100"))["ETag"] != tag


@pytest.mark.parametrize(
    "query", ["sound=cowbell", "peak=loud", "peak=nan", "peak=inf", "peak=1", "rate=1", "rate=999999999", "rate=48e3"]
)
def test_what_is_no_click_is_not_there(client: Client, query: str) -> None:
    assert client.get(f"{reverse('lanes:click')}?{query}").status_code == 404
