"""Sets each PDF once: whoever asks for one that is being set waits for it, the newest are kept."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future

from server.quoting.papers.pdf import Setting, set_pdf

KEPT_BYTES = 8 * 1024 * 1024
AT_ONCE = 2
"""Documents set at the same time: the typesetter computes outside Python's lock, on all cores."""


class Press:
    """Sets documents and keeps the newest.

    Parameters
    ----------
    set_document : callable
        Makes the PDF.
    kept_bytes : int
        How much is kept.
    """

    def __init__(
        self, set_document: Callable[[Setting], bytes] = set_pdf, kept_bytes: int = KEPT_BYTES
    ) -> None:
        self._set = set_document
        self._kept_bytes = kept_bytes
        self._turns = threading.BoundedSemaphore(AT_ONCE)
        self._lock = threading.Lock()
        self._being_set: dict[str, Future[bytes]] = {}
        self._kept: OrderedDict[str, bytes] = OrderedDict()

    def pdf(self, setting: Setting) -> bytes:
        """Return a document; call it from a worker thread.

        Parameters
        ----------
        setting : Setting
            What is asked for; the same content is the same document.
        """
        content = f"{setting.template}\n{setting.made_at.isoformat()}\n{setting.data}"
        key = hashlib.sha256(content.encode()).hexdigest()
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
            somebody_sets_it = key in self._being_set
            promise = self._being_set.setdefault(key, Future())
        if somebody_sets_it:
            return promise.result()
        return self._set_now(key, setting, promise)

    def _set_now(self, key: str, setting: Setting, promise: Future[bytes]) -> bytes:
        try:
            with self._turns:
                made = self._set(setting)
        except BaseException as error:
            with self._lock:
                del self._being_set[key]
            promise.set_exception(error)  # those who wait fail with it, the next one tries again
            raise
        with self._lock:
            del self._being_set[key]
            self._keep(key, made)
        promise.set_result(made)
        return made

    def _keep(self, key: str, made: bytes) -> None:
        self._kept[key] = made
        while sum(map(len, self._kept.values())) > self._kept_bytes:
            self._kept.popitem(last=False)
