"""Photos of trier checks, in several sizes, and files of lots."""

from collections.abc import Callable
from typing import Final

from roastlog.clock import Clock
from roastlog.errors import FileRefused, NotFound, PictureRefused
from roastlog.journal.fold import Batch
from roastlog.languages import _
from roastlog.pictures import picture_size, sanitized, thumbnail
from roastlog.store import photos
from roastlog.store.store import Store

PDF: Final = b"%PDF-"


def is_pdf(data: bytes) -> bool:
    """Whether data is a PDF by its first bytes (ISO 32000-2, 7.5.2), whatever its name says."""
    return data.startswith(PDF)


class PhotoService:
    """Stores photos by the names that entries give them.

    Parameters
    ----------
    tell
        Called with the name of each photo once it is on disk.
    """

    def __init__(self, store: Store, clock: Clock, tell: Callable[[str], None]) -> None:
        self._store, self._clock, self._tell = store, clock, tell

    def keep(self, name: str, data: bytes) -> None:
        """Store a photo without its metadata; raises PictureRefused."""
        kept = sanitized(data)
        self._store.write(lambda db: photos.keep_photo(db, name, kept, self._clock.now_ms()))
        self._tell(name)

    def keep_file(self, name: str, data: bytes) -> None:
        """Store a file of a lot: a PDF as it is, a picture without its metadata; raises FileRefused."""
        try:
            kept = data if is_pdf(data) else sanitized(data)
        except PictureRefused as error:
            raise FileRefused(
                _("This is no PDF, and no picture that can be saved. {reason}", reason=str(error))
            ) from None
        self._store.write(lambda db: photos.keep_photo(db, photos.FILE + name, kept, self._clock.now_ms()))

    def file(self, name: str) -> bytes:
        """A file of a lot, a PDF or a JPEG; raises NotFound."""
        found = photos.photo(self._store.read, photos.FILE + name)
        if found is None:
            raise NotFound(_("This file is not here. It may still be on the device that has it."))
        return found

    def jpeg(self, name: str) -> bytes:
        """A photo as JPEG; raises NotFound, also for a file of a lot."""
        found = photos.photo(self._store.read, name)
        if found is None:
            raise NotFound(_("This photo has not arrived. It may still be on the device that took it."))
        return found

    def small_jpeg(self, name: str) -> bytes:
        """A photo as JPEG, small enough for a list; raises NotFound."""
        return thumbnail(self.jpeg(name))

    def size(self, name: str) -> tuple[int, int]:
        """Width and height of a photo; raises NotFound. [px]"""
        return picture_size(self.jpeg(name))

    def of(self, batch: Batch) -> frozenset[str]:
        """Names of a batch's photos that are stored."""
        return photos.photos_of(self._store.read, batch.photos)
