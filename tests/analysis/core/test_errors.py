import re

from analysis.core import errors
from analysis.core.errors import AnalysisError, NotAudioError, UnreadableError, UnusableFileError
from analysis.findings.catalogue import KIND_BY_CODE


def test_the_tree_in_the_docstring_is_the_classes_own() -> None:
    named = set(re.findall(r"\b\w+Error\b", errors.__doc__ or ""))

    assert named == {name for name, item in vars(errors).items() if isinstance(item, type)}
    assert all(issubclass(getattr(errors, name), AnalysisError) for name in named)


def test_an_unusable_file_is_a_kind_of_finding() -> None:
    for kind in (UnusableFileError, NotAudioError, UnreadableError):
        assert kind.code in KIND_BY_CODE


def test_an_error_says_what_the_file_is_instead() -> None:
    error = NotAudioError("is not audio but a PDF document", "a PDF document")

    assert (str(error), error.reason, error.is_called) == (error.reason, str(error), "a PDF document")
