"""Sending one e-mail. The work itself, callable without a worker."""

from __future__ import annotations

import logging
from email.utils import formataddr
from smtplib import SMTPException, SMTPRecipientsRefused, SMTPResponseException
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage

from portal.mailroom.models import Mail
from portal.people.models import House

logger = logging.getLogger(__name__)

LOWEST_FINAL_REPLY = 500  # RFC 5321, 4.2.1: 5yz is a permanent negative reply


def send(mail_id: int) -> None:
    """Send an e-mail that is due. Safe to run twice: only one run holds the claim, and a sent e-mail is never due."""
    mail = Mail.objects.claim(mail_id)
    if mail is None:
        return
    try:
        compose(mail).send()
    except (SMTPException, OSError) as error:
        mail.note_trouble(trouble_in_words(error), is_final=is_final(error))
        logger.warning("mail %s was not sent at try %s: %s", mail.pk, mail.tries, type(error).__name__)
    except Exception:
        # Ours, and the same at every try: it must not loop for ever.
        mail.note_trouble("This e-mail could not be composed.", is_final=True)
        raise
    else:
        mail.mark_sent()
        logger.info("mail %s was sent", mail.pk)


def compose(mail: Mail) -> EmailMessage:
    house = House.get()
    host = urlsplit(settings.BASE_URL).hostname
    return EmailMessage(
        subject=mail.subject,
        body=mail.body,
        from_email=formataddr((house.name, settings.DEFAULT_FROM_EMAIL)),
        to=[mail.to],
        reply_to=[house.reply_to] if house.reply_to else None,
        headers={
            # The same at every try: a mailbox shows one e-mail, should we die between sending and writing it down.
            "Message-ID": f"<mail-{mail.pk}.{mail.created_at:%Y%m%d%H%M%S}@{host}>",
            "Auto-Submitted": "auto-generated",  # RFC 3834, 5: keeps out-of-office answers away
        },
    )


def is_final(error: Exception) -> bool:
    """Tell whether the mail server refused for good."""
    if isinstance(error, SMTPRecipientsRefused):
        return all(code >= LOWEST_FINAL_REPLY for code, _ in error.recipients.values())
    return isinstance(error, SMTPResponseException) and error.smtp_code >= LOWEST_FINAL_REPLY


def trouble_in_words(error: Exception) -> str:
    if isinstance(error, SMTPRecipientsRefused):
        replies = (f"{code} {reply.decode(errors='replace')}" for code, reply in error.recipients.values())
        return f"The mail server refused the address: {'; '.join(replies)}"
    if isinstance(error, SMTPResponseException):
        reply = error.smtp_error.decode(errors="replace") if isinstance(error.smtp_error, bytes) else error.smtp_error
        return f"The mail server answered {error.smtp_code} {reply}"
    return f"The mail server could not be reached: {error}"
