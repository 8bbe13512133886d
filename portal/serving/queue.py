"""Who gets a thread next: addresses take turns, and none takes all."""

from collections import Counter, OrderedDict, deque
from typing import Generic, TypeVar

Job = TypeVar("Job")


class FairQueue(Generic[Job]):
    """Jobs wait by address. Each address has at most `at_once_per_address` of the `at_once` places.

    Used by one thread alone.
    """

    def __init__(self, *, at_once: int, at_once_per_address: int, waiting: int, waiting_per_address: int) -> None:
        self.at_once = at_once
        self.at_once_per_address = at_once_per_address
        self.most_waiting = waiting
        self.most_waiting_per_address = waiting_per_address
        self.under_way: Counter[str] = Counter()
        self.waiting: OrderedDict[str, deque[Job]] = OrderedDict()

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
            if self.under_way[address] < self.at_once_per_address:
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
