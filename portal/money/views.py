"""The quote as the drummer writes it and the client reads it, the decision, and the money that came in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from portal.bookings.models import Booking
from portal.money import payments, services
from portal.money.agreement import CAUTION
from portal.money.errors import MoneyError
from portal.money.forms import (
    DecisionForm,
    LineFormSet,
    Lines,
    PaymentForm,
    QuoteForm,
    TakeBackForm,
    lines_as_initial,
    quote_as_initial,
    troubles_in,
)
from portal.money.models import Payment, Quote
from portal.money.page import instalments_of, quote_page_of
from portal.people.access import require_drummer
from portal.people.models import House
from portal.people.requests import MemberRequest

UNPROCESSABLE = 422


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def quote(request: MemberRequest, booking_id: int) -> HttpResponse:
    """Read the newest version; the drummer also writes the draft here."""
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)
    if request.method == "POST":
        require_drummer(request.user)
        return _save(request, booking)
    newest = booking.quotes.visible_to(request.user).prefetch_related("lines").first()
    writes = newest is None or newest.state == Quote.State.DRAFT or "new" in request.GET
    if request.user.is_drummer and writes and services.takes_offers(booking):
        return _editor(request, booking, newest, *_forms(booking, newest))
    return render(request, "money/quote.html", _reading(booking, newest))


@require_POST
@login_required
def preview(request: MemberRequest, booking_id: int) -> HttpResponse:
    """What the client would see of the form as it stands; nothing of it is kept."""
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)
    require_drummer(request.user)
    form, lines = _forms(booking, None, request.POST)
    if not (form.is_valid() and lines.is_valid()):
        return render(request, "money/_preview.html", {"troubles": troubles_in(form, lines)})
    with transaction.atomic():
        draft = services.save_draft(booking=booking, conditions=form.conditions, lines=lines.lines, by=request.user)
        answer = render(request, "money/_preview.html", {"quote_page": quote_page_of(draft)})
        transaction.set_rollback(True)
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def send(request: MemberRequest, booking_id: int) -> HttpResponse:
    """The saved draft as the client will see it, and sending just that."""
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)
    require_drummer(request.user)
    draft = booking.quotes.filter(state=Quote.State.DRAFT).prefetch_related("lines").first()
    if draft is None:
        messages.info(request, "There is no draft to send.")
        return redirect("money:quote", booking.pk)
    error = ""
    if request.method == "POST":
        try:
            services.send_quote(quote=draft, by=request.user, seen=request.POST.get("seen", ""))
            messages.success(request, "The quote is sent.")
            return redirect("money:quote", booking.pk)
        except MoneyError as refused:
            error = str(refused)
    context = {
        "booking": booking,
        "quote_page": quote_page_of(draft),
        "seen": services.fingerprint_of(draft),
        "clients": booking.members.select_related("user"),
        "error": error,
    }
    return render(request, "money/send.html", context, status=UNPROCESSABLE if error else 200)


@require_POST
@login_required
def decide(request: MemberRequest, quote_id: int) -> HttpResponse:
    """The client's yes or no."""
    quote = get_object_or_404(Quote.objects.visible_to(request.user).select_related("booking"), pk=quote_id)
    if request.user.is_drummer:
        raise PermissionDenied("A quote is accepted or declined by the client.")
    form = DecisionForm(request.POST)
    if not form.is_valid():
        context = {"booking": quote.booking, "quote_page": quote_page_of(quote), "decision_form": form}
        return render(request, "money/quote.html", context, status=UNPROCESSABLE)
    try:
        if form.cleaned_data["decision"] == DecisionForm.ACCEPT:
            services.accept_quote(quote=quote, by=request.user)
            accepted = "You have accepted the quote. The text is saved here as you accepted it."
            messages.success(request, f"{accepted}{_deposit_words(quote.booking)}")
        else:
            services.decline_quote(quote=quote, by=request.user, reason=form.cleaned_data["reason"])
            messages.info(request, "You have declined the quote. The drummer has been told.")
    except MoneyError as error:
        messages.error(request, str(error))
    return redirect("money:quote", quote.booking_id)


@require_POST
@login_required
def payment(request: MemberRequest, booking_id: int) -> HttpResponse:
    """Money that came in, as the drummer records it."""
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)
    require_drummer(request.user)
    form = PaymentForm(request.POST)
    if not form.is_valid():
        newest = booking.quotes.prefetch_related("lines").first()
        return render(request, "money/quote.html", _reading(booking, newest, form), status=UNPROCESSABLE)
    fields = form.cleaned_data | {"kind": Payment.Kind(form.cleaned_data["kind"])}
    try:
        payments.record_payment(booking=booking, by=request.user, **fields)
        messages.success(request, f"The {fields['kind'].label} is recorded.")
    except MoneyError as error:
        messages.error(request, str(error))
    return redirect("money:quote", booking.pk)


@require_POST
@login_required
def take_back(request: MemberRequest, payment_id: int) -> HttpResponse:
    """A payment that was recorded by mistake."""
    bookings = Booking.objects.visible_to(request.user)
    payment = get_object_or_404(Payment.objects.filter(booking__in=bookings), pk=payment_id)
    require_drummer(request.user)
    form = TakeBackForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Enter why the payment is taken back.")
    else:
        payments.take_back_payment(payment=payment, by=request.user, why=form.cleaned_data["why"])
        messages.success(request, f"The {payment.get_kind_display()} is taken back: it is open again.")
    return redirect(f"{reverse('money:quote', args=[payment.booking_id])}#payments")


def _deposit_words(booking: Booking) -> str:
    due = next((part for part in instalments_of(booking) if part.kind == Payment.Kind.DEPOSIT), None)
    if due is None or due.received:
        return ""
    return f" The deposit of {due.agreed} is due before tracking begins: see Payments below."


def _reading(booking: Booking, newest: Quote | None, typed: PaymentForm | None = None) -> dict[str, Any]:
    """What the page shows who reads; the payment form starts with what is to come in next."""
    instalments = instalments_of(booking)
    missing = next((instalment for instalment in instalments if not instalment.received), None)
    form = typed or (PaymentForm(initial={"kind": missing.kind, "amount": missing.agreed_amount}) if missing else None)
    return {
        "booking": booking,
        "quote_page": quote_page_of(newest),
        "takes_offers": services.takes_offers(booking),
        "instalments": instalments,
        "payment_form": form,
        "missing": missing,
        "how_to_pay": House.get().how_to_pay,
        "taken_back": booking.payments.exclude(taken_back_at=None).select_related("taken_back_by"),
        "take_backs": [(paid, TakeBackForm(kind=paid.kind)) for paid in instalments if paid.payment],
    }


def _forms(booking: Booking, newest: Quote | None, data: Any = None) -> tuple[QuoteForm, LineFormSet]:
    """The two forms of the editor; unbound they start from the newest version."""
    conditions = QuoteForm(data, initial=quote_as_initial(booking, newest))
    lines = Lines(data, initial=None if data else lines_as_initial(booking, newest), prefix="lines")
    return conditions, lines


def _save(request: MemberRequest, booking: Booking) -> HttpResponse:
    """Keep the draft; then its preview where that was asked for."""
    newest = booking.quotes.prefetch_related("lines").first()
    form, lines = _forms(booking, newest, request.POST)
    if not (form.is_valid() and lines.is_valid()):
        return _editor(request, booking, newest, form, lines, status=UNPROCESSABLE)
    try:
        services.save_draft(booking=booking, conditions=form.conditions, lines=lines.lines, by=request.user)
    except MoneyError as error:
        messages.error(request, str(error))
        return redirect("money:quote", booking.pk)
    if "preview" in request.POST:
        return redirect("money:send", booking.pk)
    messages.success(request, "The draft is saved. Only you can see it until you send it.")
    return redirect("money:quote", booking.pk)


def _editor(
    request: MemberRequest,
    booking: Booking,
    newest: Quote | None,
    form: QuoteForm,
    lines: LineFormSet,
    status: int = 200,
) -> HttpResponse:
    context = _reading(booking, newest) | {"form": form, "lines": lines, "caution": CAUTION}
    return render(request, "money/editor.html", context, status=status)
