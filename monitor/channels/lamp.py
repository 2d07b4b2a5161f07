"""A lamp and a buzzer on the board's pins; where there are no pins, they are only pretended."""

from __future__ import annotations

import threading
from typing import Any, Protocol

from monitor.channels.base import ChannelError, first_line
from monitor.core.alarms.flood import Notice
from monitor.core.vocabulary import Priority

BEEPS: dict[Priority, int] = {"urgent": 3, "soon": 1, "note": 0}
BEEP_S = 0.2


class Pins(Protocol):
    """Two outputs: a lamp and a buzzer."""

    def set(self, *, lamp: bool | None = None, buzzer: bool | None = None) -> None:
        """Switch what is given; None leaves it. Raises OSError where the pins fail."""
        ...


class SimulatedPins:
    """Pins that only remember what they were told."""

    def __init__(self) -> None:
        self.lamp = False
        self.buzzer = False
        self.beeps = 0

    def set(self, *, lamp: bool | None = None, buzzer: bool | None = None) -> None:
        if lamp is not None:
            self.lamp = lamp
        if buzzer is not None:
            self.beeps += buzzer and not self.buzzer
            self.buzzer = buzzer


class GpioPins:
    """Lines of the board's GPIO chip, through libgpiod; both outputs are off at the start.

    Raises ChannelError where the library, the chip or the line is missing.
    """

    def __init__(
        self, lamp_line: int, buzzer_line: int | None = None, chip: str = "/dev/gpiochip0"
    ) -> None:
        try:
            import gpiod
            from gpiod.line import Direction, Value
        except ImportError:
            raise ChannelError(
                "lamp: the GPIO library is not installed; run: pip install 'pourside[pi]'",
                permanent=True,
            ) from None
        self._lamp_line = lamp_line
        self._buzzer_line = buzzer_line
        self._value: Any = Value
        lines = [lamp_line] if buzzer_line is None else [lamp_line, buzzer_line]
        settings = gpiod.LineSettings(direction=Direction.OUTPUT, output_value=Value.INACTIVE)
        try:
            self._request: Any = gpiod.request_lines(
                chip, consumer="pourside", config={tuple(lines): settings}
            )
        except (OSError, ValueError) as error:
            raise ChannelError(
                f"lamp: line {lamp_line} of {chip} cannot be used: {first_line(error)}; "
                "check the line's number and that this user may use the pins",
                permanent=True,
            ) from error

    def set(self, *, lamp: bool | None = None, buzzer: bool | None = None) -> None:
        for line, on in ((self._lamp_line, lamp), (self._buzzer_line, buzzer)):
            if line is not None and on is not None:
                self._request.set_value(line, self._value.ACTIVE if on else self._value.INACTIVE)


class LampChannel:
    """Beeps with each notice; the lamp is lit while an alarm stands unacknowledged."""

    def __init__(self, pins: Pins, *, beep_s: float = BEEP_S, name: str = "lamp") -> None:
        self.name = name
        pretended = isinstance(pins, SimulatedPins)
        self.goes_to = "pretended pins: no lamp is named" if pretended else "the board's pins"
        self._beep_s = beep_s
        self._pins = pins
        self._pause = threading.Event()  # never set: only waited on

    def send(self, notice: Notice) -> None:
        """Beep: three times for an urgent notice. Raises ChannelError."""
        try:
            for _ in range(BEEPS[notice.priority]):
                self._pins.set(buzzer=True)
                self._pause.wait(self._beep_s)
                self._pins.set(buzzer=False)
                self._pause.wait(self._beep_s)
        except OSError as error:
            raise ChannelError(f"buzzer: {first_line(error)}") from error

    def show(self, priority: Priority | None) -> None:
        """Light the lamp for an unacknowledged alarm that needs an act; notes leave it dark."""
        try:
            self._pins.set(lamp=priority in ("urgent", "soon"))
        except OSError as error:
            raise ChannelError(f"lamp: {first_line(error)}") from error
