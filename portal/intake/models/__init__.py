"""What the client sent, what was measured, what the drummer decided about it, and how long the house keeps it."""

from portal.intake.models.arrival import Announcement, FileCourse
from portal.intake.models.checks import ApprovedMap, Finding, SongCheck
from portal.intake.models.desk import KeptView, SetAside, Tapping
from portal.intake.models.retention import Keeping
from portal.intake.models.sources import SourceFile
from portal.intake.models.zips import CLAIM_LASTS, SentZip

__all__ = [
    "CLAIM_LASTS",
    "Announcement",
    "ApprovedMap",
    "FileCourse",
    "Finding",
    "Keeping",
    "KeptView",
    "SentZip",
    "SetAside",
    "SongCheck",
    "SourceFile",
    "Tapping",
]
