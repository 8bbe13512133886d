"""Who gets a thread next: addresses take turns, none takes all, and one that asks without end is slowed down."""

import time
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Job = TypeVar("Job")


@dataclass
class Allowance:
    """Fills up evenly; each request takes one. A whole one lets a page and all that belongs to it through at once."""

    left: float
    at: float = field(default_factory=time.monotonic)

    def fill(self, *, per_s: float, most: float) -> None:
        now = time.monotonic()
        self.left, self.at = min(most, self.left + (now - self.at) * per_s), now


class FairQueue(Generic[Job]):
    """Jobs wait by address. Each address has at most `at_once_per_address` of the `at_once` places.

    `is_free` tells of a job that it takes nothing of its address's allowance. Used by one thread alone.
    """

    def __init__(
        self,
        *,
        at_once: int,
        at_once_per_address: int,
        waiting: int,
        waiting_per_address: int,
        per_s: float,
        burst: float,
        is_free: Callable[[str, Job], bool],
    ) -> None:
        self.at_once, self.at_once_per_address = at_once, at_once_per_address
        self.most_waiting, self.most_waiting_per_address = waiting, waiting_per_address
        self.per_s, self.burst, self.is_free = per_s, burst, is_free
        self.under_way: Counter[str] = Counter()
        self.waiting: OrderedDict[str, deque[Job]] = OrderedDict()
        self.allowances: dict[str, Allowance] = {}

    def put(self, address: str, job: Job) -> bool:
        """False, and nothing is kept, where too many wait."""
        if sum(map(len, self.waiting.values())) >= self.most_waiting:
            return False
        jobs = self.waiting.setdefault(address, deque())
        if len(jobs) >= self.most_waiting_per_address:
            return False
        jobs.append(job)
        return True

    def take(self) -> Job | None:
        """The next job that may begin; its address goes to the end of the line."""
        if self.under_way.total() >= self.at_once:
            return None
        for address, jobs in self.waiting.items():
            if self.under_way[address] < self.at_once_per_address and self._is_allowed(address, jobs[0]):
                job = jobs.popleft()
                self.waiting.move_to_end(address)
                if not jobs:
                    del self.waiting[address]
                self.under_way[address] += 1
                return job
        return None

    def end(self, address: str) -> None:
        self.under_way[address] -= 1
        if not self.under_way[address]:
            del self.under_way[address]

    def forget_full(self) -> None:
        """An address that has not asked for a while is like one that never did."""
        for allowance in self.allowances.values():
            allowance.fill(per_s=self.per_s, most=self.burst)
        self.allowances = {address: one for address, one in self.allowances.items() if one.left < self.burst}

    def _is_allowed(self, address: str, job: Job) -> bool:
        if self.is_free(address, job):
            return True
        allowance = self.allowances.setdefault(address, Allowance(self.burst))
        allowance.fill(per_s=self.per_s, most=self.burst)
        if allowance.left < 1:
            return False
        allowance.left -= 1
        return True
