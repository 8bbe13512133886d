"""The one living message of a song: what we found and need to know, one question for all findings that share an answer.

A finding is asked about once. What the house holds back waits in the same message, seen by the drummer alone; what no
longer holds is settled there. `mailroom.asking` keeps the questions, this module knows what they are about.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import NamedTuple

from analysis.core import Finding as Found
from analysis.core import Place
from analysis.findings import KIND_BY_CODE, Severity, client_message
from portal.bookings.models import Song
from portal.intake.checks.offers import BY_FILE_CODES, NEW_FILE, TOPICS, offers_for
from portal.intake.models import Finding
from portal.intake.models.checks import FindingQuerySet
from portal.mailroom import asking as mailroom
from portal.mailroom.message_rules import rules_in_force
from portal.mailroom.models import Message, MessageRule, Question
from portal.people.models import User

KEY_PREFIX = "check:"
When = MessageRule.When
State = Question.State
RANKS = {severity.value: rank for rank, severity in enumerate(Severity)}
WENT_ON = "The song went on without an answer."
# Of files of no use, or that may hold drums: more of them at once share a question (house choice).
MOST_ONE_BY_ONE = 20
# Findings that one question spells out (house choice).
MOST_NAMED = 50
CANCELLED = "The booking was cancelled."
NOT_FOUND = "It is no longer found."


class Key(NamedTuple):
    """Of a finding, what says where it is asked: there may be thousands."""

    pk: int
    severity: str
    code: str
    source_id: int | None


def key_of(song: Song) -> str:
    return f"{KEY_PREFIX}{song.pk}"


def living_message(song: Song) -> Message | None:
    return song.messages.filter(key=key_of(song)).first()


def ask(song: Song) -> None:
    """Ask what goes out by itself, hold what the house wants to see first. Asked again, nothing happens."""
    groups = dict(_grouped(unasked(song)))
    if not groups:
        return
    message = mailroom.message_for(song, key=key_of(song))
    joinable = _joinable(message)
    for (topic, when), keys in groups.items():
        _ask_about(song, message, topic, keys, joinable.get((topic, when)), held=when == When.HOLD)
    _follow(song, message, is_more=any(when == When.AT_ONCE for _, when in groups))


def _ask_about(
    song: Song, message: Message, topic: str, keys: Sequence[Key], question: Question | None, *, held: bool
) -> None:
    asked = question
    if asked is None:
        text, offers = _asked(song, keys)
        asked = mailroom.add_question(
            message, topic=topic, about=about(keys[0].code), text=text, offers=offers, held=held
        )
    _all_like(song, topic, keys).update(question=asked)
    if question is not None:
        _rebuild(song, question, _open_in(question))


def _all_like(song: Song, topic: str, keys: Sequence[Key]) -> FindingQuerySet:
    """The same findings by what they share: a list of a thousand keys takes the database long to read."""
    alike = _unasked(song).filter(code__in={key.code for key in keys})
    return alike.filter(source=keys[0].source_id) if topic == file_topic(keys[0]) else alike


def unasked(song: Song) -> list[Key]:
    """Open findings that the client has to say something about, and was not asked about yet."""
    return keys_of(_unasked(song))


def _unasked(song: Song) -> FindingQuerySet:
    findings: FindingQuerySet = song.findings.open()
    return findings.filter(question=None).exclude(severity=Finding.Severity.NOTE)


def keys_of(findings: FindingQuerySet) -> list[Key]:
    """The gravest first."""
    keys = [Key(*row) for row in findings.order_by("pk").values_list(*Key._fields)]
    return sorted(keys, key=lambda key: RANKS[key.severity])


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda finding: (RANKS[finding.severity], finding.pk))


def _grouped(findings: Sequence[Key]) -> Iterator[tuple[tuple[str, When], list[Key]]]:
    """By what shares an answer, and by whether the house wants to see it first."""
    rules, of_code = rules_in_force(), Counter(finding.code for finding in findings)
    groups: dict[tuple[str, When], list[Key]] = {}
    for finding in findings:
        topic = topic_of(finding, is_one_of_many=of_code[finding.code] > MOST_ONE_BY_ONE)
        groups.setdefault((topic, rules.get(finding.code, When.HOLD)), []).append(finding)
    yield from ((key, group) for key, group in groups.items() if key[1] != When.NEVER)


def topic_of(finding: Key, *, is_one_of_many: bool) -> str:
    """Tempo, meter and bar one are one thing each. A file of no use is answered by itself, and so is whether one holds
    drums, unless it is one of too many; a fault in several files at once."""
    if finding.code in TOPICS:
        return TOPICS[finding.code]
    if finding.code in BY_FILE_CODES and not is_one_of_many:
        return file_topic(finding)
    return f"fault:{finding.code}"


def file_topic(finding: Key) -> str:
    return f"file:{finding.source_id}"


def about(code: str) -> str:
    return TOPICS.get(code) or KIND_BY_CODE[code].title


def _joinable(message: Message) -> dict[tuple[str, When], Question]:
    """A question that is not answered yet can ask about more of the same: of each topic the first."""
    unanswered = message.questions.filter(state__in=(State.HELD, State.OPEN)).order_by("-pk")
    return {(one.topic, When.HOLD if one.state == State.HELD else When.AT_ONCE): one for one in unanswered}


def _open_in(question: Question) -> list[Key]:
    return keys_of(question.findings.open())


def _rebuild(song: Song, question: Question, keys: Sequence[Key]) -> None:
    """A draft keeps the offers that it was chosen from."""
    if question.state in (State.HELD, State.OPEN):
        text, offers = _asked(song, keys)
        if (text, offers) != (question.text, question.offers):
            question.say(text=text, offers=offers)


def _asked(song: Song, keys: Sequence[Key]) -> tuple[str, list[dict[str, str]]]:
    """What is asked about these, and the answers on offer: to what is spelled out, and to one more of each kind."""
    one_of_each = {key.code: key.pk for key in reversed(keys)}
    named = [key.pk for key in keys[:MOST_NAMED]]
    by_key = Finding.objects.with_source().in_bulk({*named, *one_of_each.values()})
    sentences = [in_client_words(by_key[pk]) for pk in named]
    if len(keys) > MOST_NAMED:
        sentences.append(f"The same was found in {len(keys) - MOST_NAMED} more files.")
    in_order = [by_key[key.pk] for key in keys if key.pk in by_key]
    return "\n\n".join(sentences), [offer.to_json() for offer in offers_for(song, in_order)]


def _follow(song: Song, message: Message, *, is_more: bool = False, actor: User | None = None) -> None:
    subject = _subject(song, list(message.questions.waiting()))
    intro = f"We checked the files of “{song.title}”."
    mailroom.follow(message, subject=subject, intro=intro, is_more=is_more, actor=actor)


def _subject(song: Song, waiting: Sequence[Question]) -> str:
    if len(waiting) == 1:
        return f"{song.title}: {waiting[0].about.lower()}"
    return f"{song.title}: {len(waiting)} open questions"


def in_client_words(finding: Finding) -> str:
    return client_message(as_found(finding))


def as_found(finding: Finding) -> Found:
    """The engine's form of a stored finding, with the file named as its sender named it."""
    return Found(
        code=finding.code,
        severity=finding.severity,  # type: ignore[arg-type]  # the column holds the same three words
        file=finding.source.name if finding.source else None,
        place=Place.from_json(finding.place),
        value=finding.value,
    )


def close_settled(song: Song, *, touched: Collection[int] | None = None) -> None:
    """Close what asks about nothing that is open any more, and say how it was settled. `touched`: the questions whose
    findings changed, where that is known; what asks about the song as a whole is looked through in any case."""
    message = living_message(song)
    if message is None:
        return
    for question in message.questions.undecided():
        if touched is not None and question.pk not in touched and question.topic not in TOPICS.values():
            continue
        if keys := _open_in(question):
            _rebuild(song, question, keys)
        else:
            question.close(State.SETTLED, reason=_how_settled(question))
    _follow(song, message)


def _how_settled(question: Question) -> str:
    last = question.findings.select_related("resolved_by", "ended_by").order_by("ended_at").last()
    if last is None:
        return NOT_FOUND
    if last.state == Finding.State.WAIVED:
        return f"{last.ended_by} has settled it."
    if last.resolved_by is not None:
        return f"Version {last.resolved_by.version} of “{last.resolved_by.name}” has settled it."
    return f"{last.reason}." if last.reason else NOT_FOUND


def close_all(song: Song, *, reason: str) -> None:
    """Nobody waits for answers any more."""
    message = living_message(song)
    if message is None:
        return
    for question in message.questions.undecided():
        question.close(State.MOOT, reason=reason)
    _follow(song, message)


def release(song: Song, message: Message, *, by: User) -> bool:
    """The drummer lets go what was held back. Pressed twice, it goes once."""
    held = list(message.questions.select_for_update().filter(state=State.HELD))
    for question in held:
        question.ask()
    if held:
        _follow(song, message, is_more=True, actor=by)
    return bool(held)


def follow_answers(song: Song, message: Message) -> None:
    _follow(song, message)


def is_unanswered(song: Song) -> bool:
    return Question.objects.waiting().filter(message__song=song).exists()


def is_held(song: Song) -> bool:
    return Question.objects.filter(message__song=song, state=State.HELD).exists()


def held_message(song: Song) -> Message | None:
    return living_message(song) if is_held(song) else None


def is_file_promised(song: Song) -> bool:
    promised = Question.objects.filter(
        message__song=song, state=State.SENT, answer__code=NEW_FILE, findings__in=song.findings.open()
    )
    last = promised.order_by("answered_at").last()
    return last is not None and not song.sources.filter(received_at__gt=last.answered_at).exists()
