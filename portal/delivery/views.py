"""A delivery's page, its moves, and the files going out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST, require_safe

from portal.bookings.models import Song
from portal.delivery import services
from portal.delivery.errors import DeliveryError, SetClosedError
from portal.delivery.forms import PerspectiveForm, ReleaseForm, TrackForms, UploadForm, WaiveForm
from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.page import delivery_page
from portal.delivery.zip_contents import folder_of, zip_of
from portal.file_serving import content_disposition, send_bytes, serve
from portal.people.access import require_drummer
from portal.people.models import User
from portal.people.requests import MemberRequest
from portal.uploads.door import may_bring_files
from portal.uploads.errors import UploadRefusedError
from portal.uploads.services import take_whole

UNPROCESSABLE = 422
# What refreshes alone, by the element that asks.
PARTS = {"delivery-set": "delivery/_set_inside.html", "track-sheet": "delivery/_track_rows.html"}


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
    """The track sheet's own columns: microphone, polarity, take."""
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    perspective = PerspectiveForm(request.POST, instance=delivery)
    tracks = TrackForms(request.POST, queryset=delivery.files.current(), prefix="tracks")
    if not (perspective.is_valid() and tracks.is_valid()):
        return _page(request, delivery, status=UNPROCESSABLE, perspective_form=perspective, track_forms=tracks)
    try:
        services.describe(delivery=delivery, save=lambda: (perspective.save(), tracks.save()))
    except SetClosedError:
        delivery.refresh_from_db()
        messages.error(
            request,
            f"Delivery {delivery.number} is {delivery.get_state_display()}: its track sheet can no longer change.",
        )
    else:
        messages.success(request, "The track sheet is saved.")
    return redirect("delivery:delivery", delivery.pk)


@require_POST
@login_required
def check(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    return _do(request, delivery, lambda: services.ask_check(delivery=delivery))


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


@require_safe
@login_required
def file(request: MemberRequest, file_id: int) -> HttpResponseBase:
    files = DeliveryFile.objects.visible_to(request.user).select_related("delivery__song__booking")
    file = get_object_or_404(files, pk=file_id)
    _check_balance(request.user, file.delivery)
    _note_fetched(request, file.delivery)
    return serve(request, key=file.key, file_name=file.name)


@require_safe
@login_required
def download_zip(request: MemberRequest, delivery_id: int) -> HttpResponseBase:
    """The whole set; a broken download goes on where it stopped."""
    delivery = _find(request, delivery_id)
    _check_balance(request.user, delivery)
    made = zip_of(delivery)
    if made is None:
        raise Http404("The zip is available after the checks.")
    _note_fetched(request, delivery)
    archive, etag = made
    return send_bytes(
        request,
        read=archive.read,
        length_bytes=archive.length_bytes,
        etag=etag,
        content_type="application/zip",
        disposition=content_disposition(f"{folder_of(delivery)}.zip"),
    )


def _find(request: MemberRequest, delivery_id: int) -> Delivery:
    deliveries = Delivery.objects.visible_to(request.user).select_related("song__booking")
    return get_object_or_404(deliveries, pk=delivery_id)


def _check_balance(user: User, delivery: Delivery) -> None:
    if not user.is_drummer and delivery.song.booking.files_wait_for_balance:
        raise PermissionDenied(services.BALANCE_SENTENCE)


def _note_fetched(request: MemberRequest, delivery: Delivery) -> None:
    if request.method == "GET" and not request.user.is_drummer and delivery.fetched_at is None:
        services.note_fetched(delivery=delivery, by=request.user)


def _do(request: MemberRequest, delivery: Delivery, move: Callable[[], None]) -> HttpResponse:
    try:
        move()
    except DeliveryError as error:
        messages.error(request, str(error))
    return redirect("delivery:delivery", delivery.pk)


def _page(request: MemberRequest, delivery: Delivery, *, status: int = 200, **forms: Any) -> HttpResponse:
    template = PARTS.get(request.htmx.target or "", "delivery/delivery.html")
    return render(request, template, {"page": delivery_page(delivery, request.user, **forms)}, status=status)
