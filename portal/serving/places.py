"""Places for long requests, taken and given back by any thread."""

from collections import Counter
from threading import Lock


class Places:
    def __init__(self, *, all_together: int, per_address: int) -> None:
        self.all_together = all_together
        self.per_address = per_address
        self.taken: Counter[str] = Counter()
        self.lock = Lock()

    def take(self, address: str) -> bool:
        with self.lock:
            if self.taken.total() >= self.all_together or self.taken[address] >= self.per_address:
                return False
            self.taken[address] += 1
            return True

    def give_back(self, address: str) -> None:
        with self.lock:
            self.taken[address] -= 1
            if not self.taken[address]:
                del self.taken[address]
