"""The newest value of each channel, and when each was last read."""


class LatestValues:
    """The newest values of one machine. It has no lock: whoever shares it between threads has one.

    Attributes
    ----------
    values
        The newest value of each channel that was read. [°C]
    read_ms
        When each channel was last read. [ms UTC]
    last_ms
        When the machine was last read; None if never. [ms UTC]
    """

    def __init__(self) -> None:
        self.values: dict[str, float] = {}
        self.read_ms: dict[str, int] = {}
        self.last_ms: int | None = None

    def put(self, channel: str, value: float, at_ms: int) -> None:
        """Take in a value; one that is older than the channel's newest changes nothing of the channel."""
        if at_ms >= self.read_ms.get(channel, 0):
            self.values[channel], self.read_ms[channel] = value, at_ms
        self.last_ms = max(at_ms, self.last_ms or 0)
