"""A delivery's page and its moves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from portal.bookings.models import Song
from portal.delivery import links, services
from portal.delivery.errors import DeliveryError, SetClosedError
from portal.delivery.forms import ReleaseForm, ShareForm, SheetForm, TrackForms, UploadForm, WaiveForm
from portal.delivery.models import Delivery, DeliveryFile, ShareLink
from portal.delivery.page import delivery_page
from portal.delivery.repairs.services import ask_repair
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest
from portal.uploads.door import may_bring_files
from portal.uploads.errors import UploadRefusedError
from portal.uploads.services import take_whole

UNPROCESSABLE = 422
# What refreshes alone, by the element that asks.
PARTS = {"delivery-set": "delivery/_set_inside.html", "sheet-rows": "delivery/_sheet_rows.html"}


@require_POST
@login_required
def open_delivery(request: MemberRequest, song_id: int) -> HttpResponse:
    song = get_object_or_404(Song.objects.visible_to(request.user), pk=song_id)
    require_drummer(request.user)
    try:
        return redirect("delivery:delivery", services.open_delivery(song=song, by=request.user).pk)
    except DeliveryError as error:
        messages.error(request, str(error))
    return redirect(f"{song.get_absolute_url()}#delivery")


@require_GET
@login_required
def delivery(request: MemberRequest, delivery_id: int) -> HttpResponse:
    return _page(request, _find(request, delivery_id))


@may_bring_files
@require_POST
@login_required
def upload(request: MemberRequest, delivery_id: int) -> HttpResponse:
    """A track by plain form."""
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    form = UploadForm(request.POST, request.FILES)
    if not form.is_valid():
        messages.error(request, "Choose a file that is not empty, then send it.")
        return redirect("delivery:delivery", delivery.pk)
    try:
        take_whole(user=request.user, purpose="track", target_id=delivery.pk, uploaded_file=form.cleaned_data["file"])
    except UploadRefusedError as error:
        messages.error(request, error.sentence)
    return redirect("delivery:delivery", delivery.pk)


@require_POST
@login_required
def remove(request: MemberRequest, file_id: int) -> HttpResponse:
    files = DeliveryFile.objects.visible_to(request.user).select_related("delivery")
    file = get_object_or_404(files, pk=file_id)
    require_drummer(request.user)
    return _do(request, file.delivery, lambda: services.remove_track(file=file, by=request.user))


@require_POST
@login_required
def describe(request: MemberRequest, delivery_id: int) -> HttpResponse:
    """What the drummer writes on the delivery sheet: channel, microphone, polarity, take."""
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    sheet = SheetForm(request.POST, instance=delivery)
    tracks = TrackForms(request.POST, queryset=delivery.files.current(), prefix="tracks")
    if not (sheet.is_valid() and tracks.is_valid()):
        return _page(request, delivery, status=UNPROCESSABLE, sheet_form=sheet, track_forms=tracks)
    try:
        is_checked_again = services.describe(delivery=delivery, save=lambda: (sheet.save(), tracks.save()))
    except SetClosedError:
        delivery.refresh_from_db()
        messages.error(
            request,
            f"Delivery {delivery.number} is {delivery.get_state_display()}: its sheet can no longer change.",
        )
    else:
        again = " This asked for a new check of the set." if is_checked_again else ""
        messages.success(request, f"The delivery sheet is saved.{again}")
    return redirect("delivery:delivery", delivery.pk)


@require_POST
@login_required
def check(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    return _do(request, delivery, lambda: services.ask_check(delivery=delivery))


@require_POST
@login_required
def repair(request: MemberRequest, delivery_id: int) -> HttpResponse:
    """A corrected set, in what was ticked."""
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    keys = request.POST.getlist("repair")
    return _do(request, delivery, lambda: ask_repair(delivery=delivery, keys=keys, by=request.user))


@require_POST
@login_required
def waive(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    form = WaiveForm(request.POST)
    if not form.is_valid():
        return _page(request, delivery, status=UNPROCESSABLE, waive_form=form)
    return _do(request, delivery, lambda: services.waive(delivery=delivery, by=request.user, **form.cleaned_data))


@require_POST
@login_required
def release(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    form = ReleaseForm(request.POST)
    if not form.is_valid():
        return _page(request, delivery, status=UNPROCESSABLE, release_form=form)
    note = form.cleaned_data["note"]
    return _do(request, delivery, lambda: services.release(delivery=delivery, note=note, by=request.user))


@require_POST
@login_required
def accept(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    if request.user.is_drummer:
        raise PermissionDenied("A delivery is accepted by the client.")
    return _do(request, delivery, lambda: services.accept(delivery=delivery, by=request.user))


@require_POST
@login_required
def share(request: MemberRequest, delivery_id: int) -> HttpResponse:
    """A link for somebody without an account, made by either side."""
    delivery, form = _find(request, delivery_id), ShareForm(request.POST)
    if not form.is_valid():
        return _page(request, delivery, status=UNPROCESSABLE, share_form=form)
    said = form.cleaned_data
    return _do(request, delivery, lambda: links.make_link(delivery=delivery, by=request.user, **said), "#links")


@require_POST
@login_required
def withdraw_link(request: MemberRequest, link_id: int) -> HttpResponse:
    shared = ShareLink.objects.filter(delivery__in=Delivery.objects.visible_to(request.user))
    link = get_object_or_404(shared.select_related("delivery"), pk=link_id)
    return _do(request, link.delivery, lambda: links.withdraw_link(link=link, by=request.user), "#links")


def _find(request: MemberRequest, delivery_id: int) -> Delivery:
    deliveries = Delivery.objects.visible_to(request.user).select_related("song__booking")
    return get_object_or_404(deliveries, pk=delivery_id)


def _do(request: MemberRequest, delivery: Delivery, move: Callable[[], object], part: str = "") -> HttpResponse:
    try:
        move()
    except DeliveryError as error:
        messages.error(request, str(error))
    return redirect(reverse("delivery:delivery", args=[delivery.pk]) + part)


def _page(request: MemberRequest, delivery: Delivery, *, status: int = 200, **forms: Any) -> HttpResponse:
    template = PARTS.get(request.htmx.target or "", "delivery/delivery.html")
    return render(request, template, {"page": delivery_page(delivery, request.user, **forms)}, status=status)
