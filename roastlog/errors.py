"""All errors that Drumside raises by name. Each message is a sentence that a roaster can act on.

DrumsideError
├── CurveError          arrays that no curve can be made of
├── PhysicsError        a simulated roast that cannot be set up
├── SheetError          a machine sheet with a mistake in it
├── InstrumentError     an instrument that does not answer
├── LabelError          a label that cannot be made as asked
├── CodeError
│   ├── MistypedCode    the check character does not fit
│   └── NotACode        not the form of a batch code at all
├── NotFound
│   ├── NoSuchBatch
│   ├── NoSuchMachine
│   ├── NoSuchLot
│   ├── NoSuchDevice
│   └── Withdrawn       a bag code that holds no more
├── EntryRefused        an entry that cannot be kept, and why
├── PictureRefused      what is no picture, or too large a one
├── ReadingsRefused     a push of readings that cannot be read at all
├── SettingError        a setting out of its range
├── CertificateError    a certificate that cannot be used, or not be made
├── LacksRole           a device that may not do that
├── PairingRefused      a code or a link that lets nobody in
│   └── TooManyTries    too many wrong codes; wait
└── StoreError          the database cannot be read or written
"""

from roastlog.languages import Said, _


class DrumsideError(Exception):
    """Base of all errors below. Whoever hands one on says it in the language of whoever is answered then."""

    def __str__(self) -> str:
        """The message, which can be said again."""
        return _(self.args[0]) if self.args and isinstance(self.args[0], Said) else super().__str__()


class CurveError(DrumsideError):
    """Raised for arrays that no curve can be made of."""


class PhysicsError(DrumsideError):
    """Raised for a simulated roast that cannot be set up."""


class SheetError(DrumsideError):
    """Raised for a machine sheet with a mistake; the message names the line and what may stand there."""


class InstrumentError(DrumsideError):
    """Raised when an instrument does not answer; the message gives a plain reason."""


class LabelError(DrumsideError):
    """Raised for a label that cannot be made as asked."""


class CodeError(DrumsideError):
    """Base of the errors about batch codes."""


class MistypedCode(CodeError):
    """Raised when a code has the right form but its check character does not fit."""


class NotACode(CodeError):
    """Raised for text that has not the form of a batch code."""


class NotFound(DrumsideError):
    """Base of the errors about things that are not in the database."""


class NoSuchBatch(NotFound):
    """Raised for a well-formed code that no batch carries."""


class NoSuchMachine(NotFound):
    """Raised for a machine id that is not set up."""


class NoSuchLot(NotFound):
    """Raised for a green lot that is not in the books."""


class NoSuchDevice(NotFound):
    """Raised for a device or a token that is not let in, or not any more."""


class Withdrawn(NotFound):
    """Raised for the code of a bag that the roastery has withdrawn."""


class EntryRefused(DrumsideError):
    """Raised for an entry that cannot be kept; the message says why."""


class PictureRefused(DrumsideError):
    """Raised for what is no picture that can be read, or has too many pixels."""


class ReadingsRefused(DrumsideError):
    """Raised for a push of readings that cannot be read at all."""


class QuestionRefused(DrumsideError):
    """Raised for a question of a program that asks for what cannot be."""


class SettingError(DrumsideError):
    """Raised for a setting whose value is out of range."""


class LacksRole(DrumsideError):
    """Raised for what a device's role does not cover; the message names the role."""


class PairingRefused(DrumsideError):
    """Raised for a code or a link that lets no device in, whatever the reason."""


class TooManyTries(PairingRefused):
    """Raised when too many codes were wrong of late."""

    def __init__(self, wait_s: int) -> None:
        super().__init__(
            _(
                "Too many wrong codes came in. Wait {minutes} min, or scan the QR in place of typing a code.",
                minutes=-(-wait_s // 60),
            )
        )
        self.wait_s = wait_s


class CertificateError(DrumsideError):
    """Raised for a certificate or a key that cannot be used; the message says what to do."""


class StoreError(DrumsideError):
    """Raised when the database cannot be read or written."""
