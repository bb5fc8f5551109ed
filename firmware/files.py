"""Files on flash, each whole or not there: sealed records with checksum, replacing by renaming, the crash log.

Sealed = magic, version, length, payload, CRC-32.
"""

import binascii
import os
import struct

_MAGIC = b"TS"
_VERSION = 1


def seal(payload):
    """Return payload with magic, version, length and CRC-32."""
    head = _MAGIC + struct.pack("<BH", _VERSION, len(payload)) + payload
    return head + struct.pack("<I", binascii.crc32(head))


def unseal(data):
    """Return the payload of sealed octets, or None when they are damaged or of a version not known here."""
    if len(data) < 9 or bytes(data[:2]) != _MAGIC or data[2] != _VERSION:
        return None
    size = data[3] | data[4] << 8
    if len(data) != size + 9:
        return None
    if struct.unpack("<I", data[size + 5 :])[0] != binascii.crc32(data[: size + 5]):
        return None
    return bytes(data[5 : size + 5])


def read_file(path):
    """Return a file's octets, or None when there is none or it cannot be read."""
    try:
        size = os.stat(path)[6]  # read() without a size takes memory in growing pieces, three times as much at the end
        with open(path, "rb") as file:
            return file.read(size)
    except OSError:
        return None


def write_file(path, data):
    """Replace a file's content; after a power cut it is the old or the new one, whole (littlefs promises it).

    Under another name first: a KeyboardInterrupt between opening and writing would leave the file empty for good.
    """
    part = path + ".part"
    with open(part, "wb") as file:
        file.write(data)
    os.rename(part, path)


def keep_crash(text):
    """Keep the text of a crash, the last one only. Never raises: the timer is already in trouble."""
    try:
        write_file("/crash", text.encode()[:2000])
    except OSError:
        pass


def summed(path):
    """Return a file's (octets, CRC-32), (-1, 0) when it cannot be read. In pieces: memory may not hold it whole."""
    block = bytearray(128)
    view = memoryview(block)
    size = crc = 0
    try:
        with open(path, "rb") as file:
            while True:
                count = file.readinto(block)
                if not count:
                    return size, crc
                crc = binascii.crc32(view[:count], crc)
                size += count
    except OSError:
        return -1, 0


def size_of(path):
    """Return a file's octets, -1 when there is none."""
    try:
        return os.stat(path)[6]
    except OSError:
        return -1


def try_write(path, data):
    """As write_file; False when flash refused."""
    try:
        write_file(path, data)
    except OSError:
        return False
    return True


def remove_tree(path):
    """Remove a folder of files, as far as flash lets it."""
    try:
        for name in os.listdir(path):
            os.remove(path + "/" + name)
        os.rmdir(path)
    except OSError:
        pass
