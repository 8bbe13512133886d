from threadpoolctl import threadpool_info

from analysis.core.threads import on_one_thread


def blas_threads() -> set[int]:
    return {pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"}


def test_measuring_runs_on_one_thread_and_gives_the_others_back() -> None:
    before = blas_threads()

    assert on_one_thread(blas_threads)() == {1}
    assert blas_threads() == before


def test_arguments_and_answers_pass() -> None:
    assert on_one_thread(divmod)(7, 2) == (3, 1)
    assert on_one_thread(blas_threads).__name__ == "blas_threads"
