"""tus 1.0.0 over HTTP: one address to make uploads, one for each upload.

Requests carry Django's CSRF token (X-CSRFToken) like every other request of a signed-in browser: one rule for the whole
house, and no exemption to argue about. An upload is its owner's alone; for everybody else it does not exist.
"""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Callable
from functools import partial, wraps

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.cache import never_cache

from portal.uploads import body, headers, services
from portal.uploads.errors import BadRequestError, UploadBusyError, UploadError
from portal.uploads.models import Upload

Handler = Callable[..., HttpResponse]


def tus_endpoint(**handlers: Handler) -> Callable[..., HttpResponse]:
    """A view that hands each method to its handler, and turns what goes wrong into the protocol's statuses."""

    @never_cache
    def endpoint(request: HttpRequest, **kwargs: uuid.UUID) -> HttpResponse:
        response = answer(request, handlers, **kwargs)
        response.headers["Tus-Resumable"] = headers.VERSION
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response

    return endpoint


def answer(request: HttpRequest, handlers: dict[str, Handler], **kwargs: uuid.UUID) -> HttpResponse:
    try:
        method = headers.method_of(request)
        if method == "OPTIONS":
            return abilities()
        if method not in handlers:
            return sentence(405, "This address does not do that.", Allow=", ".join([*handlers, "OPTIONS"]))
        if not request.user.is_authenticated:
            return sentence(403, "Please sign in and send the file again: what came so far is kept.")
        headers.check_version(request)
        return handlers[method](request, **kwargs)
    except UploadError as error:
        return sentence(
            error.status, error.sentence, **({"Tus-Version": headers.VERSION} if error.status == 412 else {})
        )
    except Http404:
        return sentence(404, "There is no such upload.")
    except PermissionDenied:
        return sentence(403, "You may not send files here.")


def sentence(status: int, text: str, **extra_headers: str) -> HttpResponse:
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8", headers=extra_headers)


def abilities() -> HttpResponse:
    return HttpResponse(
        status=204,
        headers={
            "Tus-Version": headers.VERSION,
            "Tus-Extension": headers.EXTENSIONS,
            "Tus-Checksum-Algorithm": ",".join(headers.CHECKSUM_ALGORITHMS),
            "Tus-Max-Size": str(settings.LARGEST_UPLOAD_BYTES),
        },
    )


def make(request: HttpRequest) -> HttpResponse:
    has_bytes = request.content_type == headers.BYTES_TYPE
    checksum = headers.checksum(request) if has_bytes else None
    upload = open_upload(request)
    if has_bytes or not upload.length_bytes:
        pieces = partial(body.pieces, request) if has_bytes else lambda _: ()
        services.begin(upload=upload, pieces=pieces, checksum=checksum)
    response = HttpResponse(status=201, headers={"Location": reverse("uploads:upload", args=[upload.pk])})
    if has_bytes:
        response.headers["Upload-Offset"] = str(upload.offset_bytes)
    return with_expiry(response, upload)


def open_upload(request: HttpRequest) -> Upload:
    metadata = headers.metadata(request)
    target = metadata.get("target", "")
    if not (target.isascii() and target.isdigit()) or len(target) > headers.LONGEST_NUMBER:
        raise BadRequestError("The upload does not say where it belongs.")
    return services.create(
        user=request.user,  # type: ignore[arg-type]  # `answer` lets nobody else in
        purpose=metadata.get("purpose", ""),
        target_id=int(target),
        file_name=metadata.get("filename", ""),
        length_bytes=headers.length(request),
        metadata=request.headers.get("Upload-Metadata", ""),
    )


def of_owner(handler: Handler) -> Handler:
    @wraps(handler)
    def with_upload(request: HttpRequest, upload_id: uuid.UUID) -> HttpResponse:
        return handler(request, get_object_or_404(Upload, pk=upload_id, owner=request.user))

    return with_upload


@of_owner
def state(_request: HttpRequest, upload: Upload) -> HttpResponse:
    """Where to go on. When all bytes are there but were not stored yet, they are now."""
    services.check_open(upload)
    if upload.state == Upload.State.OPEN and upload.offset_bytes == upload.length_bytes:
        # Busy: the connection that brought the last byte is storing them.
        with contextlib.suppress(UploadBusyError):
            services.finish(upload)
    response = HttpResponse(
        headers={"Upload-Offset": str(upload.offset_bytes), "Upload-Length": str(upload.length_bytes)}
    )
    if upload.metadata:
        response.headers["Upload-Metadata"] = upload.metadata
    return with_expiry(response, upload)


@of_owner
def add(request: HttpRequest, upload: Upload) -> HttpResponse:
    headers.check_bytes_type(request)
    checksum = headers.checksum(request)
    offset = headers.number(request, "Upload-Offset")
    services.append(upload=upload, at_offset=offset, pieces=partial(body.pieces, request), checksum=checksum)
    return with_expiry(HttpResponse(status=204, headers={"Upload-Offset": str(upload.offset_bytes)}), upload)


@of_owner
def end(_request: HttpRequest, upload: Upload) -> HttpResponse:
    services.check_open(upload)
    services.end(upload)
    return HttpResponse(status=204)


def with_expiry(response: HttpResponse, upload: Upload) -> HttpResponse:
    if upload.state == Upload.State.OPEN:
        response.headers["Upload-Expires"] = headers.expires(services.expires_at(upload))
    return response


create = tus_endpoint(POST=make)
upload = tus_endpoint(HEAD=state, PATCH=add, DELETE=end)
