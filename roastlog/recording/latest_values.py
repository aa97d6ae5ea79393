"""The newest value of each channel and the time of its last reading."""


class LatestValues:
    """The newest values of one machine. Not thread-safe: the caller holds a lock.

    Attributes
    ----------
    values
        Newest value by channel. [°C]
    read_ms
        Time of the last reading by channel. [ms UTC]
    last_ms
        Time of the machine's last reading; None if never. [ms UTC]
    """

    def __init__(self) -> None:
        self.values: dict[str, float] = {}
        self.read_ms: dict[str, int] = {}
        self.last_ms: int | None = None

    def put(self, channel: str, value: float, at_ms: int) -> None:
        """Add a value; one older than the channel's newest does not replace it."""
        if at_ms >= self.read_ms.get(channel, 0):
            self.values[channel], self.read_ms[channel] = value, at_ms
        self.last_ms = max(at_ms, self.last_ms or 0)
