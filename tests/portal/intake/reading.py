"""A page as its reader gets it."""

from django.test import Client


def read(client: Client, path: str) -> str:
    response = client.get(path)
    assert response.status_code == 200
    return response.content.decode()
