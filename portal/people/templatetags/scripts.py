"""The names under which the browser's scripts import each other."""

import json
from functools import cache
from pathlib import Path

from django import template
from django.conf import settings
from django.templatetags.static import static
from django.utils.safestring import mark_safe

register = template.Library()

FOLDER = Path(settings.BASE_DIR) / "portal" / "static" / "js"
VENDORED = {"kitpost/tus": "vendor/tus/tus.min.js"}


@register.simple_tag
@cache
def import_map() -> str:
    """Every script of ours as "kitpost/FOLDER/NAME", at the address that holds its present content."""
    imports = {name: static(path) for name, path in (_own_scripts() | VENDORED).items()}
    return mark_safe(json.dumps({"imports": imports}, indent=2))  # noqa: S308 -- names of our own files


@cache
def _own_scripts() -> dict[str, str]:
    paths = sorted(path.relative_to(FOLDER).as_posix() for path in FOLDER.glob("*/*.js"))
    return {f"kitpost/{path.removesuffix('.js')}": f"js/{path}" for path in paths}
