"""What is answered without a thread, as whole HTTP answers."""

from http import HTTPStatus

RETRY_AFTER_S = 5


def refusal(status: HTTPStatus, sentence: str, *, may_retry: bool = False) -> bytes:
    body = f"{sentence}\n".encode()
    lines = [
        f"HTTP/1.1 {status.value} {status.phrase}",
        "Content-Type: text/plain; charset=utf-8",
        f"Content-Length: {len(body)}",
        "Cache-Control: no-store",
        "X-Content-Type-Options: nosniff",
        "Connection: close",
        *([f"Retry-After: {RETRY_AFTER_S}"] if may_retry else []),
    ]
    return "\r\n".join([*lines, "", ""]).encode() + body


TOO_MANY_CONNECTIONS = refusal(
    HTTPStatus.SERVICE_UNAVAILABLE, "Too many connections from this address. Try again in a moment.", may_retry=True
)
TOO_MANY_REQUESTS = refusal(
    HTTPStatus.TOO_MANY_REQUESTS, "Too many requests at once. Try again in a moment.", may_retry=True
)
NO_PLACE = refusal(
    HTTPStatus.SERVICE_UNAVAILABLE, "Too many files are being sent. Try again in a moment.", may_retry=True
)
NO_MEMORY = refusal(HTTPStatus.SERVICE_UNAVAILABLE, "The server is busy. Try again in a moment.", may_retry=True)
LONG_HEAD = refusal(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, "The head of this request is too long.")
TOO_SLOW = refusal(HTTPStatus.REQUEST_TIMEOUT, "The request did not arrive in time.")
