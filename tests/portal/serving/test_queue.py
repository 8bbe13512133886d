from portal.serving.queue import FairQueue


def queue(*, at_once: int = 2, per_address: int = 1, waiting: int = 10, burst: float = 100) -> FairQueue[str]:
    return FairQueue(
        at_once=at_once,
        at_once_per_address=per_address,
        waiting=waiting,
        waiting_per_address=5,
        per_s=0.001,
        burst=burst,
        is_free=lambda _, job: job.startswith("free"),
    )


def test_addresses_take_turns() -> None:
    line = queue(at_once=9, per_address=9)
    for job in ("a1", "a2", "a3", "b1", "c1"):
        line.put(job[0], job)
    assert [line.take() for _ in range(6)] == ["a1", "b1", "c1", "a2", "a3", None]


def test_one_address_has_its_places_and_gets_them_back() -> None:
    line = queue()
    for job in ("a1", "a2", "b1"):
        line.put(job[0], job)
    assert [line.take(), line.take(), line.take()] == ["a1", "b1", None]
    line.end("a")
    assert line.take() == "a2"


def test_too_many_that_wait_are_not_kept() -> None:
    line = queue(waiting=6)
    assert [line.put("a", f"a{number}") for number in range(6)] == [True] * 5 + [False]
    assert [line.put("b", f"b{number}") for number in range(2)] == [True, False]


def test_an_allowance_is_used_up_by_what_is_not_free() -> None:
    line = queue(at_once=9, per_address=9, burst=1)
    for job in ("free1", "one", "free2", "two"):
        line.put("a", job)
    assert [line.take() for _ in range(4)] == ["free1", "one", "free2", None]


def test_addresses_that_have_their_whole_allowance_are_forgotten() -> None:
    line = queue(burst=1)
    line.put("a", "a1")
    line.take()
    line.forget_full()
    assert list(line.allowances) == ["a"]
    line.per_s = 1e9
    line.forget_full()
    assert not line.allowances
