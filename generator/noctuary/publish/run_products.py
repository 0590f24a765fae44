"""Making the files of the site that have to be made, on all cores where there are many.

Pages are set here, in the process that knows the archive; what another process can do (a table in another format, a
share picture) is done there meanwhile. A worker that dies costs nothing but time: its work is done here instead.
"""

from __future__ import annotations

import gc
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from typing import TYPE_CHECKING

from noctuary.machine import cores
from noctuary.pages.product import Product

if TYPE_CHECKING:
    from noctuary.images.make_renditions import WorkerPool

#: With less to be done elsewhere, starting processes would cost more than it saves.
_ENOUGH = 100
#: Work that is handed over at once: enough to keep the workers busy, little enough to be held in memory.
_AHEAD = 16
#: After so many files it is worth looking for what setting pages left behind in circles of records.
_LITTERED = 200


def make_products(products: Iterable[Product], workers: int | None = None) -> Iterator[tuple[str, bytes]]:
    """The path and the content of each product, in no particular order.

    ``workers`` is the number of processes, this one among them (default: one for each core). Raises what a
    product's own making raises.
    """
    for number, made in enumerate(_made(deque(products), (workers or cores()) - 1), 1):
        yield made
        if number % _LITTERED == 0:
            gc.collect(0)


def _made(near: deque[Product], others: int) -> Iterator[tuple[str, bytes]]:
    """The products, with the help of ``others`` where that pays."""
    if others < 1 or sum(p.in_worker is not None for p in near) < _ENOUGH:
        for product in near:
            yield product.path, product.make()
        return
    from noctuary.images.make_renditions import WorkerPool

    far = deque(p for p in near if p.in_worker is not None)
    near = deque(p for p in near if p.in_worker is None)
    pool = WorkerPool(others)
    try:
        yield from _shared_out(near, far, pool, others * _AHEAD)
    finally:
        pool.shutdown(cancel_futures=True)


def _shared_out(
    near: deque[Product], far: deque[Product], pool: WorkerPool, ahead: int
) -> Iterator[tuple[str, bytes]]:
    from concurrent.futures.process import BrokenProcessPool  # with all that several processes need

    away: dict[Future[bytes], Product] = {}
    while near or far or away:
        while far and len(away) < ahead:
            product = far.popleft()
            assert product.in_worker is not None
            try:
                away[pool.submit(product.in_worker())] = product
            except BrokenProcessPool:
                pool.end()
                near.append(product)
        if not (near or far):
            wait(away, return_when=FIRST_COMPLETED)
        for future in [f for f in away if f.done()]:
            product = away.pop(future)
            try:
                yield product.path, future.result()
            except BrokenProcessPool:
                pool.end()
                near.append(product)
        if near or far:
            product = near.popleft() if near else far.pop()
            yield product.path, product.make()
