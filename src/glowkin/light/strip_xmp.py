"""XMP cut down to its marks of merging and editing, which a measurement flags; all else in it goes."""

from __future__ import annotations

from glowkin.light.history import xmp_marks

_SAID = "all but these marks was taken out"
_PACKET = (
    '<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>'
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><!-- {}: {} --></x:xmpmeta>'
    '<?xpacket end="w"?>'
)


def marks_packet(xmp: bytes) -> bytes:
    """A packet that holds nothing but the marks of another one; empty where it holds none.

    >>> marks_packet(b"<rdf:Description exif:GPSLatitude='59,9N'/>")
    b''
    >>> b"xmpMM:History" in marks_packet(b"<xmpMM:History stRef:filePath='/home/a/b.dng'/>")
    True
    """
    marks = xmp_marks(xmp)
    return _PACKET.format(_SAID, " ".join(m.decode("ascii") for m in marks)).encode() if marks else b""


def is_marks(xmp: bytes) -> bool:
    """Whether a packet is one of ours."""
    return _SAID.encode() in xmp
