//! Frames: from a record's octets to the innermost UDP or PTP payload, without copying.
