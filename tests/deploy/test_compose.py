"""What docker-compose.yml gives each container, read as it stands: no Docker engine is needed. Which of it each image
bears was not tried here. Common practice for containers: OWASP Docker Security Cheat Sheet, rules 3, 4, 5, 7 and 8."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings

COMPOSE = Path(settings.BASE_DIR, "docker-compose.yml").read_text("utf-8")
FILE: dict[str, Any] = yaml.safe_load(COMPOSE)
SERVICES: dict[str, dict[str, Any]] = FILE["services"]
ROOTLESS = {"web", "measuring", "unpacking", "packs", "mail", "beat", "queue"}


@pytest.mark.parametrize("name", SERVICES)
def test_a_container_keeps_nothing_that_it_does_not_need(name: str) -> None:
    service = SERVICES[name]

    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["read_only"]
    assert service["mem_limit"]
    assert bool(service.get("cap_add")) is (name not in ROOTLESS)
    assert not service.get("privileged")


def test_what_only_the_house_uses_is_on_a_network_without_a_way_out() -> None:
    for name in ("database", "queue", "store-user", "measuring", "unpacking", "packs", "beat"):
        assert SERVICES[name]["networks"] == ["inside"]
    assert FILE["networks"]["inside"] == FILE["networks"]["front"] == {"internal": True}
    assert [name for name, service in SERVICES.items() if "outside" in service["networks"]] == ["front", "mail"]
    assert [name for name, service in SERVICES.items() if "ports" in service] == ["front"]


def test_images_have_a_version() -> None:
    images = [service["image"] for service in SERVICES.values() if "image" in service]

    assert all(re.search(r":\S*\d", image) for image in images)


def test_whatever_has_to_be_set_stands_in_the_example() -> None:
    example = Path(settings.BASE_DIR, ".env.example").read_text("utf-8")
    named = set(re.findall(r"^(\w+)=", example, re.MULTILINE))

    assert set(re.findall(r"\$\{(\w+)", COMPOSE)) <= named


def test_the_house_does_not_sign_in_as_the_store_s_owner_and_the_queue_asks_for_a_password() -> None:
    keys = SERVICES["store"]["environment"]

    assert "KITPOST_S3" not in str(keys)
    assert "requirepass" in str(SERVICES["queue"]["command"])
    assert "QUEUE_PASSWORD" in SERVICES["web"]["environment"]["KITPOST_BROKER_URL"]
