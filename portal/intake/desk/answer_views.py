"""Answers to what a song's message asks: each is saved in its place, and they are sent on together."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from portal.intake.checks import answering
from portal.intake.desk.forms import AnswerForm
from portal.intake.errors import IntakeError
from portal.mailroom.models import Message, Question
from portal.mailroom.questions_page import questions_page
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest


@require_POST
@login_required
def answer(request: MemberRequest, question_id: int) -> HttpResponse:
    """One tap. Where the answer cannot be taken, a sentence says what holds instead."""
    questions = Question.objects.visible_to(request.user).select_related("message__song", "message__booking")
    question = get_object_or_404(questions, pk=question_id)
    form, notice = AnswerForm(request.POST), ""
    if form.is_valid():
        try:
            answering.save_answer(question=question, by=request.user, **form.cleaned_data)
        except IntakeError as error:
            notice = str(error)
    else:
        notice = "Press one of the answers."
    if request.htmx:
        message = Message.objects.prefetch_related("questions__answered_by").get(pk=question.message_id)
        return render(request, "mailroom/_questions.html", questions_page(message, request.user, notice=notice))
    if notice:
        messages.error(request, notice)
        return redirect("mailroom:message", question.message_id)
    messages.success(request, "Your answer is saved.")
    return back_to(question.message)


@login_required
def answer_by_old_page(request: MemberRequest, message_id: int) -> HttpResponse:
    """Pages from before messages had questions answer here: nothing is saved, and the message says what holds."""
    message = get_object_or_404(Message.objects.visible_to(request.user).select_related("booking"), pk=message_id)
    messages.warning(request, f"Nothing was saved: the page you answered on is out of date. {what_holds(message)}")
    return redirect("mailroom:message", message.pk)


def what_holds(message: Message) -> str:
    if message.booking.is_over:
        return f"This booking is {message.booking.get_stage_display()}: no answer is needed any more."
    if message.waits_for_answer:
        return "Here is what is still open: please answer it here."
    if message.state == Message.State.ANSWERED:
        return "It was answered already."
    return "No answer is needed here any more."


def find_message(request: MemberRequest, message_id: int) -> Message:
    asking = Message.objects.visible_to(request.user).select_related("song", "booking").exclude(song=None)
    return get_object_or_404(asking, pk=message_id)


def back_to(message: Message) -> HttpResponse:
    return redirect(f"{(message.song or message.booking).get_absolute_url()}#messages")


@require_POST
@login_required
def send_answers(request: MemberRequest, message_id: int) -> HttpResponse:
    message = find_message(request, message_id)
    try:
        count = answering.send_answers(message=message, by=request.user)
    except IntakeError as error:
        messages.error(request, str(error))
        return back_to(message)
    if count:
        messages.success(request, "Thank you: your answers are sent.")
    else:
        messages.info(request, "There was nothing more to send: what was answered has been sent already.")
    return back_to(message)


@require_POST
@login_required
def send_held(request: MemberRequest, message_id: int) -> HttpResponse:
    message = find_message(request, message_id)
    require_drummer(request.user)
    if answering.release(message=message, by=request.user):
        messages.success(request, "The questions are sent to the client.")
    else:
        messages.warning(request, "Nothing is held back here any more: nothing is sent.")
    return redirect("intake:sheet", message.song_id)
