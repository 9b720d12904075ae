"""A Modbus device on a pseudo-terminal: pymodbus serves registers, a pair of terminals stands for the cable.

Prints the path of the far end of the cable, then serves until it is killed. Values go into registers by pymodbus' own
conversion; only the swapping of bytes within a register, which it does not know, is done here.
"""

import logging
import os
import pty
import threading
import tty

from pymodbus import FramerType
from pymodbus.client.mixin import ModbusClientMixin as Convert
from pymodbus.server import StartSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

# Each refused request would be told on stderr; what matters of it is on the wire.
logging.disable(logging.CRITICAL)

FLOAT, INT = Convert.DATATYPE.FLOAT32, Convert.DATATYPE.INT32


def registers(value, kind, order):
    """Two registers; `order` as in our settings, A the highest byte."""
    words = Convert.convert_to_registers(value, kind, word_order="big" if order in ("ABCD", "BADC") else "little")
    swapped = order in ("BADC", "DCBA")
    return [(word >> 8 | (word & 0xFF) << 8) if swapped else word for word in words]


def holding():
    held = [0] * 200

    def put(address, words):
        held[address : address + len(words)] = words

    for place, (value, order) in enumerate([(12.34, "ABCD"), (-0.5, "CDAB"), (1234.5, "BADC"), (0.1, "DCBA")]):
        put(2 * place, registers(value, FLOAT, order))
    for place, value in enumerate([1.5, -2.25, 3.0, 4.125]):
        put(10 + 2 * place, registers(value, FLOAT, "ABCD"))
    for place, (value, order) in enumerate([(-123456, "ABCD"), (2034, "CDAB"), (70000, "BADC"), (-1, "DCBA")]):
        put(20 + 2 * place, registers(value, INT, order))
    put(30, registers(2**31 - 1, INT, "ABCD"))
    put(32, registers(-(2**31), INT, "ABCD"))
    for place, (status, value, decimals) in enumerate(
        [(0b1001, 20340, 2), (0b0000, -5, 1), (0b0011, 99, 0), (0b0100, 99, 0), (0b10001, 99, 0), (0x0100, 99, 0), (1, 99, 7)]
    ):
        put(40 + 4 * place, [status, *registers(value, INT, "ABCD"), decimals])
    return held


def cable():
    """Two pseudo-terminals whose masters are joined."""
    ends = [pty.openpty() for _ in range(2)]
    for _, slave in ends:
        tty.setraw(slave)

    def carry(source, sink):
        while data := os.read(source, 256):
            os.write(sink, data)

    (near, near_slave), (far, far_slave) = ends
    for pair in ((near, far), (far, near)):
        threading.Thread(target=carry, args=pair, daemon=True).start()
    return os.ttyname(near_slave), os.ttyname(far_slave)


near, far = cable()
print(far, flush=True)
inputs = [0] * 100 + registers(56.75, FLOAT, "ABCD")
bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
words = [[SimData(0, values=held, datatype=DataType.REGISTERS)] for held in (holding(), inputs)]
device = SimDevice(5, simdata=(bits, bits, *words))
StartSerialServer(device, framer=FramerType.RTU, port=near, baudrate=9600, parity="N")
