"""What the log kept is heard from other threads, and nothing else goes along."""

from concurrent.futures import ThreadPoolExecutor
from contextvars import ContextVar

from qckit.kept import heard_here, kept_meanwhile, tell_kept

OTHER = ContextVar("other", default="none")


def test_other_threads_are_heard_and_share_no_other_context():
    """A copy of the whole context gave notebooks in several threads one event loop, on which one of them failed."""
    OTHER.set("of this thread")

    def work(words):
        tell_kept(words)
        return OTHER.get()

    with kept_meanwhile() as kept, ThreadPoolExecutor(2) as pool:
        seen = list(pool.map(heard_here(work), ["one", "two"]))
    assert sorted(kept) == ["one", "two"]
    assert seen == ["none", "none"]
    tell_kept("three")
    assert len(kept) == 2
