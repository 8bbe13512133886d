"""The small arrays of a file's survey, in the store: later questions are answered from them, not from the sound."""

from __future__ import annotations

from pathlib import Path

from django.core.files import File
from django.core.files.storage import default_storage

from analysis.features import Features
from portal import file_serving
from portal.intake.models import SourceFile


def store_features(source: SourceFile, path: Path) -> str:
    """A second survey takes a new name: the row names the one that was stored whole."""
    with path.open("rb") as content:
        key: str = default_storage.save(f"features/{source.sha256[:2]}/{source.sha256}.npz", File(content))
    return key


def load_features(source: SourceFile) -> Features:
    with file_serving.local_copy(source.features_key) as path:
        return Features.load(path)
