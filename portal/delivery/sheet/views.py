"""The sheet as a page and as files, and the photographs on it."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from portal.delivery.errors import DeliveryError
from portal.delivery.forms import PhotoForm
from portal.delivery.models import Delivery, KitPhoto
from portal.delivery.names import PDF_NAME, SHEET_NAME
from portal.delivery.sheet.page import sheet_page
from portal.delivery.sheet.papers import json_of, pdf_of
from portal.delivery.sheet.photos import add_photo, remove_photo
from portal.delivery.zip_contents import folder_of
from portal.file_serving import content_disposition, serve
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest
from portal.uploads.door import may_bring_files


@require_safe
@login_required
def sheet(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    return render(request, "delivery/sheet.html", {"page": sheet_page(delivery, request.user)})


@require_safe
@login_required
def sheet_pdf(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    return _file(pdf_of(delivery), "application/pdf", f"{folder_of(delivery)}_{PDF_NAME}")


@require_safe
@login_required
def sheet_json(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    return _file(json_of(delivery), "application/json", f"{folder_of(delivery)}_{SHEET_NAME}")


@require_safe
@login_required
def photo(request: MemberRequest, photo_id: int) -> HttpResponseBase:
    found = get_object_or_404(KitPhoto.objects.visible_to(request.user), pk=photo_id)
    return serve(request, key=found.key, file_name="kit.jpg", content_type="image/jpeg", inline=True)


@may_bring_files
@require_POST
@login_required
def upload_photo(request: MemberRequest, delivery_id: int) -> HttpResponse:
    delivery = _find(request, delivery_id)
    require_drummer(request.user)
    form = PhotoForm(request.POST, request.FILES)
    try:
        if form.is_valid():
            add_photo(delivery=delivery, file=form.cleaned_data["photo"], by=request.user)
        else:
            messages.error(request, "Choose a photograph, then send it.")
    except DeliveryError as error:
        messages.error(request, str(error))
    return _to_photos(delivery)


@require_POST
@login_required
def remove(request: MemberRequest, photo_id: int) -> HttpResponse:
    photos = KitPhoto.objects.visible_to(request.user).select_related("delivery")
    found = get_object_or_404(photos, pk=photo_id)
    require_drummer(request.user)
    try:
        remove_photo(photo=found)
    except DeliveryError as error:
        messages.error(request, str(error))
    return _to_photos(found.delivery)


def _find(request: MemberRequest, delivery_id: int) -> Delivery:
    deliveries = Delivery.objects.visible_to(request.user).select_related("song__booking__created_by")
    return get_object_or_404(deliveries, pk=delivery_id)


def _file(content: bytes, content_type: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=content_type)
    response.headers["Content-Disposition"] = content_disposition(name)
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cache-Control"] = "private, no-cache"
    return response


def _to_photos(delivery: Delivery) -> HttpResponse:
    return redirect(f"{reverse('delivery:sheet', args=[delivery.pk])}#kit")
