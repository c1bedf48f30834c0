"""Work ahead in threads: nothing of the result may show it."""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from rigdata.logs.ahead import AHEAD, in_order, one_ahead


def slow_when_even(item):
    time.sleep(0.003 * (item % 2 == 0))
    return 10 * item


@pytest.mark.parametrize("threads", [None, 1, 3])
def test_results_come_in_the_order_of_the_items(threads):
    with ThreadPoolExecutor(threads or 1) as threads_of_pool:
        pool = threads_of_pool if threads else None
        assert list(in_order(slow_when_even, range(12), pool)) == [10 * i for i in range(12)]
        assert list(one_ahead(iter(range(12)), pool)) == list(range(12))
        assert list(in_order(slow_when_even, [], pool)) == list(one_ahead(iter(()), pool)) == []


def test_no_more_than_a_few_items_are_taken_ahead():
    taken = []

    def items():
        for item in range(50):
            taken.append(item)
            yield item

    with ThreadPoolExecutor(2) as pool:
        results = in_order(slow_when_even, items(), pool)
        assert next(results) == 0
        assert len(taken) == AHEAD + 1


@pytest.mark.parametrize("with_pool", [False, True])
def test_an_error_comes_where_its_item_stands(with_pool):
    def work(item):
        if item >= 4:
            raise ValueError(str(item))
        return item

    with ThreadPoolExecutor(2) as pool:
        results = in_order(work, range(20), pool if with_pool else None)
        assert [next(results) for _ in range(4)] == [0, 1, 2, 3]
        with pytest.raises(ValueError, match="4"):
            next(results)
