"""What part a file plays: one rule, for groups of sliders and for music without the guide drums."""

from __future__ import annotations

from analysis.core import OTHER, FileReport, role_in_name


def role_of(name: str, report: FileReport | None, *, is_click: bool) -> str:
    """A role of `role_in_name`. What was measured decides where the name says nothing: drums are drums."""
    if is_click:
        return "click"
    said = role_in_name(name)
    if said == OTHER and report is not None and report.drums.present:
        return "drums"
    return said
