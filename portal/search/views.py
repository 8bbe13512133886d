"""The search page."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from portal.folding import LONGEST_QUERY
from portal.people.requests import MemberRequest
from portal.search.page import search_page

MOST_DIGITS = 6


@require_GET
@login_required
def search(request: MemberRequest) -> HttpResponse:
    """What nobody can have meant is the first page of everything."""
    query, page = request.GET.get("q", "")[:LONGEST_QUERY], request.GET.get("page", "")
    number = int(page) if page.isascii() and page.isdecimal() and len(page) <= MOST_DIGITS else 1
    found = search_page(request.user, query, key=request.GET.get("in", ""), number=number)
    return render(request, "search/search.html", {"page": found, "searched": query})
