"""All named errors of Drumside. Each message is a sentence that a roaster can act on.

DrumsideError
├── CurveError          invalid curve data
├── PhysicsError        an invalid simulated roast
├── SheetError          an invalid machine sheet
├── PlanError           a day that cannot be planned
├── PlanCancelled       planning that was cancelled
├── InstrumentError     an instrument that does not answer
├── LabelError          a label that cannot be made
├── PrinterError        a label printer that does not take a job
├── CodeError
│   ├── MistypedCode    wrong check character
│   └── NotACode        not the format of a batch code or a GS1 code
├── NotFound
│   ├── NoSuchBatch
│   ├── NoSuchMachine
│   ├── NoSuchLot
│   ├── NoSuchCode
│   ├── NoSuchProduct
│   ├── NoSuchDevice
│   └── Withdrawn       a withdrawn bag code
├── EntryRefused        an invalid entry
├── PictureRefused      no picture, or one that is too large
├── ReadingsRefused     an unreadable push of readings
├── SettingError        a setting out of range
├── CertificateError    a certificate that cannot be used or created
├── LacksRole           a device without the required role
├── PairingRefused      an invalid pairing code or link
│   └── TooManyTries    too many wrong codes; wait
└── StoreError          the database cannot be read or written
"""

from roastlog.languages import Message, _


class DrumsideError(Exception):
    """Base of all errors below. The message is translated when it is shown, for its reader."""

    def __str__(self) -> str:
        """The message, which can be translated again."""
        return _(self.args[0]) if self.args and isinstance(self.args[0], Message) else super().__str__()


class CurveError(DrumsideError):
    """Raised for invalid curve data."""


class PhysicsError(DrumsideError):
    """Raised for an invalid simulated roast."""


class SheetError(DrumsideError):
    """Raised for an invalid machine sheet; the message names the line and the allowed values."""


class PlanError(DrumsideError):
    """Raised for a day that cannot be planned as it is given; the message names the thing and the allowed values."""


class PlanCancelled(DrumsideError):
    """Raised when planning was cancelled before it was done."""


class InstrumentError(DrumsideError):
    """Raised when an instrument does not answer; the message gives a plain reason."""


class LabelError(DrumsideError):
    """Raised for a label that cannot be made."""


class PrinterError(DrumsideError):
    """Raised when a label printer takes none or not all of a job; the message says which."""


class CodeError(DrumsideError):
    """Base of the errors about batch codes."""


class MistypedCode(CodeError):
    """Raised for a code in the right format with a wrong check character."""


class NotACode(CodeError):
    """Raised for text that is not in the format of a batch code or a GS1 code; the message says what is wrong."""


class NotFound(DrumsideError):
    """Base of the errors about things that are not in the database."""


class NoSuchBatch(NotFound):
    """Raised for a valid code without a batch."""


class NoSuchMachine(NotFound):
    """Raised for a machine id that is not set up."""


class NoSuchLot(NotFound):
    """Raised for an unknown green lot."""


class NoSuchCode(NotFound):
    """No lot, batch, blend, pack or customer has this code."""


class NoSuchProduct(NotFound):
    """Raised for an unknown product."""


class NoSuchDevice(NotFound):
    """Raised for an unknown or removed device or token."""


class Withdrawn(NotFound):
    """Raised for a bag code that the roastery has withdrawn."""


class EntryRefused(DrumsideError):
    """Raised for an invalid entry; the message gives the reason."""


class PictureRefused(DrumsideError):
    """Raised for data that is no readable picture, or has too many pixels."""


class FileRefused(DrumsideError):
    """Raised for a file of a lot that is neither a picture nor a PDF."""


class ReadingsRefused(DrumsideError):
    """Raised for an unreadable push of readings."""


class QuestionRefused(DrumsideError):
    """Raised for an API request with invalid parameters."""


class SettingError(DrumsideError):
    """Raised for a setting whose value is out of range."""


class LacksRole(DrumsideError):
    """Raised if a device's role does not permit an action; the message names the role."""


class PairingRefused(DrumsideError):
    """Raised for an invalid pairing code or link, for any reason."""


class TooManyTries(PairingRefused):
    """Raised after too many wrong codes."""

    def __init__(self, wait_s: int) -> None:
        super().__init__(
            _(
                "Too many wrong codes. Wait {minutes} min, or scan the QR code.",
                minutes=-(-wait_s // 60),
            )
        )
        self.wait_s = wait_s


class CertificateError(DrumsideError):
    """Raised for a certificate or a key that cannot be used; the message says what to do."""


class StoreError(DrumsideError):
    """Raised when the database cannot be read or written."""
