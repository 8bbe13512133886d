"""The files going out: one by one, all as one zip, or what changed as one; to those who are signed in, and by link."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from portal.delivery import links, receipts, services
from portal.delivery.changes import changes_of
from portal.delivery.errors import LinkGoneError, LinkUnknownError
from portal.delivery.models import Delivery, DeliveryFile, Receipt, ShareLink
from portal.delivery.receipts import Content, Taker, counted
from portal.delivery.shared_page import shared_page
from portal.delivery.zip_contents import folder_of, zip_of
from portal.file_serving import content_disposition, send_bytes, serve, tag_of
from portal.people.requests import MemberRequest

GONE, NOT_FOUND = 410, 404
What = Receipt.What


@require_safe
@login_required
def file(request: MemberRequest, file_id: int) -> HttpResponseBase:
    files = DeliveryFile.objects.visible_to(request.user).select_related("delivery__song__booking")
    file = get_object_or_404(files, pk=file_id)
    _note_fetched(request, file.delivery)
    return send_file(request, file, Taker(user=request.user))


@require_safe
@login_required
def download_zip(request: MemberRequest, delivery_id: int) -> HttpResponseBase:
    """The whole set; a broken download goes on where it stopped."""
    delivery = _find(request, delivery_id)
    _note_fetched(request, delivery)
    return send_zip(request, delivery, Taker(user=request.user))


@require_safe
@login_required
def download_changes(request: MemberRequest, delivery_id: int) -> HttpResponseBase:
    """What somebody who has the earlier delivery needs, and nothing else."""
    delivery = _find(request, delivery_id)
    changes = changes_of(delivery)
    if changes is None or not changes.to_take:
        raise Http404("Nothing changed.")
    _note_fetched(request, delivery)
    return send_zip(request, delivery, Taker(user=request.user), only=changes.to_take)


@require_safe
def shared(request: HttpRequest, link_token: str) -> HttpResponseBase:
    return _by_link(request, lambda: _shared_page(request, links.find_link(link_token)))


@require_safe
def shared_zip(request: HttpRequest, link_token: str) -> HttpResponseBase:
    def send() -> HttpResponseBase:
        link = links.find_link(link_token)
        return send_zip(request, link.delivery, Taker(link=link))

    return _by_link(request, send)


@require_safe
def shared_file(request: HttpRequest, link_token: str) -> HttpResponseBase:
    def send() -> HttpResponseBase:
        link, file = links.find_file(link_token)
        file.delivery = link.delivery
        return send_file(request, file, Taker(link=link))

    return _by_link(request, send)


def send_file(request: HttpRequest, file: DeliveryFile, taker: Taker) -> HttpResponseBase:
    delivery = file.delivery
    _check_balance(taker, delivery)
    content = Content(What.FILE, tag_of(file.key), file.size_bytes, file)
    if not receipts.are_sent_by_us() and request.method == "GET" and taker.is_counted:
        receipts.begin(taker, delivery, content, is_counted=False)
    return serve(request, key=file.key, file_name=file.name, counted=counted(taker, delivery, content))


def send_zip(
    request: HttpRequest, delivery: Delivery, taker: Taker, *, only: tuple[DeliveryFile, ...] | None = None
) -> HttpResponseBase:
    _check_balance(taker, delivery)
    made = zip_of(delivery, only=only)
    if made is None:
        raise Http404("The zip is available after the checks.")
    archive, etag = made
    what, name = (What.ZIP, "") if only is None else (What.CHANGES, "_changes")
    count = counted(taker, delivery, Content(what, etag, archive.length_bytes))
    return send_bytes(
        request,
        read=count(archive.read),
        length_bytes=archive.length_bytes,
        etag=etag,
        content_type="application/zip",
        disposition=content_disposition(f"{folder_of(delivery)}{name}.zip"),
    )


def _find(request: MemberRequest, delivery_id: int) -> Delivery:
    deliveries = Delivery.objects.visible_to(request.user).select_related("song__booking")
    return get_object_or_404(deliveries, pk=delivery_id)


def _check_balance(taker: Taker, delivery: Delivery) -> None:
    if taker.is_counted and delivery.song.booking.files_wait_for_balance:
        raise PermissionDenied(services.BALANCE_SENTENCE)


def _note_fetched(request: MemberRequest, delivery: Delivery) -> None:
    is_held = delivery.song.booking.files_wait_for_balance
    if request.method == "GET" and not request.user.is_drummer and delivery.fetched_at is None and not is_held:
        services.note_fetched(delivery=delivery, by=request.user)


def _shared_page(request: HttpRequest, link: ShareLink) -> HttpResponse:
    return render(request, "delivery/shared.html", {"page": shared_page(link)})


def _by_link(request: HttpRequest, answer: Callable[[], HttpResponseBase]) -> HttpResponseBase:
    """Kept by nobody in between, found by no search, and told to no other site."""
    try:
        response = answer()
    except LinkUnknownError as error:
        response = render(request, "delivery/shared_closed.html", {"sentence": str(error)}, status=NOT_FOUND)
    except LinkGoneError as error:
        response = render(request, "delivery/shared_closed.html", {"sentence": str(error)}, status=GONE)
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Robots-Tag"] = "noindex"
    response.headers["Referrer-Policy"] = "no-referrer"
    return response
