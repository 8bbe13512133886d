"""A file that came in parts side by side becomes one."""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from portal.people.models import User
from portal.uploads import finishing, services
from portal.uploads.errors import BadRequestError, UploadGoneError
from portal.uploads.models import PARTIAL, Upload


def join(
    *,
    user: User,
    purpose: str,
    target_id: int,
    file_name: str,
    metadata: str,
    concat: str,
    part_ids: Sequence[uuid.UUID],
) -> Upload:
    """Make the final upload and fill it. Asked again after an answer that was lost, the first one is the answer."""
    asked = {"owner": user, "purpose": purpose, "target_id": target_id, "parts": [str(part_id) for part_id in part_ids]}
    final = Upload.objects.filter(**asked, state__in=[Upload.State.OPEN, Upload.State.RECEIVED]).first()
    if final is None:
        made_of = look_up(user, part_ids)
        final = services.create(
            user=user,
            purpose=purpose,
            target_id=target_id,
            file_name=file_name,
            length_bytes=sum(part.length_bytes for part in made_of),
            metadata=metadata,
            concat=concat,
            made_of=made_of,
        )
    finishing.finish(final)
    return final


def look_up(user: User, part_ids: Sequence[uuid.UUID]) -> list[Upload]:
    """The parts in the order in which they were named; each may be named more than once."""
    found = {part.pk: part for part in Upload.objects.filter(pk__in=part_ids, owner=user, concat=PARTIAL)}
    if not all(part_id in found for part_id in part_ids):
        raise BadRequestError("Upload-Concat names something that is not a partial upload.")
    made_of = [found[part_id] for part_id in part_ids]
    for part in made_of:
        services.check_open(part)
        if part.state == Upload.State.JOINED:
            raise UploadGoneError("A part of this file has already been joined. Please send the file again.")
        if part.offset_bytes < part.length_bytes:
            raise BadRequestError("A part of this file has not arrived completely.")
    return made_of
