"""Locks for what threads share, held only for moments."""

from __future__ import annotations

import os
import threading


def shared_lock() -> threading.Lock:
    """A lock for a module's own state. A process that is forked while another thread holds it gets
    it free: it does not have the thread that would let go of it."""
    lock = threading.Lock()
    if hasattr(os, "register_at_fork"):
        os.register_at_fork(
            before=lock.acquire, after_in_parent=lock.release, after_in_child=lock.release
        )
    return lock
