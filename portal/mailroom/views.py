"""Threads and messages for both sides; the outbox and the rules for the drummer."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from analysis.findings import KINDS_BY_GROUP
from portal.bookings.models import Booking, Song
from portal.mailroom import services
from portal.mailroom.asking import mark_seen
from portal.mailroom.errors import TooManyMessagesError
from portal.mailroom.forms import InviteForm, RulesForm, WriteForm
from portal.mailroom.message_rules import rules_in_force, sample_sentence, suggested
from portal.mailroom.models import Mail, Message
from portal.mailroom.threads_page import threads_page
from portal.people.access import drummer_required, require_drummer
from portal.people.errors import DrummerAddressError
from portal.people.models import House
from portal.people.requests import MemberRequest, status_of

LONGEST_KEY = 18  # digits
LETTERS_PER_PAGE = 50


@require_GET
@drummer_required
def mail(request: MemberRequest) -> HttpResponse:
    state = request.GET.get("state", "")
    letters = Mail.objects.filter(state=state) if state in Mail.State.values else Mail.objects.all()
    counts = dict(Mail.objects.order_by().values_list("state").annotate(Count("pk")))
    context = {
        "page": Paginator(letters, LETTERS_PER_PAGE).get_page(request.GET.get("page")),
        "state": state,
        "counts": [(option.value, option.label, counts.get(option.value, 0)) for option in Mail.State],
    }
    return render(request, "mailroom/mail.html", context)


@require_POST
@drummer_required
def send_again(request: MemberRequest, mail_id: int) -> HttpResponse:
    services.send_again(mail=get_object_or_404(Mail, pk=mail_id))
    messages.success(request, "The e-mail is queued again.")
    return redirect("mailroom:mail")


@require_GET
@login_required
def threads(request: MemberRequest) -> HttpResponse:
    page, rows = threads_page(request.user, request.GET.get("page"))
    return render(request, "mailroom/threads.html", {"page": page, "threads": rows})


@require_GET
@login_required
def message(request: MemberRequest, message_id: int) -> HttpResponse:
    found = get_object_or_404(
        Message.objects.visible_to(request.user).select_related("booking", "song", "sender", "answered_by"),
        pk=message_id,
    )
    others = Message.objects.visible_to(request.user).filter(booking=found.booking).exclude(pk=found.pk)
    mark_seen(user=request.user, booking_id=found.booking_id, song_id=found.song_id)
    others = others.prefetch_related("questions__answered_by")
    context = {
        "message": found,
        "booking": found.booking,
        "others": others.select_related("song", "sender", "answered_by").newest_first(),
        "form": WriteForm(),
        "song": found.song,
    }
    return render(request, "mailroom/message.html", context)


@require_POST
@login_required
def write(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)
    song = song_named(request, booking)
    form = WriteForm(request.POST)
    back = back_address(request, booking)
    if form.is_valid():
        body, key = form.cleaned_data["body"], str(form.cleaned_data["key"])
        try:
            services.write(booking=booking, song=song, by=request.user, body=body, key=key)
        except TooManyMessagesError as error:
            form.add_error("body", str(error))
        else:
            messages.success(request, "Your message has been sent.")
            return redirect(back)
    context = {"booking": booking, "song": song, "form": form, "back": back}
    return render(request, "mailroom/write.html", context, status=status_of(form))


@require_POST
@login_required
def invite(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)
    require_drummer(request.user)
    form = InviteForm(request.POST)
    if form.is_valid():
        try:
            key = str(form.cleaned_data.pop("key"))
            services.invite_client(booking=booking, by=request.user, key=key, **form.cleaned_data)
        except DrummerAddressError as error:
            form.add_error("email", str(error))
        else:
            messages.success(request, f"The e-mail to {form.cleaned_data['name']} is on its way.")
            return redirect(booking)
    return render(request, "mailroom/invite.html", {"booking": booking, "form": form}, status=status_of(form))


@require_http_methods(["GET", "POST"])
@drummer_required
def rules(request: MemberRequest) -> HttpResponse:
    days = House.get().remind_after_days
    form = RulesForm(request.POST or None, rules=rules_in_force(), remind_after_days=days)
    if request.method == "POST" and form.is_valid():
        services.set_rules(form.rules)
        services.set_reminding(after_days=form.cleaned_data["remind_after_days"])
        messages.success(request, "The rules are saved. They apply from the next check on.")
        return redirect("mailroom:rules")
    groups = {
        group: [(kind, sample_sentence(kind), form[kind.code], suggested(kind).label) for kind in kinds]
        for group, kinds in KINDS_BY_GROUP.items()
    }
    return render(request, "mailroom/rules.html", {"form": form, "groups": groups}, status=status_of(form))


def song_named(request: MemberRequest, booking: Booking) -> Song | None:
    """The song that a message is about, when its form names one of this booking."""
    named = request.POST.get("song", "")
    return get_object_or_404(booking.songs, pk=int(named[:LONGEST_KEY])) if named.isdecimal() else None


def back_address(request: MemberRequest, booking: Booking) -> str:
    back = request.POST.get("back", "")
    is_ours = url_has_allowed_host_and_scheme(back, allowed_hosts=None)
    return back if back and is_ours else booking.get_absolute_url()
