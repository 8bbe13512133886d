import pytest
from django.test import Client
from pytest_django import Settings

from portal import health
from portal.celery import app


@pytest.mark.django_db
def test_answers_when_database_and_queue_do(client: Client) -> None:
    response = client.get("/healthz")

    assert (response.status_code, response.json()) == (200, {"database": "ok", "queue": "ok"})


@pytest.mark.django_db
def test_says_which_part_is_down_and_not_why(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.conf, "broker_read_url", "redis://127.0.0.1:1/0")

    response = client.get("/healthz")

    assert (response.status_code, response.json()) == (503, {"database": "ok", "queue": "down"})


def test_a_database_out_of_reach_is_down(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    from django.db import OperationalError

    def refuse() -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr("portal.health.connection.cursor", refuse)

    assert not health.database_answers()


def test_takes_no_form(client: Client) -> None:
    assert client.post("/healthz").status_code == 405
