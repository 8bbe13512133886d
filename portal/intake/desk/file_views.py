"""One file and its versions: replace it, go back, remove it and restore it; and zips as they were sent."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Prefetch
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST, require_safe

from portal.file_serving import serve
from portal.intake.desk.files_page import takes_files
from portal.intake.desk.song_views import change_source, find_source
from portal.intake.desk.unfinished import unfinished_uploads
from portal.intake.files import services as song_files
from portal.intake.models import Finding, SentZip, SourceFile
from portal.people.requests import MemberRequest
from portal.uploads.door import may_bring_files
from portal.uploads.errors import UploadRefusedError
from portal.uploads.services import take_whole

GONE = "“{name}” has been removed: its booking is over and the retention period has passed."


@require_GET
@login_required
def versions(request: MemberRequest, source_id: int) -> HttpResponse:
    source = find_source(request, source_id)
    found = SourceFile.objects.versions_of(source).select_related("sent_by", "removed_by", "zip")
    rows = list(found.prefetch_related(Prefetch("findings_resolved", Finding.objects.resolved()), "findings"))
    counting = next((one for one in rows if one.removed_at is None), None)
    context = {
        "song": source.song,
        "source": counting or rows[0],
        "counting": counting,
        "versions": rows,
        "takes_files": takes_files(source.song),
        "unfinished": unfinished_uploads(request.user, purpose="bounce", target_id=source.pk),
    }
    return render(request, "intake/versions.html", context)


@may_bring_files
@require_POST
@login_required
def replace(request: MemberRequest, source_id: int) -> HttpResponse:
    """A new version that came with a plain form."""
    source = find_source(request, source_id)
    sent = request.FILES.get("file")
    if sent is None:
        messages.error(request, "Choose a file first, then press “Send”.")
        return redirect("intake:versions", source.pk)
    try:
        upload = take_whole(user=request.user, purpose="bounce", target_id=source.pk, uploaded_file=sent)
    except UploadRefusedError as error:
        messages.error(request, error.sentence)
        return redirect("intake:versions", source.pk)
    messages.success(request, f"“{upload.file_name}” is received. It is being measured.")
    return redirect("intake:versions", source.pk)


@require_POST
@login_required
def bring_back(request: MemberRequest, source_id: int) -> HttpResponse:
    done = "“{source.name}”, version {source.version}, is in use again."
    return change_source(request, source_id, song_files.bring_back, done=done)


@require_safe
@login_required
def download(request: MemberRequest, source_id: int) -> HttpResponseBase:
    source = find_source(request, source_id)
    if source.gone_at is not None:
        messages.error(request, GONE.format(name=source.name))
        return redirect("intake:versions", source.pk)
    # Never shown in the page: a stranger's file must not become a page of ours.
    return serve(request, key=source.key, file_name=source.name, content_type="application/octet-stream")


@require_safe
@login_required
def zip_as_sent(request: MemberRequest, zip_id: int) -> HttpResponseBase:
    zips = SentZip.objects.visible_to(request.user).select_related("song")
    sent = get_object_or_404(zips, pk=zip_id)
    if sent.gone_at is not None:
        messages.error(request, GONE.format(name=sent.name))
        return redirect(sent.song)
    return serve(request, key=sent.key, file_name=sent.name, content_type="application/octet-stream")
