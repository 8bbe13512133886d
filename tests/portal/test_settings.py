"""The house as it starts for real: in a process of its own, with nothing in the environment but what is given here."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ENV_READERS = re.compile(
    r'env\.(?:text|secret|flag|whole_number|choice|names|networks|folder|web_address|database|mail)\(\s*"(\w+)"'
)


def production(data_dir: Path, **more: str) -> dict[str, str]:
    return {
        "PATH": os.environ["PATH"],
        "KITPOST_DATA_DIR": str(data_dir),
        "KITPOST_SECRET_KEY": "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ",
        "KITPOST_BASE_URL": "https://kit.example",
        "KITPOST_MAIL_URL": "smtp://mail.example",
        **more,
    }


def manage(environment: dict[str, str], *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "manage.py", *arguments]
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


def test_a_house_for_real_passes_every_deployment_check(tmp_path: Path) -> None:
    (tmp_path / "static").mkdir()
    environment = production(tmp_path, KITPOST_STATIC_DIR=str(tmp_path / "static"))

    collected = manage(environment, "collectstatic", "--no-input")
    checked = manage(environment, "check", "--deploy", "--database", "default", "--fail-level", "INFO")

    assert collected.returncode == 0, collected.stderr
    assert "3 silenced" in checked.stdout + checked.stderr
    # What a kernel does not offer is no fault of the settings.
    assert set(re.findall(r"\((\w+\.[A-Z]\d+)\)", checked.stderr)) <= {"portal.I004", "portal.W004"}, checked.stderr


@pytest.mark.parametrize("name", ["KITPOST_SECRET_KEY", "KITPOST_BASE_URL"])
def test_a_house_for_real_does_not_start_without(tmp_path: Path, name: str) -> None:
    environment = production(tmp_path)
    del environment[name]

    refused = manage(environment, "check")

    assert refused.returncode == 1
    assert refused.stderr == f"{name} is required and not set; see .env.example.\n"


@pytest.mark.parametrize(
    ("said", "header"),
    [
        ({}, "max-age=31536000"),
        ({"KITPOST_HSTS_SUBDOMAINS": "true"}, "max-age=31536000; includeSubDomains"),
        (
            {"KITPOST_HSTS_SUBDOMAINS": "true", "KITPOST_HSTS_PRELOAD": "true"},
            "max-age=31536000; includeSubDomains; preload",
        ),
    ],
)
def test_https_for_other_hosts_and_in_browsers_lists_is_a_choice(
    tmp_path: Path, said: dict[str, str], header: str
) -> None:
    """RFC 6797, 6.1. Over http the house names the way to https at its own address, by whatever name it was asked."""
    code = (
        "from django.test import Client; "
        "own = Client(headers={'host': 'kit.example'}); other = Client(headers={'host': 'other.example'}); "
        "print(own.get('/healthz', secure=True).headers['Strict-Transport-Security']); "
        "print(*(one.get('/board/').headers['Location'] for one in (own, other)))"
    )

    ran = manage(production(tmp_path, **said), "shell", "--no-imports", "-c", code)

    assert ran.stdout.splitlines() == [header, "https://kit.example/board/ https://kit.example/board/"], ran.stderr


def test_a_demo_makes_its_own_secret_and_keeps_it(tmp_path: Path) -> None:
    environment = {"PATH": os.environ["PATH"], "KITPOST_DEMO": "true", "KITPOST_DATA_DIR": str(tmp_path)}
    print_key = ("shell", "--no-imports", "-c", "from django.conf import settings; print(settings.SECRET_KEY)")

    first, second = manage(environment, *print_key), manage(environment, *print_key)

    assert first.returncode == 0, first.stderr
    assert len(first.stdout.strip()) >= 50
    assert first.stdout == second.stdout


def test_the_example_lists_every_name_and_no_other() -> None:
    read = set(ENV_READERS.findall((ROOT / "portal" / "settings.py").read_text()))
    listed = set(re.findall(r"^#? ?(KITPOST_\w+)=", (ROOT / ".env.example").read_text(), re.MULTILINE))

    assert read
    assert listed == read
