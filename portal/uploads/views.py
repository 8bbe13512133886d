"""tus 1.0.0 over HTTP: one address to make uploads, one for each upload.

Requests carry Django's CSRF token (X-CSRFToken) like every other request of a signed-in browser: one rule for the whole
house, and no exemption to argue about. An upload is its owner's alone; for everybody else it does not exist.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable
from functools import partial, wraps
from typing import Any, cast
from urllib.parse import urlsplit

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import Resolver404, resolve, reverse
from django.views.decorators.cache import never_cache

from portal.people.models import User
from portal.uploads import body, headers, joining, services
from portal.uploads.door import reads_itself
from portal.uploads.errors import (
    BadRequestError,
    DatabaseBusyError,
    PassingError,
    UploadError,
    UploadFinishedError,
)
from portal.uploads.expiry import expires_at
from portal.uploads.finishing import finish
from portal.uploads.models import Upload

RETRY_AFTER_S = 5

logger = logging.getLogger(__name__)

Handler = Callable[..., HttpResponse]


def tus_endpoint(**handlers: Handler) -> Callable[..., HttpResponse]:
    """A view that hands each method to its handler, and turns what goes wrong into the protocol's statuses."""

    @reads_itself
    @never_cache
    def endpoint(request: HttpRequest, **kwargs: uuid.UUID) -> HttpResponse:
        response = answer(request, handlers, **kwargs)
        response.headers["Tus-Resumable"] = headers.VERSION
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response

    return endpoint


def answer(request: HttpRequest, handlers: dict[str, Handler], **kwargs: uuid.UUID) -> HttpResponse:
    try:
        return handled(request, handlers, **kwargs)
    except PassingError as error:
        return retried(error)
    except UploadError as error:
        return sentence(
            error.status, error.sentence, **({"Tus-Version": headers.VERSION} if error.status == 412 else {})
        )
    except OperationalError:
        logger.exception("an upload could not be saved to the database")
        return retried(
            DatabaseBusyError("The server is busy. What was sent is saved, and the upload resumes automatically.")
        )
    except (Http404, Upload.DoesNotExist):
        return sentence(404, "This upload does not exist.")
    except PermissionDenied:
        return sentence(403, "You cannot send files here.")


def handled(request: HttpRequest, handlers: dict[str, Handler], **kwargs: uuid.UUID) -> HttpResponse:
    method = headers.method_of(request)
    if method == "OPTIONS":
        return abilities()
    if method not in handlers:
        return sentence(405, "This method is not allowed here.", Allow=", ".join([*handlers, "OPTIONS"]))
    if not request.user.is_authenticated:
        return sentence(403, "Please sign in and send the file again: what was sent is saved.")
    headers.check_version(request)
    return handlers[method](request, **kwargs)


def sentence(status: int, text: str, **extra_headers: str) -> HttpResponse:
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8", headers=extra_headers)


def retried(error: PassingError) -> HttpResponse:
    return sentence(error.status, error.sentence, **{"Retry-After": str(RETRY_AFTER_S)})


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
    concat = headers.concat(request)
    has_bytes = request.content_type == headers.BYTES_TYPE
    if concat and concat.addresses:
        if has_bytes:
            raise UploadFinishedError("This file is joined from its parts and cannot be extended.")
        return made(join(request, concat))
    checksum = headers.checksum(request) if has_bytes else None
    upload = open_upload(request, is_partial=concat is not None)
    if has_bytes or not upload.length_bytes:
        pieces = partial(body.pieces, request) if has_bytes else lambda _: ()
        services.begin(upload=upload, pieces=pieces, checksum=checksum)
    response = made(upload)
    if has_bytes:
        response.headers["Upload-Offset"] = str(upload.offset_bytes)
    return response


def made(upload: Upload) -> HttpResponse:
    address = reverse("uploads:upload", args=[upload.pk])
    return with_expiry(HttpResponse(status=201, headers={"Location": address}), upload)


def open_upload(request: HttpRequest, *, is_partial: bool) -> Upload:
    length_bytes = headers.length(request)
    metadata = headers.metadata(request)
    raw = request.headers.get("Upload-Metadata", "")
    if is_partial and "purpose" not in metadata:
        return services.create_nameless_partial(user=user_of(request), length_bytes=length_bytes, metadata=raw)
    return services.create(
        **meant_for(request, metadata),
        length_bytes=length_bytes,
        metadata=raw,
        concat=headers.PARTIAL if is_partial else "",
    )


def join(request: HttpRequest, concat: headers.Concat) -> Upload:
    return joining.join(
        **meant_for(request, headers.metadata(request)),
        metadata=request.headers.get("Upload-Metadata", ""),
        concat=concat.raw,
        part_ids=[upload_id_of(address) for address in concat.addresses],
    )


def meant_for(request: HttpRequest, metadata: dict[str, str]) -> Any:
    target = metadata.get("target", "")
    if not (target.isascii() and target.isdigit()) or len(target) > headers.LONGEST_NUMBER:
        raise BadRequestError("The upload has no target.")
    return {
        "user": user_of(request),
        "purpose": metadata.get("purpose", ""),
        "target_id": int(target),
        "file_name": metadata.get("filename", ""),
    }


def user_of(request: HttpRequest) -> User:
    return cast(User, request.user)  # `answer` lets nobody else in


def upload_id_of(address: str) -> uuid.UUID:
    """The number in an upload's address, which may name the host or not."""
    try:
        match = resolve(urlsplit(address).path)
    except (Resolver404, ValueError) as error:
        raise BadRequestError("Upload-Concat names something that is not a partial upload.") from error
    if match.view_name != "uploads:upload":
        raise BadRequestError("Upload-Concat names something that is not a partial upload.")
    upload_id: uuid.UUID = match.kwargs["upload_id"]
    return upload_id


def of_owner(handler: Handler) -> Handler:
    @wraps(handler)
    def with_upload(request: HttpRequest, upload_id: uuid.UUID) -> HttpResponse:
        return handler(request, get_object_or_404(Upload, pk=upload_id, owner=request.user))

    return with_upload


@of_owner
def state(_request: HttpRequest, upload: Upload) -> HttpResponse:
    """Where to go on. When all bytes are there but were not stored yet, they are now: the last offset means received.

    While another connection does so, this one is told that the upload is locked.
    """
    services.check_open(upload)
    if upload.is_finishable:
        finish(upload)
    response = HttpResponse(
        headers={"Upload-Offset": str(upload.offset_bytes), "Upload-Length": str(upload.length_bytes)}
    )
    for name, value in (("Upload-Metadata", upload.metadata), ("Upload-Concat", upload.concat)):
        if value:
            response.headers[name] = value
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
        response.headers["Upload-Expires"] = headers.expires(expires_at(upload))
    return response


create = tus_endpoint(POST=make)
upload = tus_endpoint(HEAD=state, PATCH=add, DELETE=end)
