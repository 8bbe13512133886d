"""Prepared files, one by one."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from portal.file_serving import serve
from portal.people.requests import MemberRequest
from portal.prep.models import PreparedFile


@require_safe
@login_required
def file(request: MemberRequest, prepared_id: int) -> HttpResponseBase:
    prepared = get_object_or_404(PreparedFile.objects.visible_to(request.user), pk=prepared_id)
    return serve(request, key=prepared.key, file_name=prepared.name)
