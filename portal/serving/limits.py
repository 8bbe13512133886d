"""How long, how many and how much: what one process grants to those who connect.

All numbers are house choices. They leave room for a studio of ten people behind one address on a slow line.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    # From the first byte to the blank line; also how long a new connection may say nothing.
    head_within_s: float = 10.0
    # How long a kept connection waits for its next request.
    idle_s: float = 15.0
    # A small body, and an answer that its reader takes slowly: this, and longer by the bytes at the slowest rate.
    base_s: float = 10.0
    slowest_bytes_per_s: int = 16 * 1024
    # One piece of a long answer, to a reader that takes nothing.
    piece_within_s: float = 30.0
    # After a refusal, what still arrives is thrown away for so long: closing at once could take the answer back
    # (RFC 9112, 9.6).
    linger_s: float = 2.0

    largest_head_bytes: int = 32 * 1024
    # A body up to this is complete before a thread sees it; a longer one is read by a thread for long requests.
    largest_form_bytes: int = 2_500_000
    # Bodies on their way, of one address and of all.
    form_bytes_per_address: int = 8 * 1024**2
    form_bytes: int = 64 * 1024**2
    # An answer of known length up to this is sent from memory.
    largest_kept_answer_bytes: int = 1024**2
    answer_bytes: int = 64 * 1024**2

    connections: int = 1_000
    connections_per_address: int = 128
    # Requests of one address that take a thread, without static files: so many at once, then so many each second. More
    # wait. Private addresses are not slowed down: one of them may be a gateway that everybody comes through.
    requests_at_once: float = 100.0
    requests_per_s: float = 10.0
    # Requests that are complete and wait for a thread.
    waiting: int = 512
    waiting_per_address: int = 128
    # Uploads and downloads under way, each with a thread that pages do not use.
    long_requests: int = 16
    long_requests_per_address: int = 8

    def seconds_for(self, length_bytes: int) -> float:
        return self.base_s + length_bytes / self.slowest_bytes_per_s
