from dataclasses import replace

import pytest

from analysis.findings.catalogue import FINDING_KINDS, KIND_BY_CODE, Severity
from portal.mailroom.message_rules import rules_in_force, sample_sentence, suggested
from portal.mailroom.models import MessageRule
from portal.mailroom.services import set_rules

pytestmark = pytest.mark.django_db

When = MessageRule.When


def test_what_is_only_good_to_know_is_never_sent_by_itself() -> None:
    for kind in FINDING_KINDS:
        if kind.severity == Severity.NOTE:
            assert suggested(kind) == When.NEVER
        else:
            assert suggested(kind) == (When.AT_ONCE if kind.may_send else When.HOLD)


def test_every_kind_has_a_rule_and_the_drummer_s_choice_counts() -> None:
    assert set(rules_in_force()) == set(KIND_BY_CODE)
    set_rules({"no-click": When.NEVER})
    assert rules_in_force()["no-click"] == When.NEVER


def test_a_sample_sentence_names_what_is_not_measured_yet() -> None:
    kind = replace(FINDING_KINDS[0], client_sentence="{file} holds {place_count} dropouts.")
    assert sample_sentence(kind) == "The file holds [place count] dropouts."
    assert not any("{" in sample_sentence(kind) for kind in FINDING_KINDS)
